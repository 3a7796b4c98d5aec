"""The worker's side of `pool`: reads paths from its standard input, answers with facts on its standard output.

It guards itself: an alarm ends it when one file takes too long, a limit of the system's when it asks for too much
memory. The pool notices, names the file and starts another worker.
"""

from __future__ import annotations

import pickle
import signal
import sys
from typing import BinaryIO, cast

from journal.errors import Problem
from journal.readers.previews import make_preview
from journal.readers.reading import read_file
from journal.records.files import FileFacts

#: Address space of a worker [bytes].
MAX_MEMORY_BYTES = 2 * 1024**3

#: Paths, whether previews are wanted, whether quick ones will do, seconds per file.
Request = tuple[list[str], bool, bool, int]
Answer = tuple[FileFacts | Problem, bytes | None]


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


def serve() -> None:
    """Answer batches until the pool closes the pipe."""
    answers = sys.stdout.buffer
    # Whatever a library prints must not get between the messages.
    sys.stdout = sys.stderr
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the pool's to handle
    _limit_memory()
    write_message(answers, "ready")
    while True:
        try:
            message = read_message(sys.stdin.buffer)
        except EOFError:
            return
        paths, previews, quick, seconds = cast("Request", message)
        for path in paths:
            _alarm(seconds)
            answer = answer_for(path, previews=previews, quick=quick)
            _alarm(0)
            try:
                write_message(answers, answer)
            except BrokenPipeError:
                return


def answer_for(path: str, *, previews: bool, quick: bool) -> Answer:
    """Facts, and a preview where one is wanted and there is one."""
    facts = read_file(path)
    wanted = previews and isinstance(facts, FileFacts)
    return facts, make_preview(facts, quick=quick) if wanted and isinstance(facts, FileFacts) else None


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
