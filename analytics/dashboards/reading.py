"""What is read from the journal for one page or picture: pages of single sessions and frames, small pictures, the rest.

Each of the three has a thread of its own, for SQLite connections belong to their thread, and a page of many pictures
must not wait for a page that is being read. In a large journal pages move to a process of their own as soon as that
is ready, which takes a second or two.
"""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import TYPE_CHECKING, cast

from analytics import queries
from analytics.dashboards.apart import MOST_BESIDE, Hand
from analytics.dashboards.scribe import Scribe, prepared_scribe
from analytics.dataset import OpenJournal
from analytics.pages.bare_picture import only_pixels
from analytics.pages.subject_place import subject_place
from journal.readers.closer import CloserLook

if TYPE_CHECKING:
    from concurrent.futures import Future
    from pathlib import Path

    from analytics.dashboards.apart import Apart
    from analytics.dashboards.scribe import Asked
    from analytics.dashboards.writing import Writer, Written


class Reader:
    """Reads one journal."""

    def __init__(self, path: Path, writer: Writer, most_beside: float = MOST_BESIDE) -> None:
        """
        Args:
            path: the journal.
            writer: writes its pages.
            most_beside: up to so many frames, pages stay with their thread.
        """
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="journal")
        self._journal = self._thread.submit(OpenJournal, path).result()
        #: What to say where sessions are simulated, at the start; our own pages look again each time.
        self.simulated = self._thread.submit(self._journal.simulated).result()
        n_frames = self._thread.submit(self._journal.totals).result()["n_frames"]
        self._made_apart, self._is_large = partial(prepared_scribe, path, writer), n_frames > most_beside
        self._hands = [Hand("pages", partial(Scribe, path, writer), is_apart=False)]
        self._pages = self._hands[0]
        self._pictures = ThreadPoolExecutor(max_workers=1, thread_name_prefix="previews")
        self._previews = self._pictures.submit(OpenJournal, path).result()

    def move_apart(self) -> Future[None] | None:
        """Has pages of a large journal written by a process of their own, as soon as that is ready.

        Returns:
            When it is; `None` where pages stay with their thread, or have moved already.
        """
        if not self._is_large or len(self._hands) > 1:
            return None
        self._hands.append(Hand("pages-apart", self._made_apart, is_apart=True))
        ready = self._hands[1].submit(lambda worker: cast("Apart", worker).get_ready())
        ready.add_done_callback(self._moved)
        return ready

    def _moved(self, ready: Future[None]) -> None:
        if ready.exception() is None:
            self._pages = self._hands[1]

    async def written(self, asked: Asked) -> Written:
        """The page that is asked for, or what is said where there is none.

        Raises:
            JournalError: the process that writes it has ended.
        """
        return await asyncio.wrap_future(self._pages.submit(lambda scribe: cast("Written", scribe.answer(asked))))

    async def preview(self, number: int, is_bare: bool = False) -> bytes | None:
        """The small preview of a frame, WebP; `None` where there is none. A bare one holds nothing but pixels."""
        return await asyncio.get_running_loop().run_in_executor(self._pictures, self._preview, number, is_bare)

    async def original(self, number: int) -> CloserLook | None:
        """The file that shows a frame best and where to look closer in it; `None` where the journal knows none."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._original, number)

    def _preview(self, number: int, is_bare: bool) -> bytes | None:
        found = self._previews.rows(queries.PREVIEW, {"number": number})
        if not found:
            return None
        return only_pixels(bytes(found[0]["webp"])) if is_bare else bytes(found[0]["webp"])

    def _original(self, number: int) -> CloserLook | None:
        found = self._journal.rows(queries.ORIGINAL, {"number": number})
        if not found:
            return None
        place = subject_place(found[0]["measures"], found[0]["fault"])
        return CloserLook(found[0]["path"], found[0]["content_key"], place.row, place.column)

    def close(self) -> None:
        """Closes the journal and ends threads and process."""
        for hand in self._hands:
            hand.close()
        for thread, journal in ((self._thread, self._journal), (self._pictures, self._previews)):
            thread.submit(journal.close).result()
            thread.shutdown()
