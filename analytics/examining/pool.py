"""Hands frames to worker processes and takes what they found."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from journal.errors import Problem
from journal.readers.processes import Processes, Work

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from journal.records.measures import Examined, ToExamine

#: One picture may take this long [s]; a large HEIF on a slow machine takes a tenth of it.
MAX_SECONDS = 60
#: Frames handed over at once; few, so that both workers end together.
BATCH = 4

Answer = tuple[int, "Examined | Problem"]


def examine_pictures(
    frames: Iterable[ToExamine], measure: str, workers: int = 2, seconds: int = MAX_SECONDS
) -> Iterator[Answer]:
    """What is found of each frame, by its number, in the order in which it is ready.

    Args:
        frames: taken as they are needed, from threads of the pool, one at a time.
        measure: the function that measures a picture, as `module:name`, with `measure(path, exif)`.
        workers: how many processes.
        seconds: what one picture may take [s].

    Raises:
        JournalError: no worker process starts.
    """

    def blame(frame: object, is_stalled: bool) -> Answer:
        return _culprit(cast("ToExamine", frame), seconds, is_stalled)

    work = Work("analytics.examining.worker", (measure,), seconds, BATCH, blame)
    return cast("Iterator[Answer]", Processes(frames, work).run(max(1, workers)))


def _culprit(frame: ToExamine, seconds: int, is_stalled: bool) -> Answer:
    what = (
        f"The picture could not be examined within {seconds} s."
        if is_stalled
        else "The program that examines pictures ended on this one."
    )
    return frame.frame_id, Problem(
        frame.path, what, "Judge it by eye; where this befalls every picture, install thirdstop again."
    )
