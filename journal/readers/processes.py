"""Tasks done in worker processes that may crash, hang or run out of memory without harm.

Each worker is a Python of its own that talks through pipes; a thread per worker hands it batches and takes the
answers one by one. When a worker dies, the first task without an answer is the suspect: it is tried alone, and if
workers keep dying of it, whoever asked is told. The rest of the batch goes on with a new worker.
Answers come in the order in which they are ready, not in the order of the tasks.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.readers.answering import read_message, write_message

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

#: The parent waits this much longer before it ends a worker whose own alarm failed [s].
GRACE_SECONDS = 2.0
#: A child that cannot even start is started this often.
MAX_STARTS = 3
#: A task whose worker died is tried this often by itself before it is blamed: a child may also be ended from outside,
#: by a system short of memory for example.
ALONE_TRIES = 2

_DONE = object()


@dataclass(frozen=True, slots=True)
class Work:
    """What the workers do: `module` has a `serve` that calls `answering.answer_tasks`.

    `options` go with every task, `seconds` is what one may take, `batch` is how many are handed over at once, `blame`
    makes the answer for a task that ended its workers, given whether it was for taking too long.
    """

    module: str
    options: tuple[object, ...]
    seconds: int
    batch: int
    blame: Callable[[object, bool], object]


class Worker:
    """One child process; started when it is needed."""

    def __init__(self, module: str) -> None:
        self.module = module
        self.process: subprocess.Popen[bytes] | None = None
        self.waiting_since: float | None = None
        self._was_ended_as_stalled = False

    def start(self) -> subprocess.Popen[bytes]:
        """The running child.

        Raises:
            JournalError: no child comes up.
        """
        for _ in range(MAX_STARTS):
            if self.process is None:
                self.process = _spawn(self.module)
                try:
                    read_message(self.process.stdout)  # type: ignore[arg-type]
                except EOFError:
                    self.stop()
                    continue
            return self.process
        raise JournalError(
            "The process that reads pictures does not start.", "Install thirdstop again, then repeat the command."
        )

    def stop(self) -> None:
        """End the child and collect it, so that no zombie stays."""
        process, self.process = self.process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            # Closing flushes, and there is nobody left to read.
            with contextlib.suppress(OSError):
                pipe.close()  # type: ignore[union-attr]

    def bury(self) -> bool:
        """Collect a child that died; was it ended because one file took too long?"""
        process = self.process
        was_stalled = self._was_ended_as_stalled
        if process is not None:
            with contextlib.suppress(subprocess.TimeoutExpired):
                # It closed its pipe, so it is about to end by itself; how it ends is the question.
                process.wait(timeout=GRACE_SECONDS)
            was_stalled = was_stalled or process.returncode == -getattr(signal, "SIGALRM", 0) != 0
        self.stop()
        self._was_ended_as_stalled = False
        return was_stalled

    def end_if_stalled(self, now: float, limit: float) -> None:
        """Kill the child when it has owed an answer for too long; the thread that waits for it sees its end."""
        process, since = self.process, self.waiting_since
        if process is not None and since is not None and now - since > limit:
            self._was_ended_as_stalled = True
            process.kill()


def _spawn(module: str) -> subprocess.Popen[bytes]:
    code = f"import sys; sys.path[:] = {sys.path!r}\nfrom {module} import serve\nserve()"
    return subprocess.Popen(  # noqa: S603 - our own code in our own interpreter
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # What libraries complain about on broken files is no message for the photographer.
        stderr=subprocess.DEVNULL,
        env=_environment(),
    )


def _environment() -> dict[str, str]:
    """The parent's environment; threads of libraries would only fight over the cores that the workers use."""
    return {**os.environ, "OMP_NUM_THREADS": "1"}


class Processes:
    """A run over many tasks."""

    def __init__(self, tasks: Iterable[object], work: Work) -> None:
        self._tasks = iter(tasks)
        self._work = work
        self._lock = threading.Lock()
        self._answers: queue.Queue[object] = queue.Queue(maxsize=256)
        self._stopping = threading.Event()
        self.workers: list[Worker] = []

    def run(self, n_workers: int) -> Iterator[object]:
        """Answers as they come; whatever ends the iteration ends the children too."""
        self.workers = [Worker(self._work.module) for _ in range(n_workers)]
        threads = [threading.Thread(target=self._drive, args=(worker,), daemon=True) for worker in self.workers]
        try:
            for thread in threads:
                thread.start()
            yield from self._collect(len(threads))
        finally:
            self._stopping.set()
            for worker, thread in zip(self.workers, threads, strict=True):
                while thread.is_alive():
                    process = worker.process
                    if process is not None:
                        process.kill()
                    thread.join(0.05)

    def _collect(self, n_running: int) -> Iterator[object]:
        while n_running:
            try:
                answer = self._answers.get(timeout=0.5)
            except queue.Empty:
                now = time.monotonic()
                for worker in self.workers:
                    worker.end_if_stalled(now, self._work.seconds + GRACE_SECONDS)
                continue
            if answer is _DONE:
                n_running -= 1
            elif isinstance(answer, BaseException):
                raise answer
            else:
                yield answer

    def _next_batch(self) -> list[object]:
        with self._lock:
            return list(islice(self._tasks, self._work.batch))

    def _drive(self, worker: Worker) -> None:
        """Body of the thread that serves one worker."""
        try:
            while not self._stopping.is_set() and (batch := self._next_batch()):
                self._finish(worker, batch)
        except BaseException as error:
            self._put(error)
        finally:
            worker.stop()
            self._put(_DONE)

    def _finish(self, worker: Worker, pending: list[object]) -> None:
        """All of one batch, over as many children as it takes."""
        n_deaths = 0
        while pending and not self._stopping.is_set():
            asked = pending[:1] if n_deaths else pending
            n_answered = self._ask(worker, asked)
            pending = pending[n_answered:]
            if n_answered == len(asked):
                n_deaths = 0
            elif not self._stopping.is_set():
                is_stalled = worker.bury()
                n_deaths = 1 if n_answered else n_deaths + 1
                if is_stalled or n_deaths > ALONE_TRIES:
                    self._put(self._work.blame(pending.pop(0), is_stalled))
                    n_deaths = 0

    def _ask(self, worker: Worker, tasks: list[object]) -> int:
        """Hand over `tasks`; how many answers came before the child died (all, when it lives)."""
        process = worker.start()
        n_answered = 0
        try:
            request = (tasks, self._work.options, self._work.seconds)
            write_message(process.stdin, request)  # type: ignore[arg-type]
            for _ in tasks:
                worker.waiting_since = time.monotonic()
                answer = read_message(process.stdout)  # type: ignore[arg-type]
                worker.waiting_since = None
                self._put(answer)
                n_answered += 1
        except (EOFError, BrokenPipeError):
            worker.waiting_since = None
        return n_answered

    def _put(self, item: object) -> None:
        while not self._stopping.is_set():
            try:
                self._answers.put(item, timeout=0.2)
            except queue.Full:
                continue
            return
