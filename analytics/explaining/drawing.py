"""Depth of field as a few lines of plain characters, which any terminal can show."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.explaining.explanation import Depth

#: Characters from the nearest to the farthest distance drawn.
WIDTH = 56


def depth_drawing(depth: Depth) -> list[str]:
    """The limits of focus and the subject between half the near limit and twice the far one; empty where unknown.

    Distances are drawn to a logarithmic scale, since depth of field is short in front and long behind. A far limit at
    infinity runs to the arrow at the right end.
    """
    near, far, distance = depth.near_m, depth.far_m, depth.subject_distance_m
    if near is None or far is None or distance is None:
        return []
    last = far if math.isfinite(far) else 4 * near
    low, high = near / 1.6, max(last, distance if math.isfinite(distance) else last) * 1.6

    def place(metres: float) -> int:
        share = math.log(max(metres, low) / low) / math.log(high / low)
        return min(WIDTH - 1, max(0, round(share * (WIDTH - 1))))

    line = ["-"] * WIDTH
    end = place(far) if math.isfinite(far) else WIDTH - 1
    for column in range(place(near), end + 1):
        line[column] = "="
    line[place(near)] = "["
    line[end] = "]" if math.isfinite(far) else ">"
    is_at_infinity = not math.isfinite(distance)
    line[WIDTH - 1 if is_at_infinity else place(distance)] = "X"
    rows = [f"in focus  {''.join(line)}"]
    if depth.subject_depth_m is not None and not is_at_infinity:
        ends = [distance - depth.subject_depth_m / 2, distance + depth.subject_depth_m / 2]
        marks = [" "] * WIDTH
        for column in range(place(ends[0]), place(ends[1]) + 1):
            marks[column] = "o"
        rows.insert(0, f"subject   {''.join(marks)}".rstrip())
    right = f"{high:.3g} m" if math.isfinite(far) else "infinity"
    left = f"{low:.2g} m"
    rows.append(f"          {left}{right.rjust(WIDTH - len(left))}")
    return rows
