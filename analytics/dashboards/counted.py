"""The pages of keepers and of chosen frames, counted in a thread of their own.

What was chosen in all bursts is kept in memory; where somebody has written to the journal, the sessions that changed
are read again. Pages that were asked for are kept until then, so that the same address is answered at once.
"""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar
from urllib.parse import parse_qsl

from analytics.dashboards.kept import Kept, Latest
from analytics.dataset import OpenJournal
from analytics.pages.chosen_frames import FramesPage, frames_page, read_frames_asked
from analytics.pages.counting import Counting
from analytics.pages.keepers_page import KeepersPage, keepers_page, read_asked
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

T = TypeVar("T")

#: Pages that are kept; a page with its data takes up to half a megabyte.
KEPT = 100
#: No question has more parts.
MOST_PARTS = 100
#: What a page's script asks for, among the texts of a page.
DATA = "data"


class Counted:
    """Keepers of one journal under any filter."""

    def __init__(self, path: Path) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="counted")
        self._journal = self._thread.submit(OpenJournal, path).result()
        self._version: int | None = None
        self._counting: Counting | None = None
        self._latest: Latest[KeepersPage | FramesPage] = Latest(KEPT)
        self._thread.submit(self._ready)  # the first visitor does not wait for what all will need

    async def keepers(self, query: str, write: Callable[[Kept[KeepersPage | FramesPage]], T]) -> T:
        """What is written of keepers by what the address asks.

        Raises:
            JournalError: it asks for what there is not.
        """
        return await self._written("keepers", query, write)

    async def frames(self, query: str, write: Callable[[Kept[KeepersPage | FramesPage]], T]) -> T:
        """What is written of the frames that the address asks for.

        Raises:
            JournalError: it asks for what there is not.
        """
        return await self._written("frames", query, write)

    async def _written(self, kind: str, query: str, write: Callable[[Kept[KeepersPage | FramesPage]], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._thread, lambda: write(self._found(kind, query)))

    def _ready(self) -> None:
        version = self._journal.version()  # taken first: what is written meanwhile shows at the next look
        with self._journal.snapshot():
            self._renewed(version)

    def _renewed(self, version: int) -> Counting:
        if self._counting is None or version != self._version:
            self._counting, self._version = Counting(self._journal.choices()), version
        return self._counting

    def _found(self, kind: str, query: str) -> Kept[KeepersPage | FramesPage]:
        version = self._journal.version()
        with self._journal.snapshot():
            counting = self._renewed(version)
            return self._latest.page(version, (kind, query), lambda: self._made(kind, query, counting))

    def _made(self, kind: str, query: str, counting: Counting) -> KeepersPage | FramesPage:
        pairs = _pairs(query)
        if kind == "frames":
            return frames_page(self._journal, counting, read_frames_asked(pairs))
        return keepers_page(counting, read_asked(pairs), self._journal.totals(), self._journal.simulated())

    def close(self) -> None:
        """Closes the journal and ends the thread."""
        self._thread.submit(self._journal.close).result()
        self._thread.shutdown()


def data_of(kept: Kept[KeepersPage | FramesPage]) -> str:
    """A page of keepers as JSON, for the page's own script."""
    if DATA not in kept.texts and isinstance(kept.page, KeepersPage):
        kept.texts[DATA] = json.dumps(kept.page.as_json())
    return kept.texts[DATA]


def _pairs(query: str) -> list[tuple[str, str]]:
    try:
        return parse_qsl(query, keep_blank_values=True, max_num_fields=MOST_PARTS)
    except ValueError as error:
        raise JournalError(
            f"The address has more than {MOST_PARTS} parts.", "Choose again on the page of keepers."
        ) from error
