"""One session: what became of its frames in the order of the day, and which faults its rejects show.

Both charts count what happened and estimate nothing, so they have no intervals. Keepers are filled, rejects open, what
is unjudged is small and grey: nothing hangs on colour alone.
"""

from __future__ import annotations

import copy
import json
from functools import cache
from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import KEEPER, REJECT, UNJUDGED, finished
from journal.optics.nominal import nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

VERDICTS = ["keeper", "reject", "unjudged"]
COLOURS = [KEEPER, REJECT, UNJUDGED]
HEIGHT, STEP_PX = 240, 24
#: Area of a dot [px²] for one frame and for the most frames.
SMALLEST, LARGEST = 15, 140
#: Dots of one burst stand beside each other [px].
BESIDE_PX = {"keeper": -5, "reject": 5, "unjudged": 0}
#: Sixths of a stop in a whole one; times are named at every second stop.
STOP, NAMED = 6, 12
#: What a chart is made with before its rows are known.
NO_ROWS = alt.InlineData(values=[])


def course_chart(dots: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """Frames along the day by exposure time, as a Vega-Lite specification.

    Args:
        dots: `began` (the body's clock, ISO), `tv6` (sixths of a stop), `verdict`, `n_frames`, `label`.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    rows = [
        {name: dot[name] for name in ("began", "tv6", "verdict", "n_frames")} | {"description": _dot_in_words(dot)}
        for dot in dots
    ]
    shortest = min(row["tv6"] for row in rows) // NAMED * NAMED
    longest = -(-max(row["tv6"] for row in rows) // NAMED) * NAMED
    names = {tv6: nominal_time_name(tv6) for tv6 in range(shortest, longest + 1, NAMED)}
    shape = copy.deepcopy(_course_shape(frozenset(row["verdict"] for row in rows)))
    for layer in shape["layer"]:
        y = layer["encoding"]["y"]
        y["scale"]["domain"] = [shortest - STOP, longest + STOP]
        y["axis"] |= {"values": sorted(names), "labelExpr": f"{json.dumps(names)}[datum.value]"}
    return _filled(shape, rows, question, found)


@cache
def _course_shape(verdicts: frozenset[str]) -> dict[str, Any]:
    """The chart without its rows, made once: Altair takes longer to make one than a page may."""
    axis = alt.Axis(values=[0], labelExpr="datum.value", title="exposure time [s]", grid=True)
    y = alt.Y("tv6:Q", scale=alt.Scale(domain=[0, 1], nice=False), axis=axis)
    legend = alt.Legend(title=None, orient="bottom", symbolStrokeWidth=2)
    fills = [KEEPER, "transparent", UNJUDGED]
    chart = alt.Chart().encode(
        x=alt.X("began:T", title=None, axis=alt.Axis(format="%H:%M", grid=False, labelOverlap="greedy", tickCount=8)),
        y=y,
        color=alt.Color("verdict:N", scale=alt.Scale(domain=VERDICTS, range=COLOURS), legend=legend),
        fill=alt.Fill("verdict:N", scale=alt.Scale(domain=VERDICTS, range=fills), legend=legend),
        size=alt.Size("n_frames:Q", scale=alt.Scale(range=[SMALLEST, LARGEST], zero=True), legend=None),
        tooltip=alt.Tooltip("description:N", title=" "),
        description=alt.Description("description:N"),
    )
    layers = [
        chart.transform_filter(alt.datum.verdict == verdict).mark_point(opacity=0.9, strokeWidth=1.5, xOffset=offset)
        for verdict, offset in BESIDE_PX.items()
        if verdict in verdicts
    ]
    subtitle = "a dot: frames of a burst with one verdict; its size: how many"
    return finished(alt.layer(*layers, data=NO_ROWS), HEIGHT, "?", subtitle)


def fault_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """How many rejects show each fault, as a Vega-Lite specification.

    Args:
        rows: `fault`, `n_frames`, `n_bursts`, in order.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    shown = [
        {**row, "counts": f"{row['n_frames']} · {row['n_bursts']}", "description": _fault_in_words(row)} for row in rows
    ]
    shape = copy.deepcopy(_fault_shape())
    shape["height"] = STEP_PX * len(rows)
    for layer in shape["layer"]:
        layer["encoding"]["y"]["sort"] = [row["fault"] for row in rows]
        layer["encoding"]["x"]["scale"]["domain"] = [0, 1.25 * max(row["n_frames"] for row in rows)]
    return _filled(shape, shown, question, found)


@cache
def _fault_shape() -> dict[str, Any]:
    """The chart without its rows, made once."""
    y = alt.Y("fault:N", sort=[""], title=None, axis=alt.Axis(labelLimit=170))
    x = alt.X(
        "n_frames:Q",
        scale=alt.Scale(domain=[0, 1], nice=False),
        axis=alt.Axis(title="rejects", titleAnchor="start", format="d", tickMinStep=1, tickCount=5),
    )
    bars = (
        alt.Chart()
        .mark_bar(color=REJECT, height=STEP_PX // 2)
        .encode(x=x, y=y, tooltip=alt.Tooltip("description:N", title=" "), description=alt.Description("description:N"))
    )
    counts = alt.Chart().mark_text(align="left", dx=6, fontSize=11, aria=False).encode(x=x, y=y, text="counts:N")
    layered = alt.layer(bars, counts, data=NO_ROWS)
    return finished(layered, STEP_PX, "?", "a reject may show several; right: frames · bursts")


def _dot_in_words(dot: Mapping[str, Any]) -> str:
    frames = "1 frame" if dot["n_frames"] == 1 else f"{dot['n_frames']} frames"
    return f"{dot['began'][11:16]}, {dot['label']}: {frames}, {dot['verdict']}"


def _fault_in_words(row: Mapping[str, Any]) -> str:
    return f"{row['fault']}: rejects {row['n_frames']}, bursts {row['n_bursts']}"


def _filled(shape: dict[str, Any], rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The chart with its rows, its title and its words."""
    del shape["datasets"]
    shape["data"] = {"values": list(rows)}
    shape["title"]["text"] = question
    shape["description"] = f"{question} {found}"
    return shape
