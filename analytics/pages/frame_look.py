"""What is drawn on the page of a frame: where its depth of field lies, and the map of what was measured.

A drawing is data first: places in shares of its width, a class for each colour, and the same in words for whoever does
not see it.
"""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.explaining.blur_budget import SMEARED_PX
from analytics.explaining.drawing import depth_axis
from analytics.pages.subject_place import subject_place
from journal.notation import SMALLEST_SPREAD_PX, format_count, format_rounded_distance, format_spread
from journal.records.turns import TURNS, upright_deg

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from analytics.dataset import OpenJournal
    from analytics.explaining import Explanation
    from analytics.explaining.drawing import DepthAxis
    from analytics.explaining.explanation import Depth

#: Edge spread up to which a cell of the map has each class [px]; beyond the last it has one more.
SPREAD_CLASSES = (1.0, 2.0, 4.0, 8.0)
#: Spread along a place's way over that across it from which it is shown as smeared; our own convention, which few
#: places of a sharp picture meet.
SMEARED_RATIO = 2.0
#: Room that a distance takes where it is written under the drawing, in shares of its width; on a phone it is that much.
LABEL = 0.14
#: How far outside the drawing a place is set that lies beyond its edge, in shares of the width.
BEYOND = 0.05


@dataclass(frozen=True, slots=True)
class Tick:
    """A distance on the axis: its place, as it is written, and which end of that stands there (SVG's text-anchor)."""

    place: float
    label: str
    anchor: str


@dataclass(frozen=True, slots=True)
class DepthFigure:
    """Depth of field along the distance, to a logarithmic scale; places are shares of the width.

    `subject` is its near and far edge, or `None` where its depth is not stated; below 0 and over 1 are beyond the
    drawing. `is_open` where the far limit is at
    infinity or far beyond the rest, which is drawn to the right edge. The first two ticks are the limits of focus.
    """

    near: float
    far: float
    focus: float
    subject: tuple[float, float] | None
    is_open: bool
    ticks: tuple[Tick, ...]
    words: str


@dataclass(frozen=True, slots=True)
class MapFigure:
    """Edge spread by place, upright: rows of (class, number as it is written); classes go from 0, sharp, to 4.

    `strokes` are those of the places that are smeared along one way: row, column, and half the stroke to the right and
    down, in shares of its length.
    """

    rows: tuple[tuple[tuple[int | None, str], ...], ...]
    words: str
    strokes: tuple[tuple[int, int, float, float], ...] = ()

    @property
    def n_columns(self) -> int:
        """Cells from left to right."""
        return len(self.rows[0])

    @property
    def key(self) -> list[tuple[int, str]]:
        """What each class stands for."""
        ends = [f"{limit:g}" for limit in SPREAD_CLASSES]
        between = [f"{low} to {high} px" for low, high in itertools.pairwise(ends)]
        return list(enumerate([f"up to {ends[0]} px", *between, f"over {ends[-1]} px"]))


@dataclass(frozen=True, slots=True)
class FrameLook:
    """One frame's pictures and drawings; `where` says what the piece at full size is taken from.

    `has_original` is whether its file can be expected to show: not where examining it was tried in vain.
    """

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
        has_original=bool(found) and (one.facts.measured is not None or one.facts.why_unexamined is None),
        where=subject_place(row["measures"], row["fault"]).words,
        depth=depth_figure(one.depth),
        # readers of HEIF turn the picture before it is measured
        map=map_figure(row["measures"], 1 if row["kind"] == "heif" else row["orientation"]),
    )


def depth_figure(depth: Depth) -> DepthFigure | None:
    """The limits of focus and the subject as a drawing; `None` where they are not known."""
    near, far, distance, axis = depth.near_m, depth.far_m, depth.subject_distance_m, depth_axis(depth)
    if near is None or far is None or distance is None or axis is None:
        return None
    thick = depth.subject_depth_m if depth.subject_depth_m is not None and math.isfinite(distance) else None
    ends = None if thick is None else (distance - thick / 2, distance + thick / 2)
    nearest, focused, furthest = format_rounded_distance(near), format_rounded_distance(distance), depth.far_words
    words = f"Sharp from {nearest} to {furthest}, focused at {focused}"
    if thick is not None:
        words += f"; the subject is {thick:.3g} m deep and {'fits' if depth.is_subject_inside else 'does not fit'}"
    sharp = (axis.place(near), 1.0 if axis.is_open else axis.place(far))
    return DepthFigure(
        near=sharp[0],
        far=sharp[1],
        focus=axis.place(distance),
        subject=None if ends is None else _beyond_the_edges(axis, ends),
        is_open=axis.is_open,
        ticks=(
            Tick(sharp[0], nearest, "end"),
            Tick(sharp[1], *(("infinity", "end") if axis.is_open else (furthest, "start"))),
            *_round_ticks(axis, sharp),
        ),
        words=f"{words}.",
    )


def _beyond_the_edges(axis: DepthAxis, ends: tuple[float, float]) -> tuple[float, float]:
    """The places of two ends; one that lies beyond an edge lies a little outside, so that no end is drawn there."""
    near, far = ends
    return (axis.place(near) if near > axis.low else -BEYOND, axis.place(far) if far < axis.high else 1 + BEYOND)


def _round_ticks(axis: DepthAxis, sharp: tuple[float, float]) -> Iterator[Tick]:
    """Distances of 1, 2 and 5 where they have room beside the two limits, which are written outwards."""
    taken = [sharp[0] - LABEL, sharp[0], sharp[1], sharp[1] - LABEL if axis.is_open else sharp[1] + LABEL]
    for metres in _round_distances(axis.low, axis.high):
        place = axis.place(metres)
        is_on_a_limit = sharp[0] - LABEL < place < sharp[0] or sharp[1] < place < sharp[1] + LABEL
        if LABEL / 2 < place < 1 - LABEL / 2 and not is_on_a_limit and all(abs(place - at) > LABEL / 2 for at in taken):
            taken += [place - LABEL / 2, place + LABEL / 2]
            yield Tick(place, format_rounded_distance(metres), "middle")


def _round_distances(low: float, high: float) -> list[float]:
    """Distances of 1, 2 and 5 within two ends."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [float(f"{digit}e{decade}") for decade in decades for digit in (1, 2, 5)]
    return [metres for metres in found if low <= metres <= high]


def map_figure(measures: str | None, orientation: int | None) -> MapFigure | None:
    """The map of edge spread, turned upright like the picture; `None` where nothing was measured.

    A smear leaves the edges that lie along it sharp, so where a place is smeared its spread along the smear is told.
    """
    found: Any = (json.loads(measures) if measures else {}).get("map") or {}
    cells = found.get("spread_px")
    if not isinstance(cells, list) or not cells or not cells[0]:
        return None
    ways: list[list[float | None]] = [
        [_way(found, y, x) for x in range(len(row))] if "direction_deg" in found else [None] * len(row)
        for y, row in enumerate(cells)
    ]
    told = [
        [value if way is None else found["along_px"][y][x] for x, (value, way) in enumerate(zip(row, of, strict=True))]
        for y, (row, of) in enumerate(zip(cells, ways, strict=True))
    ]
    upright = _upright(told, orientation)
    known = [(value, y, x) for y, row in enumerate(upright) for x, value in enumerate(row) if value is not None]
    if not known:
        return None
    size = f"{len(upright)} rows and {len(upright[0])} columns"
    least, most = (_where(known, end) for end in (min(known)[0], max(known)[0]))
    words = f"How far edges spread, by place, in {size}: least {least}; most {most}."
    strokes = tuple(_strokes(_upright(ways, orientation), orientation))
    if strokes:
        words += f" Softer along one way than across it: {format_count(len(strokes), 'place')}, told along it."
    return MapFigure(tuple(tuple(_cell(value) for value in row) for row in upright), words, strokes)


def _way(found: dict[str, Any], y: int, x: int) -> float | None:
    """The way along which a place is smeared, clockwise from level in the stored picture; else none [degrees]."""
    along, across, way = (found[name][y][x] for name in ("along_px", "across_px", "direction_deg"))
    if along is None or way is None or along < SMEARED_PX:
        return None
    is_smeared = along > SMEARED_RATIO * max(across or 0.0, SMALLEST_SPREAD_PX)
    return float(way) if is_smeared else None


def _strokes(ways: list[list[float | None]], orientation: int | None) -> Iterator[tuple[int, int, float, float]]:
    """The strokes of places whose way is known, turned with the picture."""
    for y, row in enumerate(ways):
        for x, way in enumerate(row):
            if way is not None:
                turned = math.radians(upright_deg(way, orientation))
                yield y, x, math.cos(turned), math.sin(turned)


def _where(known: list[tuple[float, int, int]], end: float) -> str:
    """A spread as it is written, and the place of the one cell that has it, or how many have."""
    written = format_spread(end)
    places = [f"in row {y + 1}, column {x + 1}" for value, y, x in known if format_spread(value) == written]
    return f"{written} {places[0] if len(places) == 1 else f'in {len(places)} places'}"


def _upright(cells: list[list[float | None]], orientation: int | None) -> list[list[float | None]]:
    is_mirrored, quarter_turns = TURNS.get(orientation or 1, (False, 0))
    turned = [row[::-1] for row in cells] if is_mirrored else [list(row) for row in cells]
    for _ in range(quarter_turns):
        turned = [list(column) for column in zip(*turned[::-1], strict=True)]
    return turned


def _cell(value: float | None) -> tuple[int | None, str]:
    if value is None:
        return None, "unknown"
    as_written = round(value, 1)
    return sum(as_written > limit for limit in SPREAD_CLASSES), format_spread(value).removesuffix(" px")
