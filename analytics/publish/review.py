"""What a review has before its pages: the questions, how to answer them, and what its page knows to save comments."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from analytics.publish.answer import FORMAT, VERSION
from analytics.publish.blocks import Block, Heading, Page, Say, Text

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.publish.material import Material
    from journal.records.reviews import Review

#: Longest question, and the most of them.
MAX_QUESTION, MAX_QUESTIONS = 500, 20
HOW = (
    "Thank you for going through this. Comment on {}a session, a frame, a habit or the whole; under a frame whose "
    "picture is in this file you can also say whether you would have kept it, and if not, name its faults. A keeper is "
    "a frame that the photographer would show, a reject one that they would not. Then save the comments file at the "
    "foot of the page and send it back. Nothing leaves this file by itself.",
    "On the other pages “you” is the photographer, and a command is theirs to run. Estimates are of the whole journal; "
    "the sessions shown are those that were chosen for this review, with their frames.",
)


def preface(review: Review) -> Callable[[Material, list[Page]], tuple[list[Page], dict[str, Any]]]:
    """Makes the first page of a review, and what its scripts know of it."""

    def made(material: Material, pages: list[Page]) -> tuple[list[Page], dict[str, Any]]:
        blocks: list[Block] = [Text(text.format("a question, " if review.questions else "")) for text in HOW]
        for number, question in enumerate(review.questions, 1):
            blocks += [
                Heading(f"Question {number}"),
                Text(question),
                Say("question", str(number), f"question {number}"),
            ]
        blocks += [Heading("The whole"), Say("whole", "", "the whole")]
        asked = {0: "A review to go through", 1: "A review with one question"}
        title = asked.get(len(review.questions), f"A review with {len(review.questions)} questions")
        known = {"format": FORMAT, "version": VERSION, "key": review.key}
        return [Page("review", "Review", f"{title}.", blocks)], known

    return made
