"""What mentors said of reviews: comments, verdicts beside the photographer's own, and how far the two agree."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.statistics.agreement import ENOUGH_BURSTS, ENOUGH_FRAMES, Agreement, agreement
from analytics.statistics.habit_catalogue import BY_KEY
from journal.errors import JournalError
from journal.notation import format_count, format_faults

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal

#: Said with every agreement, for it is not blind.
NOT_BLIND = (
    "A review shows your verdicts beside the frames, and so do a mentor's pages, which makes people agree more than "
    "they would blind."
)


@dataclass(frozen=True, slots=True)
class CommentLine:
    """One comment; `mentor` is the name that its file gives, unverified."""

    review: int | None
    about: str
    mentor: str
    said_on: str
    body: str
    session_id: int | None
    frame_id: int | None
    habit: str | None


@dataclass(frozen=True, slots=True)
class BesideLine:
    """A mentor's verdict on a frame beside the photographer's own."""

    frame_id: int
    mentor: str
    theirs: str
    own: str
    is_same: bool | None

    @property
    def would_have(self) -> str:
        """What the mentor would have done with it: kept it; rejected it as underexposed and for noise."""
        _verdict, _colon, faults = self.theirs.partition(": ")
        if self.theirs == "keeper":
            return "kept it"
        return f"rejected it {format_faults(faults.split(', '))}" if faults else "rejected it"


@dataclass(frozen=True, slots=True)
class AgreementLine:
    """How far one mentor and the photographer agree."""

    mentor: str
    found: Agreement
    sentence: str


NOTHING_SAID = "No mentor has said anything yet."
#: How a mentor is asked, and what follows.
ASK = (
    "To write a file that a mentor opens offline: thirdstop review",
    "To give a link that a mentor opens while your machine serves: thirdstop serve --mentor NAME",
)
READ = "When a comments file comes back: thirdstop review read FILE"


@dataclass(frozen=True, slots=True)
class ReviewedPage:
    """All that came back; of one review, or of all."""

    simulated: str | None
    sentence: str
    comments: list[CommentLine]
    verdicts: list[BesideLine]
    agreements: list[AgreementLine]
    next_steps: list[str] = field(default_factory=list)
    not_blind: str = NOT_BLIND


def reviewed_page(journal: OpenJournal, review: int | None = None) -> ReviewedPage:
    """Reads it, all at one moment of the journal.

    Raises:
        JournalError: there is no such review.
    """
    with journal.snapshot():
        reviews = {row["review"] for row in journal.rows(queries.REVIEWS)}
        if review is not None and review not in reviews:
            raise JournalError(
                f"There is no review {review} in this journal.", "List the reviews with: thirdstop review list"
            )
        comments = [comment_line(row) for row in journal.rows(queries.COMMENTS, {"review": review})]
        rows = journal.rows(queries.MENTOR_VERDICTS, {"review": review})
        simulated = journal.simulated()
    mentors = list(dict.fromkeys(row["mentor"] for row in rows))
    counted = f"{format_count(len(comments), 'comment')} and {format_count(len(rows), 'verdict')}"
    return ReviewedPage(
        simulated=simulated,
        sentence=f"{counted} came back; {_by_whom(comments, rows)}." if comments or rows else NOTHING_SAID,
        comments=comments,
        verdicts=[beside_line(row) for row in rows],
        agreements=[_agreement(mentor, rows) for mentor in mentors],
        next_steps=[] if comments or rows else [*ASK, *[READ][: len(reviews)]],
    )


def _by_whom(comments: list[CommentLine], verdicts: list[dict[str, Any]]) -> str:
    """How sure it is who wrote them."""
    reviews = [line.review for line in comments] + [row["review"] for row in verdicts]
    if None not in reviews:
        return "who wrote them is what their files say"
    through = "what came through a link is by whoever you gave it to"
    return through if set(reviews) == {None} else f"{through}, what came in a file by whom that names"


def comment_line(row: dict[str, Any]) -> CommentLine:
    """One row of comments as it is shown."""
    gone = "no longer in the journal"
    about = {
        "whole": "the whole journal",
        "question": f"question {row['question']}",
        "session": f"session {row['session_id']}" if row["session_id"] else f"a session {gone}",
        "frame": f"frame {row['frame_id']}" if row["frame_id"] else f"a frame {gone}",
        "habit": f"habit: {BY_KEY[row['habit']].name if row['habit'] in BY_KEY else row['habit']}",
    }[row["about"]]
    places = (row["session_id"], row["frame_id"], row["habit"])
    return CommentLine(row["review"], about, row["mentor"], row["said_at"][:10], row["body"], *places)


def beside_line(row: dict[str, Any]) -> BesideLine:
    """One row of mentors' verdicts as it is shown."""
    own, theirs = row["own_verdict"], row["verdict"]
    return BesideLine(
        frame_id=row["frame_id"],
        mentor=row["mentor"],
        theirs=_words(theirs, row["faults"]),
        own=_words(own, row["own_faults"]),
        is_same=None if own == "unjudged" else own == theirs,
    )


def _words(verdict: str, faults: str | None) -> str:
    return f"{verdict}: {faults}" if faults else verdict


def _agreement(mentor: str, rows: list[dict[str, Any]]) -> AgreementLine:
    both = [row for row in rows if row["mentor"] == mentor and row["own_verdict"] != "unjudged"]
    own, other = ([row[name] == "keeper" for row in both] for name in ("own_verdict", "verdict"))
    found = agreement(own, other, [row["burst_id"] or -row["frame_id"] for row in both])
    return AgreementLine(mentor, found, _sentence(mentor, found))


def _sentence(mentor: str, found: Agreement) -> str:
    same = f"You and {mentor} say the same of {found.n_same} of {format_count(found.n_frames, 'frame')}"
    if not found.is_enough:
        needed = f"{ENOUGH_FRAMES} frames of {ENOUGH_BURSTS} bursts, and keepers and rejects among them, are needed"
        return f"{same}: not enough yet to say how far you agree; {needed}."
    if found.n_same == found.n_frames:
        return f"{same}: full agreement; how sure that is cannot be said from it."
    kappa = f"kappa {found.kappa:.2f} ({found.low:.2f} to {found.high:.2f})"
    return f"{same}; beyond chance that is {kappa}, where 0 is chance and 1 is full agreement."


def reviews_list(journal: OpenJournal) -> list[dict[str, Any]]:
    """The reviews that were made, the newest first, with how much came back."""
    rows = journal.rows(queries.REVIEWS)
    return [{**row, "questions": json.loads(row["questions"])} for row in rows]


def reviewed_as_json(page: ReviewedPage) -> dict[str, Any]:
    """All of it, for scripts."""
    return asdict(page)
