"""The child's side of `processes`: takes tasks from its standard input, answers on its standard output.

It guards itself: an alarm ends it when one task takes too long, a limit of the system's when it asks for too much
memory. The parent notices, names the task and starts another child.
"""

from __future__ import annotations

import pickle
import signal
import sys
from typing import TYPE_CHECKING, BinaryIO, cast

if TYPE_CHECKING:
    from collections.abc import Callable

#: Address space of a child [bytes].
MAX_MEMORY_BYTES = 2 * 1024**3

#: Tasks, what all of them have in common, seconds per task.
Request = tuple[list[object], tuple[object, ...], int]


def write_message(stream: BinaryIO, message: object) -> None:
    """One pickled message with its length before it."""
    data = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(len(data).to_bytes(4, "big") + data)
    stream.flush()


def read_message(stream: BinaryIO) -> object:
    """The next message.

    Raises:
        EOFError: the other side is gone.
    """
    length = _exactly(stream, 4)
    return pickle.loads(_exactly(stream, int.from_bytes(length, "big")))  # noqa: S301 - from our own child


def _exactly(stream: BinaryIO, count: int) -> bytes:
    data = stream.read(count)
    if len(data) < count:
        raise EOFError
    return data


def answer_tasks(answer: Callable[..., object]) -> None:
    """Answers batches until the parent closes the pipe; `answer` takes a task and what all tasks have in common."""
    answers = sys.stdout.buffer
    # Whatever a library prints must not get between the messages.
    sys.stdout = sys.stderr
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    _limit_memory()
    write_message(answers, "ready")
    while True:
        try:
            message = read_message(sys.stdin.buffer)
        except EOFError:
            return
        tasks, options, seconds = cast("Request", message)
        for task in tasks:
            _alarm(seconds)
            answered = answer(task, *options)
            _alarm(0)
            try:
                write_message(answers, answered)
            except BrokenPipeError:
                return


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not on Windows
        return
    _soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = MAX_MEMORY_BYTES if hard == resource.RLIM_INFINITY else min(hard, MAX_MEMORY_BYTES)
    try:
        resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (ValueError, OSError):  # some systems know the limit but refuse to set it
        return


def _alarm(seconds: int) -> None:
    if hasattr(signal, "alarm"):
        signal.alarm(seconds)
