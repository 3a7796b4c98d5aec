"""Depth of field drawn along the distance: the axis, and a few lines of plain characters that any terminal can show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from journal.notation import format_rounded_distance

if TYPE_CHECKING:
    from analytics.explaining.explanation import Depth

#: Characters from the nearest to the farthest distance drawn.
WIDTH = 56
#: A far limit this many times as far as the nearest thing drawn runs on to the right edge; to its scale the near side
#: would be a few pixels wide.
FURTHEST_DRAWN = 100.0
#: How far the drawing goes on beyond what is sharp on either side, in lengths of what is sharp: so that is at least a
#: tenth of the width, however deep the subject.
MOST_BESIDE = 3.0
#: Room left at either side for the distances that are written there, in shares of what is drawn.
MARGIN = 0.25


@dataclass(frozen=True, slots=True)
class DepthAxis:
    """Distances to a logarithmic scale, since depth of field is short in front and long behind [m].

    `is_open` where the far limit is at infinity or far beyond the rest: then what is sharp runs to the right edge.
    """

    low: float
    high: float
    is_open: bool

    def place(self, metres: float) -> float:
        """Where a distance lies, in shares of the width; at the edge where it lies beyond."""
        if math.isinf(metres):
            return 1.0
        share = math.log(max(metres, self.low) / self.low) / math.log(self.high / self.low)
        return min(1.0, max(0.0, share))


def depth_axis(depth: Depth) -> DepthAxis | None:
    """An axis around what is sharp and the subject; `None` where the limits of focus are not known."""
    near, far, distance = depth.near_m, depth.far_m, depth.subject_distance_m
    if near is None or far is None or distance is None:
        return None
    is_open = depth.is_open
    last = math.log(4 * near if is_open else far)
    first = math.log(near)
    most = MOST_BESIDE * (last - first)
    shown = [first, last]
    if math.isfinite(distance):
        half = (depth.subject_depth_m or 0.0) / 2
        shown += [math.log(metres) for metres in (distance, distance - half, distance + half) if metres > 0]
        if distance <= half:
            shown.append(first - most)
    low, high = max(min(shown), first - most), min(max(shown), last + most)
    margin = MARGIN * (high - low)
    return DepthAxis(math.exp(low - margin), math.exp(high + margin), is_open)


def depth_drawing(depth: Depth) -> list[str]:
    """The limits of focus, written at their places, and the subject; empty where they are unknown."""
    near, far, distance, axis = depth.near_m, depth.far_m, depth.subject_distance_m, depth_axis(depth)
    if near is None or far is None or distance is None or axis is None:
        return []

    def place(metres: float) -> int:
        return round(axis.place(metres) * (WIDTH - 1))

    line = ["-"] * WIDTH
    end = WIDTH - 1 if axis.is_open else place(far)
    for column in range(place(near), end + 1):
        line[column] = "="
    line[place(near)] = "["
    line[end] = ">" if axis.is_open else "]"
    is_at_infinity = not math.isfinite(distance)
    line[place(distance)] = "X"
    rows = [f"in focus  {''.join(line)}"]
    if depth.subject_depth_m is not None and not is_at_infinity:
        ends = [distance - depth.subject_depth_m / 2, distance + depth.subject_depth_m / 2]
        marks = [" "] * WIDTH
        for column in range(place(ends[0]), place(ends[1]) + 1):
            marks[column] = "o"
        rows.insert(0, f"subject   {''.join(marks)}".rstrip())
    left, right = format_rounded_distance(near), depth.far_words
    written = left.rjust(place(near) + 1).ljust(WIDTH - len(right) if axis.is_open else end) + right
    rows.append(f"          {written}")
    return rows
