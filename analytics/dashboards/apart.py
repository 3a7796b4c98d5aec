"""Whoever answers the server's questions one after the other: in a thread, or in a process of its own.

Threads of one interpreter that have work to do wait for each other at every turn. So what takes long never makes the
pages wait when it is reckoned in a process of its own, and pages that many ask for at once are made on another core
than the one that sends them. A process takes longer to start than all pages of a small journal, so those have threads.
A process only reads, so it can be ended at any moment; when it dies, whoever waits is told, and the next message starts
another.
"""

from __future__ import annotations

import contextlib
import gc
import os
import signal
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, Protocol, TypeVar, cast

from journal.errors import JournalError
from journal.readers.answering import read_message, write_message

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

T = TypeVar("T")

#: Journals of up to this many frames have threads.
MOST_BESIDE = 5_000
ENDED = JournalError("A process of the server has ended.", "Look again; it is started anew.")


class Worker(Protocol):
    """Answers one message after the other; for one thread."""

    def answer(self, message: Any, /) -> Any:
        """What it has to say to a message."""

    def close(self) -> None:
        """Closes what it holds open."""


class Hand:
    """A worker and the thread that asks it."""

    def __init__(self, name: str, made: Callable[[], Worker], is_apart: bool) -> None:
        """
        Args:
            name: of the thread.
            made: makes the worker, where it works; for a process of its own it must be one that can be pickled.
            is_apart: whether the worker has a process of its own.
        """
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix=name)
        self._worker = Apart(made) if is_apart else self._thread.submit(made).result()

    def submit(self, work: Callable[[Worker], T]) -> Future[T]:
        """Has something done with the worker, after all that was submitted before."""
        return self._thread.submit(work, self._worker)

    def close(self) -> None:
        """Ends the worker, and then the thread; a process at once, whatever it is doing."""
        if isinstance(self._worker, Apart):
            self._worker.close()
        else:
            self._thread.submit(self._worker.close).result()
        self._thread.shutdown()


class Apart:
    """A worker in a process of its own."""

    def __init__(self, made: Callable[[], Worker]) -> None:
        self._made, self._is_closed, self._is_ready = made, False, False
        self._process: subprocess.Popen[bytes] | None = self._start()  # it gets ready while nobody waits

    def get_ready(self) -> None:
        """Waits until the worker is made.

        Raises:
            JournalError: the process ended before it was.
        """
        with self._ready():
            pass

    def answer(self, message: Any, /) -> Any:
        """What the worker answers.

        Raises:
            JournalError: the process ended before it did.
        """
        with self._ready() as process:
            write_message(process.stdin, message)  # type: ignore[arg-type]
            return read_message(process.stdout)  # type: ignore[arg-type]

    @contextlib.contextmanager
    def _ready(self) -> Iterator[subprocess.Popen[bytes]]:
        """The process with its worker made, started where there is none; that it ends meanwhile is told."""
        if self._is_closed:
            raise JournalError(ENDED.problem, ENDED.next_step)
        if self._process is None:
            self._process = self._start()
        process = self._process
        try:
            if not self._is_ready:
                read_message(process.stdout)  # type: ignore[arg-type]
                self._is_ready = True
            yield process
        except (EOFError, OSError, ValueError):  # a pipe that broke, or that `close` closed meanwhile
            self._end()
            raise JournalError(ENDED.problem, ENDED.next_step) from None

    def close(self) -> None:
        """Ends the process for good, whatever it is doing; from any thread."""
        self._is_closed = True
        self._end()

    def _end(self) -> None:
        process, self._process, self._is_ready = self._process, None, False
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            with contextlib.suppress(OSError):  # closing flushes, and there is nobody left to read
                pipe.close()  # type: ignore[union-attr]

    def _start(self) -> subprocess.Popen[bytes]:
        code = f"import sys; sys.path[:] = {sys.path!r}\nfrom analytics.dashboards.apart import serve\nserve()"
        process = subprocess.Popen(  # noqa: S603 - our own code in our own interpreter
            [sys.executable, "-c", code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "OMP_NUM_THREADS": "1"},  # threads of libraries would take the server's cores
        )
        write_message(process.stdin, self._made)  # type: ignore[arg-type]
        return process


def serve() -> None:
    """The child's side: answers messages until the parent is gone."""
    answers = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints must not get between the answers
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    try:
        worker = cast("Callable[[], Worker]", read_message(sys.stdin.buffer))()
        gc.freeze()  # what is loaded by now stays, and looking it through takes as long as many answers
        write_message(answers, "ready")
        while True:
            write_message(answers, worker.answer(read_message(sys.stdin.buffer)))
    except (EOFError, BrokenPipeError):
        return
