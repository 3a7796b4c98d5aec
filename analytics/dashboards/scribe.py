"""Whoever writes pages: of a session or a frame, read and written in one go and kept until somebody writes to the
journal; of numbers that were reckoned elsewhere; of what mentors said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.session import USUAL_SHAPES, shape
from analytics.dashboards.kept import Latest
from analytics.dataset import OpenJournal
from analytics.pages.comments import own_comments, talk
from analytics.pages.frame import ComparisonPage, FramePage, comparison_page, frame_page
from analytics.pages.frame_look import FrameLook, frame_looks
from analytics.pages.reviewed import reviewed_page
from analytics.pages.session import SessionPage, session_page
from journal.errors import JournalError
from journal.records.mentors import Place

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.dashboards.visitors import Visitor
    from analytics.dashboards.writing import Writer, Written
    from analytics.explaining import Limits

#: Pages of sessions that are kept; one takes up to a third of a megabyte.
SESSIONS_KEPT = 60
#: Pages of frames that are kept.
FRAMES_KEPT = 100


@dataclass(frozen=True, slots=True)
class SessionAsked:
    """One page of a session."""

    visitor: Visitor
    number: int
    page: int


@dataclass(frozen=True, slots=True)
class CountedLimits:
    """The photographer's own limits, and whether they were counted before the last change."""

    limits: Limits
    is_old: bool


@dataclass(frozen=True, slots=True)
class FrameAsked:
    """One frame explained, or two compared; `here` is the address of the page."""

    visitor: Visitor
    number: int
    other: int | None
    own: CountedLimits
    here: str


@dataclass(frozen=True, slots=True)
class NumbersAsked:
    """A page that was reckoned, by the name of its template and what that needs; `place` is what is commented on."""

    visitor: Visitor
    template: str
    context: dict[str, Any]
    place: Place | None


@dataclass(frozen=True, slots=True)
class CommentsAsked:
    """All that mentors said, with agreement; for a mentor their own comments."""

    visitor: Visitor


Asked = SessionAsked | FrameAsked | NumbersAsked | CommentsAsked


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """What is shown of one frame, or of two, in words and in drawings."""

    page: FramePage | ComparisonPage
    looks: list[FrameLook]


class Scribe:
    """Reads and writes pages of one journal; for one thread."""

    def __init__(self, path: Path, writer: Writer) -> None:
        self._journal, self._writer = OpenJournal(path), writer
        self._sessions: Latest[SessionPage] = Latest(SESSIONS_KEPT)
        self._frames: Latest[FrameFacts] = Latest(FRAMES_KEPT)

    def answer(self, asked: Asked, /) -> Written:
        """The page that is asked for, or what is said where there is none."""
        try:
            match asked:
                case SessionAsked():
                    return self._session(asked)
                case FrameAsked():
                    return self._frame(asked)
                case NumbersAsked():
                    return self._numbers(asked)
                case CommentsAsked():
                    return self._comments(asked.visitor)
        except JournalError as error:
            return self._writer.written("problem", asked.visitor, {"error": error}, 404)

    def _session(self, asked: SessionAsked) -> Written:
        number, page = asked.number, asked.page
        with self._journal.snapshot():
            version = self._journal.version()
            kept = self._sessions.page(version, (number, page), lambda: session_page(self._journal, number, page))
            said = talk(self._journal, Place("session", number=number), asked.visitor.mentor)
        return self._writer.kept("session", asked.visitor, kept, {"page": kept.page, "talk": said})

    def _frame(self, asked: FrameAsked) -> Written:
        number, other = asked.number, asked.other
        with self._journal.snapshot():
            state = self._journal.version(), asked.own.limits
            kept = self._frames.page(state, (number, other), lambda: self._facts(number, other, asked.own.limits))
            said = None
            if other is None:
                said = talk(self._journal, Place("frame", number=number), asked.visitor.mentor)
        found = kept.page
        context = {
            "page": found.page,
            "looks": found.looks,
            "is_old": asked.own.is_old,
            "here": asked.here,
            "talk": said,
        }
        return self._writer.kept("frame", asked.visitor, kept, context)

    def _numbers(self, asked: NumbersAsked) -> Written:
        context = asked.context
        if asked.place is not None:
            context = {**context, "talk": talk(self._journal, asked.place, asked.visitor.mentor)}
        return self._writer.written(asked.template, asked.visitor, context)

    def _comments(self, visitor: Visitor) -> Written:
        mentor = visitor.mentor
        page = reviewed_page(self._journal) if mentor is None else own_comments(self._journal, mentor)
        return self._writer.written("comments", visitor, {"page": page})

    def _facts(self, number: int, other: int | None, limits: Limits) -> FrameFacts:
        if other is None:
            one = frame_page(self._journal, number, limits)
            return FrameFacts(one, frame_looks(self._journal, [one.explanation]))
        both = comparison_page(self._journal, number, other, limits)
        return FrameFacts(both, frame_looks(self._journal, both.frames))

    def close(self) -> None:
        """Closes the journal."""
        self._journal.close()


def prepared_scribe(path: Path, writer: Writer) -> Scribe:
    """A scribe with the usual charts of sessions made beforehand: the first of a shape takes as long as ten pages."""
    for name in USUAL_SHAPES:
        shape(name)
    return Scribe(path, writer)
