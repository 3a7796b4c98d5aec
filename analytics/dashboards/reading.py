"""Two threads that read the journal: one for pages of single sessions, one for small pictures.

SQLite connections belong to their thread, and a page of many pictures must not wait for a page that is being read.
What a page says is written where it was read (`analytics.dashboards.writing`).
"""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

from analytics import queries
from analytics.dashboards.kept import Kept, Latest
from analytics.dataset import OpenJournal
from analytics.pages.bare_picture import only_pixels
from analytics.pages.comments import OwnComments, Talk, own_comments, talk
from analytics.pages.reviewed import ReviewedPage, reviewed_page
from analytics.pages.session import SessionPage, session_page
from analytics.pages.subject_place import subject_place
from journal.readers.closer import CloserLook
from journal.records.mentors import Place

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

T = TypeVar("T")

#: Pages of sessions that are kept; one takes up to a third of a megabyte.
KEPT = 60


class Reader:
    """The pages of one journal, read in a thread of its own."""

    def __init__(self, path: Path) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="journal")
        self._journal = self._thread.submit(OpenJournal, path).result()
        #: What to say where sessions are simulated, at the start; our own pages look again each time.
        self.simulated = self._thread.submit(self._journal.simulated).result()
        self._latest: Latest[SessionPage] = Latest(KEPT)
        self._pictures = ThreadPoolExecutor(max_workers=1, thread_name_prefix="previews")
        self._previews = self._pictures.submit(OpenJournal, path).result()

    async def session(
        self, number: int, page: int, mentor: str | None, write: Callable[[Kept[SessionPage], Talk], T]
    ) -> T:
        """What is written of one page of a session, and of what everybody said about it or the one mentor who is named.

        Raises:
            JournalError: there is no such session, or it has no such page.
        """

        def written() -> T:
            return write(*self._session(number, page, mentor))

        return await asyncio.get_running_loop().run_in_executor(self._thread, written)

    async def preview(self, number: int, is_bare: bool = False) -> bytes | None:
        """The small preview of a frame, WebP; `None` where there is none. A bare one holds nothing but pixels."""
        return await asyncio.get_running_loop().run_in_executor(self._pictures, self._preview, number, is_bare)

    async def talk(self, place: Place | None, mentor: str | None, write: Callable[[Talk | None], T]) -> T:
        """What is written with what was said about a place, if any, by everybody or by the one mentor who is named."""

        def written() -> T:
            return write(None if place is None else talk(self._journal, place, mentor))

        return await asyncio.get_running_loop().run_in_executor(self._thread, written)

    async def comments(self, mentor: str | None, write: Callable[[ReviewedPage | OwnComments], T]) -> T:
        """What is written of all that mentors said, with agreement; for a mentor of their own comments."""

        def written() -> T:
            return write(reviewed_page(self._journal) if mentor is None else own_comments(self._journal, mentor))

        return await asyncio.get_running_loop().run_in_executor(self._thread, written)

    async def original(self, number: int) -> CloserLook | None:
        """The file that shows a frame best and where to look closer in it; `None` where the journal knows none."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._original, number)

    def _session(self, number: int, page: int, mentor: str | None) -> tuple[Kept[SessionPage], Talk]:
        with self._journal.snapshot():
            version = self._journal.version()
            kept = self._latest.page(version, (number, page), lambda: session_page(self._journal, number, page))
            return kept, talk(self._journal, Place("session", number=number), mentor)

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
        """Closes the journal and ends the threads."""
        for thread, journal in ((self._thread, self._journal), (self._pictures, self._previews)):
            thread.submit(journal.close).result()
            thread.shutdown()
