"""Many files, read in worker processes: a file that ends its workers becomes a `Problem`, and the rest is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from journal.errors import Problem
from journal.readers.processes import Processes, Work

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import PurePath

    from journal.readers.worker import Answer

#: One file may take this long [s].
MAX_SECONDS = 10
#: Paths handed over at once.
BATCH = 32


class Pool(Processes):
    """A run over many paths."""

    def __init__(self, paths: Iterable[str], *, previews: bool, quick: bool, seconds: int) -> None:
        def blame(path: object, is_stalled: bool) -> Answer:
            return _culprit(str(path), seconds, is_stalled=is_stalled), None

        super().__init__(paths, Work("journal.readers.worker", (previews, quick), seconds, BATCH, blame))


def _culprit(path: str, seconds: int, *, is_stalled: bool) -> Problem:
    if is_stalled:
        problem = f"The file could not be read within {seconds} s."
    else:
        problem = "The file is damaged in a way that ends the program which reads it."
    return Problem(path, problem, "Copy it from the card again, or leave it out of the import.")


def answers(
    paths: Iterable[str | PurePath], *, workers: int, previews: bool, quick: bool, seconds: int = MAX_SECONDS
) -> Iterator[Answer]:
    """Facts and previews of many files, in the order in which they are ready."""
    pool = Pool((str(path) for path in paths), previews=previews, quick=quick, seconds=seconds)
    return cast("Iterator[Answer]", pool.run(max(1, workers)))
