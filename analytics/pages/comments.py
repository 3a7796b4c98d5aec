"""What mentors said about what a page shows, beside the photographer's own verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.pages.reviewed import BesideLine, CommentLine, beside_line, comment_line
from analytics.queries.mentors import COMMENTS_BY, COMMENTS_ON, MENTOR_VERDICTS_BY, MENTOR_VERDICTS_ON
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal
    from journal.records.mentors import Place


@dataclass(frozen=True, slots=True)
class Talk:
    """Comments on one place, and mentors' verdicts on its frames."""

    place: Place
    comments: list[CommentLine]
    verdicts: list[BesideLine]


@dataclass(frozen=True, slots=True)
class OwnComments:
    """All that one mentor said on pages, for that mentor."""

    simulated: str | None
    sentence: str
    comments: list[CommentLine]
    verdicts: list[BesideLine]


def talk(journal: OpenJournal, place: Place, mentor: str | None) -> Talk:
    """What was said about a place: by one mentor on pages, for that mentor; by all of them, for the photographer."""
    session = place.number if place.about == "session" else None
    frame = place.number if place.about == "frame" else None
    where = {"session": session, "frame": frame, "mentor": mentor}
    said = {**where, "about": place.about, "habit": place.habit}
    with journal.snapshot():
        comments = journal.rows(COMMENTS_ON, said)
        verdicts = journal.rows(MENTOR_VERDICTS_ON, where) if place.number is not None else []
    return Talk(place, [comment_line(row) for row in comments], [beside_line(row) for row in verdicts])


def own_comments(journal: OpenJournal, mentor: str) -> OwnComments:
    """All that a mentor said on pages: comments, the newest first, and verdicts by frame."""
    with journal.snapshot():
        comments = [comment_line(row) for row in journal.rows(COMMENTS_BY, {"mentor": mentor})]
        verdicts = [beside_line(row) for row in journal.rows(MENTOR_VERDICTS_BY, {"mentor": mentor})]
        simulated = journal.simulated()
    sentence = "No comment is left yet. The first page, sessions, frames and habits have a place for it."
    if comments or verdicts:
        left = f"{format_count(len(comments), 'comment')} and {format_count(len(verdicts), 'verdict')}"
        sentence = f"{left} left by {mentor}."
    return OwnComments(simulated, sentence, comments, verdicts)
