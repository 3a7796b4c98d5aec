"""Pictures from the originals, made in a worker process and kept for a while in memory.

Only files that the journal knows are read, by the number of their frame: no path ever comes from a request.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections import OrderedDict
from concurrent.futures import Future
from typing import TYPE_CHECKING, cast

from journal.errors import JournalError, Problem
from journal.readers.closer import Closer, CloserLook
from journal.readers.processes import Processes, Work

if TYPE_CHECKING:
    from collections.abc import Iterator

#: What one picture may take [s].
MAX_SECONDS = 30
#: Frames kept in memory, each well below a megabyte.
MOST_KEPT = 24
#: One decodes while the page shows the picture before.
WORKERS = 1

Answer = Closer | Problem


class Pictures:
    """Closer looks at originals; the worker starts with the first one."""

    def __init__(self) -> None:
        self._wanted: queue.SimpleQueue[CloserLook | None] = queue.SimpleQueue()
        self._made: OrderedDict[CloserLook, Future[Answer]] = OrderedDict()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    async def closer(self, look: CloserLook) -> Answer:
        """The whole picture and the piece, or why there are none.

        Raises:
            JournalError: no worker process starts.
        """
        return await asyncio.wrap_future(self._future(look))

    def _future(self, look: CloserLook) -> Future[Answer]:
        with self._lock:
            if look in self._made:
                self._made.move_to_end(look)
                return self._made[look]
            made: Future[Answer] = Future()
            self._made[look] = made
            done = [old for old, future in self._made.items() if future.done()]
            for old in done[: max(0, len(self._made) - MOST_KEPT)]:
                del self._made[old]
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="pictures", daemon=True)
                self._thread.start()
        self._wanted.put(look)
        return made

    def _work(self) -> None:
        """Body of the thread that takes what the worker answers."""
        work = Work("journal.readers.closer", (), MAX_SECONDS, 1, _blame)
        try:
            for answered in Processes(self._tasks(), work).run(WORKERS):
                look, answer = cast("tuple[CloserLook, Answer]", answered)
                self._settle(look, answer)
        except JournalError as error:
            with self._lock:
                waiting, self._thread = [each for each in self._made.values() if not each.done()], None
            for future in waiting:
                future.set_exception(error)

    def _settle(self, look: CloserLook, answer: Answer) -> None:
        with self._lock:
            future = self._made.get(look)
            if isinstance(answer, Problem):
                self._made.pop(look, None)  # a card that is put back, or a file that is mended, is looked at again
        if future is not None:
            future.set_result(answer)

    def _tasks(self) -> Iterator[CloserLook]:
        while (look := self._wanted.get()) is not None:
            yield look

    def close(self) -> None:
        """Ends the worker."""
        self._wanted.put(None)
        if self._thread is not None:
            self._thread.join()


def _blame(look: object, is_stalled: bool) -> tuple[CloserLook, Problem]:
    wanted = cast("CloserLook", look)
    what = "takes too long to decode" if is_stalled else "ends the program that decodes it"
    return wanted, Problem(wanted.path, f"The picture {what}.", "Judge it by its preview.")
