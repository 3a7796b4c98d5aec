"""Judging old frames again on the page: what comes next, what is said, and when the next round is due.

It reads and writes through the desk's threads, and reads aside: whether there are enough old frames may take a while
in a large journal, and nobody who judges waits for that. What is said here goes to tables of its own and is never a
verdict.
"""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from analytics.dashboards.desk import JUDGED_BY
from analytics.pages.again import AgainNote, AgainPage, again_note, again_page, picture_data
from analytics.pages.again_rounds import rounds
from journal.records.anchors import AgainState, SaidAgain
from journal.store.anchors import (
    again_state,
    begin_round,
    old_picture,
    pictures_left,
    put_off,
    say_again,
    take_back_again,
)

if TYPE_CHECKING:
    import sqlite3

    from analytics.dashboards.desk import Desk
    from analytics.dataset import OpenJournal
    from journal.records.verdicts import Verdict

#: As many pictures are handed to the page at once.
PICTURES_AT_ONCE = 60


class Again:
    """The judging again of one journal."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._kept: tuple[tuple[int, str], AgainState] | None = None

    @property
    def journal_id(self) -> str:
        """The journal's name in a browser."""
        return self._desk.journal_id

    async def page(self) -> AgainPage:
        """What is to be done, and what came of the rounds that are over."""
        return await self._desk.read_aside(lambda connection, journal: again_page(journal, self._state(connection)))

    async def note(self) -> AgainNote | None:
        """The quiet line for the list of sessions to judge."""

        def noted(connection: sqlite3.Connection, journal: OpenJournal) -> AgainNote | None:
            return again_note(self._state(connection), bool(rounds(journal)))

        return await self._desk.read_aside(noted)

    async def pictures(self, after: int) -> dict[str, Any]:
        """The next pictures of the open round after a place, each as a burst of its own."""
        return await self._desk.read_aside(lambda connection, _: self._pictures(connection, after))

    async def begin(self) -> None:
        """Chooses the pictures of this quarter, once.

        Raises:
            JournalError: there are too few old frames, or the journal cannot be written.
        """
        seed = secrets.randbits(31)
        await self._desk.write(lambda connection: begin_round(connection, seed, datetime.now(UTC)))

    async def put_off(self) -> None:
        """Says nothing more of it until the next quarter.

        Raises:
            JournalError: the journal cannot be written.
        """
        await self._desk.write(lambda connection: put_off(connection, datetime.now(UTC)))

    async def known(self, frame_id: int) -> None:
        """Refuses a frame that no round chose.

        Raises:
            JournalError: it was not chosen.
        """
        await self._desk.read_aside(lambda connection, _: old_picture(connection, frame_id))

    async def say(self, verdict: Verdict, told: str) -> dict[str, Any]:
        """Keeps what is said of a picture, once, and hands it back as it is then.

        Raises:
            JournalError: the journal cannot be written.
        """
        said = SaidAgain(told, JUDGED_BY, datetime.now(UTC))
        await self._desk.write(lambda connection: say_again(connection, verdict, said))
        return await self._answer(verdict.frame_id)

    async def take_back(self, frame_id: int, told: str) -> dict[str, Any]:
        """Takes back what was said under this name, and hands the picture back as it is then.

        Raises:
            JournalError: the journal cannot be written.
        """
        await self._desk.write(lambda connection: take_back_again(connection, frame_id, told, datetime.now(UTC)))
        return await self._answer(frame_id)

    async def _answer(self, frame_id: int) -> dict[str, Any]:
        def now(connection: sqlite3.Connection, _: OpenJournal) -> dict[str, Any]:
            return {"frame": picture_data(old_picture(connection, frame_id)), "left": self._state(connection).n_left}

        return await self._desk.read_aside(now)

    def _state(self, connection: sqlite3.Connection) -> AgainState:
        """How things stand; looked up again where somebody wrote to the journal, and each day."""
        now = datetime.now(UTC)
        version = int(connection.execute("pragma data_version").fetchone()[0]), now.date().isoformat()
        if self._kept is None or self._kept[0] != version:
            self._kept = version, again_state(connection, now)
        return self._kept[1]

    def _pictures(self, connection: sqlite3.Connection, after: int) -> dict[str, Any]:
        state = self._state(connection)
        if state.kind != "open" or state.round_id is None:
            return {"bursts": [], "more": False}
        found = pictures_left(connection, state.round_id, after, PICTURES_AT_ONCE + 1)
        shown = found[:PICTURES_AT_ONCE]
        bursts = [{"id": picture.place, "frames": [picture_data(picture)]} for picture in shown]
        return {"bursts": bursts, "more": len(found) > len(shown)}
