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
from concurrent.futures import Future
from contextlib import closing, suppress
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, cast

from analytics.dashboards.apart import MOST_BESIDE, Hand
from analytics.dashboards.reckoning import FORMS, Message, Reckoner
from analytics.dashboards.watch import Watch
from analytics.dataset import OpenJournal
from analytics.pages.waiting import CountingError
from journal.errors import JournalError

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.dashboards.apart import Worker
    from analytics.dashboards.reckoning import Answer, Page, Query

    Address = tuple[str, tuple[tuple[str, tuple[str, ...]], ...]]

#: Answers to forms that are kept in memory, besides all pages; one takes up to a tenth of a megabyte.
MOST_KEPT = 60
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
class _Kept:
    version: int
    page: Page


class Estimates:
    """Limits, habits and progress of one journal.

    A journal of more than `most_beside` frames is reckoned in a process of its own; a smaller one in a thread, for
    that process takes longer to start than all of its pages.
    """

    def __init__(self, path: Path, patience: Patience = ENDLESS, most_beside: int = MOST_BESIDE) -> None:
        self._patience = patience
        self._watch = Watch(path)
        with closing(OpenJournal(path)) as journal:
            is_apart = journal.totals()["n_frames"] > most_beside
        self._hand = Hand("estimates", partial(Reckoner, path), is_apart)
        self._lock = threading.Lock()
        self._waiting: deque[Address] = deque()
        self._foreseen: deque[Address] = deque()
        self._wanted: dict[Address, Future[None]] = {}
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

    async def limits(self) -> Shown:
        """The photographer's own limits, as a frame's page needs them.

        Raises:
            CountingError: there are none yet; they are being counted.
        """
        return await self._shown(_address("own limits"), self._patience.of_frame, self._patience.none)

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
            self._hand.submit(self._turn)

    def _turn(self, worker: Worker) -> None:
        """One step of the page that waits longest.

        Of a reading of before the last change no page is given twice: where all that wait have theirs of it already,
        they want to know what was written since, and another reading begins.
        """
        with self._lock:
            given = self._given if self._watch.version() != self._reading else set()
            if all(address in given for address in self._waiting):
                self._reading = None
            address = next((address for address in self._waiting if address not in given), self._waiting[0])
            self._waiting.remove(address)
        is_first = self._reading is None
        if is_first:
            self._given.clear()
            self._reading = self._watch.version()
        try:
            came: Answer | Exception = worker.answer(Message(address[0], dict(address[1]), is_first))
        except Exception as error:
            came = error
        self._put(address, came, cast("int", self._reading))
        with self._lock:
            self._is_turning = False
            self._go_on()
            if self._is_turning:
                return
            self._reading = None
        with suppress(JournalError):  # a process that ended holds nothing
            worker.answer(Message(""))

    def _put(self, address: Address, came: Answer | Exception, version: int) -> None:
        """Keeps the page, or puts its address at the end where it needs another step; tells those who wait."""
        answer = None if isinstance(came, Exception) else came
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
        if isinstance(came, Exception):
            future.set_exception(came)
        elif answer is not None and answer.problem:
            future.set_exception(JournalError(answer.problem, answer.next_step))
        else:
            future.set_result(None)

    def close(self) -> None:
        """Ends thread and process."""
        with self._lock:
            self._is_closed = True
        self._hand.close()
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
