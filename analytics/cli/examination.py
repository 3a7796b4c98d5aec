"""Runs an examination: which frames, in which order, stored as it goes.

What was found is stored every few seconds, so a run that is killed loses no more than that, and the next one goes on
with the rest. Two runs at once begin at different places, pass over what the other has done and meet from two sides;
nothing is wrong if both look at the same picture, only slower.
"""

from __future__ import annotations

import os
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from analytics.examining import examine_pictures
from journal.errors import Problem
from journal.schema.reading import connect_read_only
from journal.store.measurements import is_examined, store_examined, store_unexamined, to_examine

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from journal.records.measures import Examined, Suggestion, ToExamine

#: What was found is stored when it is so many or so old [s].
STORE_FRAMES, STORE_SECONDS = 20, 3.0
#: Its multiples, without their whole part, keep apart from one another as far as those of no other number.
GOLDEN_SECTION = (5**0.5 - 1) / 2


@dataclass(frozen=True, slots=True)
class Measure:
    """The function that measures, as `module:name`, and the version that counts as current."""

    name: str
    version: int


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be examined: everything, or these sessions or paths; `again` also what is examined already."""

    session_ids: Sequence[int] | None = None
    paths: Sequence[str] | None = None
    again: bool = False


@dataclass(slots=True)
class Examination:
    """What came of it: the suggestion of each examined frame by its number, and which could not be examined."""

    n_asked: int = 0
    suggested: dict[int, Suggestion] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def frames_to_examine(connection: sqlite3.Connection, asked: Asked, measure: Measure) -> list[ToExamine]:
    """The frames in the order in which they are examined; another run at the same time has another order."""
    frames = to_examine(connection, measure.version, asked.session_ids, asked.paths, asked.again)
    start = start_of(os.getpid(), len(frames))
    return frames[start:] + frames[:start]


def start_of(process: int, n_frames: int) -> int:
    """The place among the frames where a process begins. Those started one after the other begin far apart, for side
    by side they would pass over nothing and do all the work twice.
    """
    return int(process * GOLDEN_SECTION % 1 * n_frames)


def left_to_do(frames: Sequence[ToExamine], is_done: Callable[[ToExamine], bool]) -> Iterator[ToExamine]:
    """The frames that are not done when their turn comes, from the first on; after one that another run has done, from
    the last back, and so by turns: two runs never go side by side, for whoever meets the other's work turns round.
    """
    ahead = deque(frames)
    here, there = ahead.popleft, ahead.pop
    while ahead:
        frame = here()
        if is_done(frame):
            here, there = there, here
        else:
            yield frame


def examine_frames(
    connection: sqlite3.Connection,
    path: Path,
    frames: Sequence[ToExamine],
    measure: Measure,
    again: bool = False,
    advance: Callable[[int], None] = lambda _steps: None,
) -> Examination:
    """Examines frames in two workers and stores what is found as it comes.

    Args:
        connection: the open journal, for writing.
        path: the journal's file; a second connection looks there for what others have done meanwhile.
        frames: what to examine.
        measure: what measures.
        again: examine also what is examined already.
        advance: told the number of frames done, for a progress bar.
    """
    done = Examination(n_asked=len(frames))
    reader = connect_read_only(path, check_same_thread=False)  # used by the pool's threads, one at a time

    def is_done(frame: ToExamine) -> bool:
        if again or not is_examined(reader, frame, measure.version):
            return False
        advance(1)
        return True

    found: list[Examined] = []
    in_vain: dict[int, Problem] = {}
    stored_at = time.monotonic()
    try:
        for frame_id, answer in examine_pictures(left_to_do(frames, is_done), measure.name):
            advance(1)
            if isinstance(answer, Problem):
                done.problems.append(answer)
                in_vain[frame_id] = answer
                continue
            found.append(answer)
            done.suggested[answer.frame_id] = answer.suggestion
            if len(found) >= STORE_FRAMES or time.monotonic() - stored_at > STORE_SECONDS:
                _store(connection, found)
                stored_at = time.monotonic()
    finally:
        _store(connection, found)
        if in_vain:
            store_unexamined(connection, in_vain, datetime.now(UTC))
        reader.close()
    return done


def _store(connection: sqlite3.Connection, found: list[Examined]) -> None:
    """Stores what was found and forgets it."""
    if found:
        store_examined(connection, found, datetime.now(UTC))
        found.clear()
