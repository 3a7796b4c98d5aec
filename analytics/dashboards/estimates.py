"""The pages of estimates: reckoned beside the server or apart from it, kept until somebody writes to the journal.

A visitor waits a moment for numbers of now. Where they take longer, the page of before the last change is shown, which
says so, and the new numbers are there at a later look; where there is no earlier page, the visitor is asked to wait.
Nobody else waits meanwhile. A page that is asked for twice is reckoned once.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections import OrderedDict, deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar, cast

from analytics.dashboards.apart import Apart
from analytics.dashboards.kept import Kept, Latest
from analytics.dashboards.reckoning import FORMS, Message, Reckoner
from analytics.dashboards.watch import Watch
from analytics.dataset import OpenJournal
from analytics.pages.comments import Talk, talk
from analytics.pages.frame import ComparisonPage, FramePage, comparison_page, frame_page
from analytics.pages.frame_look import FrameLook, frame_looks
from analytics.pages.waiting import CountingError
from journal.errors import JournalError
from journal.records.mentors import Place

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from analytics.dashboards.reckoning import Answer, Page, Query
    from analytics.explaining import Limits

    Address = tuple[str, tuple[tuple[str, tuple[str, ...]], ...]]

T = TypeVar("T")

#: Answers to forms that are kept in memory, besides all pages; one takes up to a tenth of a megabyte.
MOST_KEPT = 60
#: Pages of frames that are kept.
FRAMES_KEPT = 100
#: Journals up to this many frames are reckoned in a thread: all of their pages take less than a process to start.
MOST_BESIDE = 5_000
#: Longer forms are none of ours.
MOST_FIELDS, LONGEST_VALUE = 100, 200


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a visitor waits for numbers of now [s]: where there is an earlier page, and where there is none.

    `of_frame` is how long a frame's page waits for newer limits of one's own.
    """

    earlier: float = 1.0
    none: float = 8.0
    of_frame: float = 0.2


#: For a server whose journals are small, and for tests.
ENDLESS = Patience(3600.0, 3600.0, 3600.0)


@dataclass(frozen=True, slots=True)
class Shown:
    """A page, whether somebody has written to the journal since its numbers were counted, and the journal's version."""

    page: Page
    is_old: bool
    version: int


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """What is shown of one frame, or of two, in words and in drawings."""

    page: FramePage | ComparisonPage
    looks: list[FrameLook]


@dataclass(frozen=True, slots=True)
class ShownFrame:
    """A frame's page, what was said about it, and whether its photographer's limits are of before the last change."""

    kept: Kept[FrameFacts]
    talk: Talk | None
    is_old: bool


@dataclass(frozen=True, slots=True)
class _Kept:
    version: int
    page: Page


class Estimates:
    """Limits, habits and progress of one journal, and its frames explained.

    A journal of more than `most_beside` frames is reckoned in a process of its own; a smaller one in a thread, for
    that process takes longer to start than all of its pages.
    """

    def __init__(self, path: Path, patience: Patience = ENDLESS, most_beside: int = MOST_BESIDE) -> None:
        self._patience = patience
        self._watch = Watch(path)
        self._hands = ThreadPoolExecutor(max_workers=1, thread_name_prefix="estimates")
        self._turns = ThreadPoolExecutor(max_workers=1, thread_name_prefix="turns")
        self._frames = ThreadPoolExecutor(max_workers=1, thread_name_prefix="frames")
        self._journal = self._frames.submit(OpenJournal, path).result()
        n_frames = self._frames.submit(self._journal.totals).result()["n_frames"]
        self._worker = Apart(path) if n_frames > most_beside else self._hands.submit(Reckoner, path).result()
        self._lock = threading.Lock()
        self._waiting: deque[Address] = deque()
        self._foreseen: deque[Address] = deque()
        self._wanted: dict[Address, Future[None]] = {}
        self._latest: Latest[FrameFacts] = Latest(FRAMES_KEPT)
        self._kept: OrderedDict[Address, _Kept] = OrderedDict()
        self._reading: int | None = None
        self._given: set[Address] = set()
        self._is_turning = self._is_closed = False

    async def page(self, name: str, query: Query | None = None, none: float | None = None) -> Shown:
        """One of journal, standing, limits, habits, progress, advice, plan, series, learner, or habits/ and one's key.

        Args:
            name: of the page.
            query: what a form asks.
            none: how long to wait where there is no page yet [s], if not as patiently as always.

        Raises:
            CountingError: there is none yet; it is being counted.
            JournalError: there is no such habit, or a form asks for what is not there.
        """
        address = _address(name, query if name in FORMS else None)
        return await self._shown(address, self._patience.earlier, self._patience.none if none is None else none)

    async def frame(self, number: int, other: int | None, mentor: str | None, write: Callable[[ShownFrame], T]) -> T:
        """What is written of one frame explained, or of two compared.

        Args:
            number: of the frame.
            other: the one that it is compared with.
            mentor: whose comments are shown; all, where nobody is named.
            write: writes it, in the thread that read it.

        Raises:
            JournalError: there is no such frame.
        """
        limits = await self._shown(_address("own limits"), self._patience.of_frame, self._patience.none)

        def written() -> T:
            found = self._frame((number, other), mentor, cast("Limits", limits.page))
            return write(ShownFrame(*found, limits.is_old))

        return await asyncio.get_running_loop().run_in_executor(self._frames, written)

    def foresee(self, *names: str) -> None:
        """Has pages ready before anybody asks, one after the other; whatever is asked for goes first."""
        with self._lock:
            self._foreseen += [_address(name) for name in names]
            self._go_on()

    async def _shown(self, address: Address, earlier: float, none: float) -> Shown:
        began = time.monotonic()
        while True:
            now = self._watch.version()
            kept = self._kept.get(address)
            if kept is not None and kept.version == now:
                return Shown(kept.page, False, now)
            left = (none if kept is None else earlier) - (time.monotonic() - began)
            if left > 0:
                await _within(left, self._ask(address))
            elif kept is not None:
                self._ask(address)
                return Shown(kept.page, True, now)
            else:
                raise CountingError

    def _ask(self, address: Address) -> Future[None]:
        with self._lock:
            if address not in self._wanted:
                self._want(address)
                self._go_on()
            return self._wanted[address]

    def _want(self, address: Address) -> None:
        """Lines an address up; the lock is held."""
        self._wanted[address] = Future()
        self._wanted[address].set_running_or_notify_cancel()  # a visitor who leaves takes it from nobody
        self._waiting.append(address)

    def _go_on(self) -> None:
        """Has the next turn taken, if there is any and none is; the lock is held."""
        if not self._waiting and self._foreseen:
            address = self._foreseen.popleft()
            if address not in self._wanted:
                self._want(address)
        if self._waiting and not self._is_turning and not self._is_closed:
            self._is_turning = True
            self._turns.submit(self._turn)

    def _turn(self) -> None:
        """One step of the page that waits longest.

        Of a reading that began no page is given twice: where all that wait have theirs of it already, they want to know
        what was written since, and another reading begins.
        """
        with self._lock:
            if all(address in self._given for address in self._waiting):
                self._reading = None
            new = (address for address in self._waiting if address not in self._given)
            address = next(new, self._waiting[0])
            self._waiting.remove(address)
        is_first = self._reading is None
        if is_first:
            self._given.clear()
            self._reading = self._watch.version()
        step = self._hands.submit(self._worker.answer, Message(address[0], dict(address[1]), is_first))
        self._put(address, step, cast("int", self._reading))
        with self._lock:
            self._is_turning = False
            self._go_on()
            if self._is_turning:
                return
            self._reading = None
        self._hands.submit(self._worker.answer, Message(""))

    def _put(self, address: Address, step: Future[Answer], version: int) -> None:
        """Keeps the page, or puts its address at the end where it needs another step; tells those who wait."""
        error = step.exception()
        answer = None if error else step.result()
        with self._lock:
            if self._is_closed:
                return
            if answer is not None and answer.page is None and not answer.problem:
                self._waiting.append(address)
                return
            future = self._wanted.pop(address)
            self._given.add(address)
            if answer is not None and answer.page is not None:
                self._kept[address] = _Kept(version, answer.page)
                self._kept.move_to_end(address)
                forms = [each for each in self._kept if each[0] in FORMS]
                for old in forms[: max(0, len(forms) - MOST_KEPT)]:  # whatever a form asked never drives a page out
                    del self._kept[old]
        if error is not None:
            future.set_exception(error)
        elif answer is not None and answer.problem:
            future.set_exception(JournalError(answer.problem, answer.next_step))
        else:
            future.set_result(None)

    def _frame(
        self, asked: tuple[int, int | None], mentor: str | None, limits: Limits
    ) -> tuple[Kept[FrameFacts], Talk | None]:
        with self._journal.snapshot():
            state = self._journal.version(), limits
            kept = self._latest.page(state, asked, lambda: self._frame_facts(*asked, limits))
            place = Place("frame", number=asked[0])
            return kept, talk(self._journal, place, mentor) if asked[1] is None else None

    def _frame_facts(self, number: int, other: int | None, limits: Limits) -> FrameFacts:
        if other is None:
            one = frame_page(self._journal, number, limits)
            return FrameFacts(one, frame_looks(self._journal, [one.explanation]))
        both = comparison_page(self._journal, number, other, limits)
        return FrameFacts(both, frame_looks(self._journal, both.frames))

    def close(self) -> None:
        """Closes the journal and ends threads and process."""
        with self._lock:
            self._is_closed = True
        if isinstance(self._worker, Apart):
            self._worker.close()  # first, for it may be in the middle of something long
        self._turns.shutdown()
        if isinstance(self._worker, Reckoner):
            self._hands.submit(self._worker.close).result()
        self._hands.shutdown()
        self._frames.submit(self._journal.close).result()
        self._frames.shutdown()
        self._watch.close()


def _address(name: str, query: Query | None = None) -> Address:
    """Raises JournalError where a form is longer than any of ours."""
    fields = tuple(sorted((field, tuple(values)) for field, values in (query or {}).items()))
    if sum(len(values) for _, values in fields) > MOST_FIELDS or any(
        len(text) > LONGEST_VALUE for field, values in fields for text in (field, *values)
    ):
        raise JournalError("The address asks for too much.", "Fill in the form of the page.")
    return name, fields


async def _within(seconds: float, future: Future[None]) -> None:
    """Waits until the page is there, at most so long; the reckoning itself goes on."""
    waiting = asyncio.wrap_future(future)
    await asyncio.wait({waiting}, timeout=seconds)
    if waiting.done():
        waiting.result()
