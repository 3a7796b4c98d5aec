"""Where verdicts are given and taken back: the only part of the dashboards that writes to the journal.

Reading and writing have a thread and a connection each, so that a verdict that waits for an import keeps no picture
waiting. A posted verdict carries a name of its own; one that is sent again, because no answer came, is given once.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, TypeVar

from analytics import queries
from analytics.dataset import OpenJournal
from analytics.pages.judge import JudgePage, ToJudge, frame_data, judge_page, to_judge
from analytics.pages.subject_place import subject_place
from analytics.queries.session import BURST_PLACES
from journal.records.verdicts import Verdict
from journal.store.accepting import LEAST_SURE, verdict_of
from journal.store.judging import (
    frame_to_judge,
    given_before,
    next_burst,
    set_verdict,
    take_back,
)
from journal.store.opening import explained, open_journal, open_read_only, writing

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from journal.records.judging import FrameToJudge

T = TypeVar("T")

#: As many frames are handed to the page at once, or the one burst that is longer.
FRAMES_AT_ONCE = 60
#: Who judges on the page; the one person who has the link of this run.
JUDGED_BY = "photographer"


@dataclass(frozen=True, slots=True)
class Posted:
    """A verdict as the page posts it: `told` is the posting's own name, `expected` the verdict that the page showed."""

    verdict: Verdict
    expected: int | None
    told: str


class Desk:
    """The judging of one journal."""

    def __init__(self, path: Path) -> None:
        self.path = path
        #: Tells the journals apart whose pages a browser has seen at the same address; says nothing about the file.
        self.journal_id = hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]
        self._reading = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judging")
        self._writing = ThreadPoolExecutor(max_workers=1, thread_name_prefix="verdicts")
        self._read, self._journal = self._reading.submit(lambda: (open_read_only(path), OpenJournal(path))).result()
        self._write: sqlite3.Connection | None = None
        self._aside = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judging-again")
        self._far: tuple[sqlite3.Connection, OpenJournal] | None = None

    async def sessions(self) -> ToJudge:
        """The sessions with unjudged frames."""
        return await _in(self._reading, to_judge, self._journal)

    async def page(self, number: int, write: Callable[[JudgePage], T]) -> T:
        """What is written of the judging page of a session.

        Raises:
            JournalError: there is no such session.
        """
        return await _in(self._reading, lambda: write(judge_page(self._journal, number)))

    async def bursts(self, session_id: int, after: int | None, judged: bool) -> str:
        """The next bursts of a session in the order of the day, as JSON.

        Only those with unjudged frames, unless all are wanted.
        """
        return await _in(self._reading, lambda: as_json(self._bursts(session_id, after, judged)))

    async def frame(self, number: int) -> dict[str, Any]:
        """One frame as it is now.

        Raises:
            JournalError: there is no such frame.
        """
        return await _in(self._reading, lambda: self._data([frame_to_judge(self._read, number)])[0])

    async def give(self, posted: Posted) -> dict[str, Any]:
        """Gives a verdict once, and hands back the frame as it is then.

        Raises:
            JudgedMeanwhileError: somebody else judged the frame since the page showed it.
            JournalError: the journal cannot be written.
        """
        await _in(self._writing, self._give, posted)
        return await self.frame(posted.verdict.frame_id)

    async def take_back(self, frame_id: int, told: str) -> dict[str, Any]:
        """Takes back what was posted under this name, if anything was, and hands back the frame as it is then.

        Raises:
            JournalError: the journal cannot be written.
        """
        await _in(self._writing, self._take_back, frame_id, told)
        return await self.frame(frame_id)

    async def read(self, work: Callable[[sqlite3.Connection, OpenJournal], T]) -> T:
        """Does work that reads, in the thread for reading."""
        return await _in(self._reading, self._explained, lambda: work(self._read, self._journal))

    async def read_aside(self, work: Callable[[sqlite3.Connection, OpenJournal], T]) -> T:
        """Does work that may take a while, in a thread for that, so that nobody who judges waits for it."""

        def done() -> T:
            if self._far is None:
                self._far = open_read_only(self.path), OpenJournal(self.path)
            return self._explained(lambda: work(*self._far))  # type: ignore[misc]

        return await _in(self._aside, done)

    async def write(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Does work that writes, in the thread for writing.

        Raises:
            JournalError: the journal cannot be written.
        """
        return await _in(self._writing, self._explained, lambda: work(self._connection()))

    def _explained(self, work: Callable[[], T]) -> T:
        with explained(self.path):
            return work()

    def _bursts(self, session_id: int, after: int | None, judged: bool) -> dict[str, Any]:
        with explained(self.path):
            if after is not None and not self._is_in(session_id, after):
                after = None  # an import that brought frames in between has made the bursts anew
            places = dict(self._read.execute(BURST_PLACES, {"sessions": json.dumps([session_id])}).fetchall())
            found: list[dict[str, Any]] = []
            n_frames = 0
            while n_frames < FRAMES_AT_ONCE:
                burst = next_burst(self._read, session_id, after, judged)
                if burst is None:
                    break
                if found and n_frames + len(burst.frames) > 2 * FRAMES_AT_ONCE:
                    break
                number = burst.burst_id
                found.append({"id": number, "place": places.get(number), "frames": self._data(burst.frames)})
                n_frames, after = n_frames + len(burst.frames), number
            is_more = next_burst(self._read, session_id, after, judged) is not None if found else False
        return {"bursts": found, "more": is_more}

    def _is_in(self, session_id: int, burst_id: int) -> bool:
        """Whether the burst is one of the session's."""
        sql = "select 1 from bursts where id = ? and session_id = ?"
        return self._read.execute(sql, [burst_id, session_id]).fetchone() is not None

    def _data(self, frames: Sequence[FrameToJudge]) -> list[dict[str, Any]]:
        numbers = json.dumps([frame.frame_id for frame in frames])
        rows = self._read.execute(queries.WITH_ORIGINAL, {"numbers": numbers})
        pieces = {number: subject_place(measures, fault).words for number, measures, fault in rows}
        return [
            frame_data(frame, verdict_of(frame.frame_id, frame.suggestion, LEAST_SURE), pieces.get(frame.frame_id))
            for frame in frames
        ]

    def _give(self, posted: Posted) -> None:
        now = datetime.now(UTC)
        connection = self._connection()
        with explained(self.path), writing(connection):
            if given_before(connection, posted.verdict.frame_id, posted.told) is None:
                set_verdict(connection, posted.verdict, posted.expected, posted.told, JUDGED_BY, now)

    def _take_back(self, frame_id: int, told: str) -> None:
        connection = self._connection()
        with explained(self.path), writing(connection):
            given = given_before(connection, frame_id, told)
            if given is not None and not given.is_taken_back:
                take_back(connection, given.judging_id, datetime.now(UTC))

    def _connection(self) -> sqlite3.Connection:
        """Opened at the first verdict, so that a journal that cannot be written can still be looked at."""
        if self._write is None:
            self._write = open_journal(self.path, must_exist=True)
        return self._write

    def close(self) -> None:
        """Waits for the verdicts that are being written, closes the file and ends the threads."""
        if self._write is not None:
            self._writing.submit(self._write.close).result()
        self._reading.submit(self._read.close).result()
        self._reading.submit(self._journal.close).result()
        for opened in self._far or ():
            self._aside.submit(opened.close).result()
        for thread in (self._writing, self._reading, self._aside):
            thread.shutdown()


def as_json(data: dict[str, Any]) -> str:
    """What the judging page's script reads."""
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


async def _in(thread: ThreadPoolExecutor, work: Callable[..., T], *arguments: object) -> T:
    return await asyncio.get_running_loop().run_in_executor(thread, work, *arguments)
