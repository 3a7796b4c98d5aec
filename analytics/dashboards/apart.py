"""A process of its own for what takes long, so that it never makes the pages of the server wait.

A thread would not do: while it reckons, the event loop and the threads that read pictures and verdicts would wait for
the interpreter at every turn. The process answers one message at a time; when it dies, whoever waits is told, and the
next message starts another. It only reads, so it can be ended at any moment.
"""

from __future__ import annotations

import contextlib
import gc
import os
import signal
import subprocess
import sys
from typing import TYPE_CHECKING, cast

from analytics.dashboards.reckoning import Reckoner
from journal.errors import JournalError
from journal.readers.answering import read_message, write_message

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.dashboards.reckoning import Answer, Message

#: How much the process lets others go first.
NICENESS = 5
ENDED = JournalError("The process that counts has ended.", "Look again; it is started anew.")


class Apart:
    """A `Reckoner` in a process of its own."""

    def __init__(self, path: Path) -> None:
        self._path, self._is_closed = path, False
        self._process: subprocess.Popen[bytes] | None = self._start()  # it gets ready while nobody waits

    def answer(self, message: Message) -> Answer:
        """What the process answers.

        Raises:
            JournalError: the process ended before it did.
        """
        if self._is_closed:
            raise JournalError(ENDED.problem, ENDED.next_step)
        if self._process is None:
            self._process = self._start()
        process = self._process
        try:
            write_message(process.stdin, message)  # type: ignore[arg-type]
            return cast("Answer", read_message(process.stdout))  # type: ignore[arg-type]
        except (EOFError, OSError, ValueError):  # a pipe that broke, or that `close` closed meanwhile
            self._end()
            raise JournalError(ENDED.problem, ENDED.next_step) from None

    def close(self) -> None:
        """Ends the process for good, whatever it is doing; from any thread."""
        self._is_closed = True
        self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
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
        write_message(process.stdin, os.fspath(self._path))  # type: ignore[arg-type]
        return process


def serve() -> None:
    """The child's side: answers messages until the parent is gone."""
    answers = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints must not get between the answers
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    try:
        reckoner = Reckoner(cast("str", read_message(sys.stdin.buffer)))
        gc.freeze()  # what is loaded by now stays, and looking it through takes as long as many answers
        while True:
            write_message(answers, reckoner.answer(cast("Message", read_message(sys.stdin.buffer))))
    except (EOFError, BrokenPipeError):
        return
