"""The worker's side: one frame in, its measures and suggestion out."""

from __future__ import annotations

import importlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analytics.examining.findings import examined
from analytics.examining.settings import exif_of
from journal.errors import JournalError, Problem
from journal.readers.answering import answer_tasks

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.examining.pool import Answer
    from journal.records.measures import ToExamine


def serve() -> None:
    """Answers batches of frames until the pool closes the pipe."""
    answer_tasks(answer_for)


@cache
def _measuring(measure: str) -> Callable[[str, dict[str, Any]], dict[str, Any]]:
    module, _, name = measure.partition(":")
    found: Callable[[str, dict[str, Any]], dict[str, Any]] = getattr(importlib.import_module(module), name)
    return found


def answer_for(frame: ToExamine, measure: str) -> Answer:
    """What is found of one frame, or why it cannot be examined."""
    problem = _not_as_imported(frame)
    if problem is not None:
        return frame.frame_id, problem
    exif = exif_of(frame)
    try:
        result = _measuring(measure)(frame.path, exif)
    except JournalError as error:
        return frame.frame_id, Problem(frame.path, error.problem, error.next_step)
    except MemoryError:
        told = "The picture needs more memory than one worker may have."
        return frame.frame_id, Problem(frame.path, told, "Judge it by eye.")
    return frame.frame_id, examined(frame, result, exif)


def _not_as_imported(frame: ToExamine) -> Problem | None:
    """A picture that is gone or was changed since: what would be measured is not what the journal knows."""
    folder = str(Path(frame.path).parent)
    try:
        status = Path(frame.path).stat()
    except FileNotFoundError:
        again = "Bring it back, or import it from where it is now: thirdstop import FOLDER"
        return Problem(frame.path, "The original is not where it was imported from.", again)
    except OSError as error:
        return Problem(frame.path, f"The original cannot be read: {error.strerror}.", "Check the disk and permissions.")
    if (status.st_size, status.st_mtime_ns) != (frame.size_bytes, frame.mtime_ns):
        next_step = f"Import it again: thirdstop import {folder}"
        return Problem(frame.path, "The picture has changed since it was imported.", next_step)
    return None
