"""What is drawn on the page of a frame: where its depth of field lies, and the map of what was measured.

A drawing is data first: places in shares of its width, a class for each colour, and the same in words for whoever does
not see it.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.pages.subject_place import subject_place
from journal.notation import format_rounded_distance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.dataset import OpenJournal
    from analytics.explaining import Explanation
    from analytics.explaining.explanation import Depth

#: Edge spread up to which a cell of the map has each class [px]; beyond the last it has one more.
SPREAD_CLASSES = (1.0, 2.0, 4.0, 8.0)
#: A far limit this many times as far as the nearest thing drawn runs on to the right edge; to its scale the near side
#: would be a few pixels wide.
FURTHEST_DRAWN = 100.0
#: Distances are not written so near to an edge of the drawing, where they would be cut off.
EDGE = 0.05
#: Quarter turns to the right that make a stored picture upright, and whether it is mirrored first. Source: CIPA DC-008
#: (Exif), tag Orientation.
TURNS = {
    1: (0, False),
    2: (0, True),
    3: (2, False),
    4: (2, True),
    5: (3, True),
    6: (1, False),
    7: (1, True),
    8: (3, False),
}


@dataclass(frozen=True, slots=True)
class DepthFigure:
    """Depth of field along the distance, to a logarithmic scale; places are shares of the width.

    `subject` is its near and far edge, or `None` where its depth is not stated. `is_open` where the far limit is at
    infinity or far beyond the rest, which is drawn to the right edge.
    """

    near: float
    far: float
    focus: float
    subject: tuple[float, float] | None
    is_open: bool
    ticks: tuple[tuple[float, str], ...]
    words: str


@dataclass(frozen=True, slots=True)
class MapFigure:
    """Edge spread by place, upright: rows of (class, number as it is written); classes go from 0, sharp, to 4."""

    rows: tuple[tuple[tuple[int | None, str], ...], ...]
    words: str

    @property
    def n_columns(self) -> int:
        """Cells from left to right."""
        return len(self.rows[0])


@dataclass(frozen=True, slots=True)
class FrameLook:
    """One frame's pictures and drawings; `where` says what the piece at full size is taken from."""

    number: int
    has_original: bool
    where: str
    depth: DepthFigure | None
    map: MapFigure | None


def frame_looks(journal: OpenJournal, frames: Sequence[Explanation]) -> list[FrameLook]:
    """What is drawn of each of these frames."""
    return [_look(journal, one) for one in frames]


def _look(journal: OpenJournal, one: Explanation) -> FrameLook:
    number = one.facts.frame_id
    found = journal.rows(queries.ORIGINAL, {"number": number})
    row = found[0] if found else {"measures": None, "fault": None, "orientation": None, "kind": None}
    return FrameLook(
        number=number,
        has_original=bool(found),
        where=subject_place(row["measures"], row["fault"]).words,
        depth=depth_figure(one.depth),
        # readers of HEIF turn the picture before it is measured
        map=map_figure(row["measures"], 1 if row["kind"] == "heif" else row["orientation"]),
    )


def depth_figure(depth: Depth) -> DepthFigure | None:
    """The limits of focus and the subject as a drawing; `None` where they are not known."""
    near, far, distance = depth.near_m, depth.far_m, depth.subject_distance_m
    if near is None or far is None or distance is None:
        return None
    is_open = far > FURTHEST_DRAWN * near
    last = 4 * near if is_open else far
    if math.isfinite(distance):
        last = max(last, distance)
    thick = depth.subject_depth_m if depth.subject_depth_m is not None and math.isfinite(distance) else None
    ends = None if thick is None else (max(distance - thick / 2, near / 8), distance + thick / 2)
    low = min(near, distance, *(ends or ())) / 1.6
    high = max(last, ends[1] if ends else last) * 1.6

    def place(metres: float) -> float:
        return 1.0 if math.isinf(metres) else min(1.0, math.log(metres / low) / math.log(high / low))

    nearest, furthest, focused = (format_rounded_distance(metres) for metres in (near, far, distance))
    words = f"Sharp from {nearest} to {furthest}, focused at {focused}"
    if thick is not None:
        words += f"; the subject is {thick:.3g} m deep and {'fits' if depth.is_subject_inside else 'does not fit'}"
    return DepthFigure(
        near=place(near),
        far=1.0 if is_open else place(far),
        focus=place(distance),
        subject=None if ends is None else (place(ends[0]), place(ends[1])),
        is_open=is_open,
        ticks=tuple(
            (place(metres), format_rounded_distance(metres))
            for metres in _round_distances(low, high)
            if EDGE < place(metres) < 1 - EDGE
        ),
        words=f"{words}.",
    )


def _round_distances(low: float, high: float) -> list[float]:
    """Distances of 1, 2 and 5 within two ends, at most six of them."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [float(f"{digit}e{decade}") for decade in decades for digit in (1, 2, 5)]
    inside = [metres for metres in found if low <= metres <= high]
    step = -(-len(inside) // 6)
    return inside[:: step or 1]


def map_figure(measures: str | None, orientation: int | None) -> MapFigure | None:
    """The map of edge spread, turned upright like the picture; `None` where nothing was measured."""
    cells: Any = ((json.loads(measures) if measures else {}).get("map") or {}).get("spread_px")
    if not isinstance(cells, list) or not cells or not cells[0]:
        return None
    upright = _upright(cells, orientation)
    known = [(value, y, x) for y, row in enumerate(upright) for x, value in enumerate(row) if value is not None]
    if not known:
        return None
    sharpest, softest = min(known), max(known)
    ends = [f"{max(value, 0.0):.1f} px in row {y + 1}, column {x + 1}" for value, y, x in (sharpest, softest)]
    size = f"{len(upright)} rows and {len(upright[0])} columns"
    words = f"How far edges spread, by place, in {size}: least {ends[0]}; most {ends[1]}."
    return MapFigure(tuple(tuple(_cell(value) for value in row) for row in upright), words)


def _upright(cells: list[list[float | None]], orientation: int | None) -> list[list[float | None]]:
    quarter_turns, is_mirrored = TURNS.get(orientation or 1, (0, False))
    turned = [row[::-1] for row in cells] if is_mirrored else [list(row) for row in cells]
    for _ in range(quarter_turns):
        turned = [list(column) for column in zip(*turned[::-1], strict=True)]
    return turned


def _cell(value: float | None) -> tuple[int | None, str]:
    if value is None:
        return None, "unknown"
    return sum(value > limit for limit in SPREAD_CLASSES), f"{max(value, 0.0):.1f}"
