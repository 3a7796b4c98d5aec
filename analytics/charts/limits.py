"""One personal limit: the fitted curve with its interval, what was counted as dots, and the limit itself.

A dot is all frames within a third of a stop; its size is how many they are. The axis shows nominal values, the data are
stops, so that equal steps of exposure are equal steps on the page.
"""

from __future__ import annotations

import json
import math
from functools import cache
from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import BAND, REJECT, UNJUDGED, finished, with_scales

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

HEIGHT = 240
#: Room for half a ring at either end [px].
SIDE_PX = 8
#: What is drawn how, in lines that a phone shows all of.
SUBTITLE = [
    "ring: share lost, larger for more frames",
    "line: fitted, broken where no frame was counted",
    "grey: your limit; bands: 95 % intervals",
]
#: Of a line, what lies within the frames counted, and how it is drawn within and beyond them.
WITHIN, BEYOND = "within", "beyond"
#: A chart's area of a dot [px²] for one frame and for the most frames.
SMALLEST, LARGEST = 12, 260


def limit_chart(
    curve: Sequence[Mapping[str, float]],
    counts: Sequence[Mapping[str, Any]],
    limit: Mapping[str, Any],
    axis: tuple[str, Mapping[int, str]],
    said: tuple[str, str],
) -> dict[str, Any]:
    """The chart as a Vega-Lite specification.

    Args:
        curve: `dose` [stops], `estimate`, `low`, `high` (shares with the fault, in [0, 1]).
        counts: `dose` [stops], `n_frames`, `n_faults`, `label` (the nominal value).
        limit: `estimate`, `low`, `high` [stops], `target` (share), `label` (the limit in nominal values).
        axis: title of the axis, and the names of its whole stops.
        said: the chart's title, a question, and what it shows in a sentence, its text alternative.
    """
    title, names = axis
    ends = [min(names), max(names)]
    low, high = (min(max(limit[end], ends[0]), ends[1]) for end in ("low", "high"))
    is_shown = ends[0] <= limit["estimate"] <= ends[1]
    place = {"low": low, "high": high, "dose": limit["estimate"] if is_shown else None, "description": limit["label"]}
    shape = _shape(is_shown)
    labels = f"{json.dumps({str(stop): name for stop, name in names.items()})}[datum.value]"
    changed = {"scale": {"domain": ends}, "axis": {"values": sorted(names), "labelExpr": labels, "title": title}}
    layers = [with_scales(layer, {"x": changed}) for layer in shape["layer"]]
    shares = [{name: value if name == "dose" else 100 * value for name, value in row.items()} for row in curve]
    dots = _dots(counts)
    datasets = {"limit": [place], "curve": shares, "line": _parts(shares, dots), "counts": dots}
    words = {"title": {**shape["title"], "text": said[0]}, "description": " ".join(said)}
    return {**shape, "layer": layers, "datasets": datasets, **words}


@cache
def _shape(is_shown: bool) -> dict[str, Any]:
    """The chart without its rows, made once, with the line of a limit that lies on the axis or without it."""
    along = alt.Scale(domain=[0, 1], nice=False, padding=SIDE_PX)
    axis = alt.Axis(values=[0], labelExpr="datum.value", labelOverlap="greedy", labelFlush=False, grid=False, title="")
    x, scale = alt.X("dose:Q", scale=along, axis=axis), alt.Scale(domain=[0, 100], nice=False, clamp=True)
    y_axis = alt.Axis(format="d", title="frames lost of 100", tickCount=5)
    curve = alt.Chart(alt.NamedData(name="curve"))
    band = curve.mark_area(opacity=BAND, color=REJECT, aria=False).encode(
        x=x, y=alt.Y("low:Q", scale=scale, axis=y_axis), y2="high:Q"
    )
    dashes = alt.Scale(domain=[WITHIN, BEYOND], range=[[1, 0], [3, 4]])
    line = alt.Chart(alt.NamedData(name="line")).mark_line(color=REJECT, strokeWidth=2, aria=False)
    line = line.encode(
        x=x,
        y=alt.Y("estimate:Q", scale=scale),
        strokeDash=alt.StrokeDash("where:N", scale=dashes, legend=None),
        detail="part:N",
    )
    marks = _limit_marks(along, x)
    chart = alt.layer(*(marks if is_shown else marks[:1]), band, line, _rings(x, scale))
    return finished(chart, HEIGHT, "?", SUBTITLE)


def _parts(curve: Sequence[Mapping[str, float]], dots: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The fitted line before, within and beyond the frames counted; the parts meet, so that none leaves a gap."""
    if not dots:
        return [{**row, "part": 0, "where": BEYOND} for row in curve]
    ends = min(dot["dose"] for dot in dots), max(dot["dose"] for dot in dots)
    first = max((row["dose"] for row in curve if row["dose"] <= ends[0]), default=ends[0])
    last = min((row["dose"] for row in curve if row["dose"] >= ends[1]), default=ends[1])
    parts = ((BEYOND, -math.inf, first), (WITHIN, first, last), (BEYOND, last, math.inf))
    return [
        {**row, "part": part, "where": where}
        for part, (where, low, high) in enumerate(parts)
        for row in curve
        if low <= row["dose"] <= high
    ]


def _dots(counts: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "dose": row["dose"],
            "share": 100 * row["n_faults"] / row["n_frames"],
            "n_frames": row["n_frames"],
            "description": f"{row['label']}: {row['n_faults']} of {row['n_frames']} frames lost",
        }
        for row in counts
        if row["n_frames"]
    ]


def _rings(x: alt.X, scale: alt.Scale) -> alt.Chart:
    size = alt.Size("n_frames:Q", scale=alt.Scale(type="linear", range=[SMALLEST, LARGEST], zero=True), legend=None)
    rings: alt.Chart = (
        alt.Chart(alt.NamedData(name="counts"))
        .mark_point(filled=False, color=REJECT, strokeWidth=1.5, opacity=1)
        .encode(
            x=x,
            y=alt.Y("share:Q", scale=scale),
            size=size,
            tooltip=alt.Tooltip("description:N", title=" "),
            description=alt.Description("description:N"),
        )
    )
    return rings


def _limit_marks(along: alt.Scale, x: alt.X) -> list[alt.Chart]:
    """The limit's interval and, in front, its line; where only one end is known, the interval runs to the edge."""
    place = alt.Chart(alt.NamedData(name="limit"))
    rect = place.mark_rect(color=UNJUDGED, opacity=BAND, aria=False).encode(x=alt.X("low:Q", scale=along), x2="high:Q")
    rule = place.mark_rule(color=UNJUDGED, strokeWidth=2).encode(
        x=x, tooltip=alt.Tooltip("description:N", title=" "), description=alt.Description("description:N")
    )
    return [rect, rule]
