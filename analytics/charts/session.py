"""One session: what became of its frames in the order of the day, keepers as it went on, and the faults of its rejects.

The course shows every frame and estimates nothing, so it has no intervals; the others have. Keepers are filled, rejects
open, what is unjudged is small and grey: nothing hangs on colour alone.
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
#: How far the axis of shares goes beyond 100, to leave room for the counts.
AXIS_END = 142
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


def along_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """Keepers by parts of the session, as a Vega-Lite specification.

    Args:
        rows: `began`, `ended` (the body's clock, ISO), `estimate`, `low`, `high` (of 100), `n_frames`, `n_bursts` and
            `is_enough`, in the order of time.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    names = ("began", "ended", "estimate", "low", "high")
    shown = [
        {name: row[name] for name in names}
        | {"evidence": _evidence(row), "n": f"n {row['n_frames']}", "description": _part_in_words(row)}
        for row in rows
    ]
    return _filled(copy.deepcopy(_along_shape()), shown, question, found)


@cache
def _along_shape() -> dict[str, Any]:
    """The chart without its rows, made once."""
    clock = alt.Axis(format="%H:%M", grid=False, labelOverlap="greedy", tickCount=8)
    middle = alt.X("middle:T", title=None, axis=clock)
    scale = alt.Scale(domain=[0, 100], nice=False)
    axis = alt.Axis(title="keepers of 100 judged frames", titleAnchor="start", tickCount=5)
    y = alt.Y("estimate:Q", scale=scale, axis=axis)
    tip, said = alt.Tooltip("description:N", title=" "), alt.Description("description:N")
    between = "(toNumber(toDate(datum.began)) + toNumber(toDate(datum.ended))) / 2"
    chart = alt.Chart().transform_calculate(middle=between)
    line = chart.mark_rule(strokeWidth=2, color=KEEPER, aria=False)
    bar = chart.mark_rule(strokeWidth=3, opacity=0.75, color=KEEPER, aria=False)
    dot = chart.mark_point(filled=True, size=70, opacity=1, color=KEEPER)
    count = chart.mark_text(dy=-8, dx=4, align="left", fontSize=11, aria=False)
    layers = [
        line.encode(x=alt.X("began:T", title=None, axis=clock), x2="ended:T", y=y, tooltip=tip),
        bar.encode(x=middle, y=alt.Y("low:Q", scale=scale, axis=axis), y2="high:Q", strokeDash=_broken(), tooltip=tip),
        dot.encode(x=middle, y=y, tooltip=tip, description=said),
        count.encode(x=middle, y=y, text="n:N"),
    ]
    how = ["dot: rate of a part; bar: 95 % interval, broken where", "there is not enough yet; n: judged frames"]
    return finished(alt.layer(*layers, data=NO_ROWS), HEIGHT, "?", how)


def fault_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """What share of the rejects shows each fault, as a Vega-Lite specification.

    Args:
        rows: `fault`, `estimate`, `low`, `high` (of 100 rejects), `n_frames` and `n_bursts` that show it, `is_enough`,
            in order.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    shown = [
        {name: row[name] for name in ("fault", "estimate", "low", "high")}
        | {
            "evidence": _evidence(row),
            "counts": f"{row['n_frames']} · {row['n_bursts']}",
            "description": _fault_in_words(row),
        }
        for row in rows
    ]
    shape = copy.deepcopy(_fault_shape())
    shape["height"] = STEP_PX * len(rows)
    for layer in shape["layer"]:
        layer["encoding"]["y"]["sort"] = [row["fault"] for row in rows]
    return _filled(shape, shown, question, found)


@cache
def _fault_shape() -> dict[str, Any]:
    """The chart without its rows, made once."""
    y = alt.Y("fault:N", sort=[""], title=None, axis=alt.Axis(labelLimit=170))
    scale = alt.Scale(domain=[0, AXIS_END], nice=False)
    axis = alt.Axis(values=[0, 25, 50, 75, 100], format="d", title="of 100 rejects", titleAnchor="start")
    tip, said = alt.Tooltip("description:N", title=" "), alt.Description("description:N")
    bars = (
        alt.Chart()
        .mark_rule(strokeWidth=3, opacity=0.75, color=REJECT, aria=False)
        .encode(x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q", y=y, strokeDash=_broken(), tooltip=tip)
    )
    dots = (
        alt.Chart()
        .mark_point(filled=True, size=70, opacity=1, color=REJECT)
        .encode(x=alt.X("estimate:Q", scale=scale, axis=axis), y=y, tooltip=tip, description=said)
    )
    counts = (
        alt.Chart()
        .mark_text(align="right", fontSize=11, aria=False)
        .encode(x=alt.XDatum(AXIS_END), y=y, text="counts:N", tooltip=tip)
    )
    how = [
        "dot: share; bar: 95 % interval, broken where there is",
        "not enough yet; right: rejects · bursts that show it",
    ]
    return finished(alt.layer(bars, dots, counts, data=NO_ROWS), STEP_PX, "?", how)


def _broken() -> Any:
    """A line is broken where there is not enough behind it."""
    return alt.when(alt.datum.evidence == "enough").then(alt.value([1, 0])).otherwise(alt.value([3, 3]))


def _evidence(row: Mapping[str, Any]) -> str:
    return "enough" if row["is_enough"] else "not enough yet"


def _dot_in_words(dot: Mapping[str, Any]) -> str:
    frames = "1 frame" if dot["n_frames"] == 1 else f"{dot['n_frames']} frames"
    return f"{dot['began'][11:16]}, {dot['label']}: {frames}, {dot['verdict']}"


def _part_in_words(row: Mapping[str, Any]) -> str:
    return (
        f"{row['began'][11:16]} to {row['ended'][11:16]}: {_of_100(row)} kept, {row['n_frames']} judged frames in "
        f"{row['n_bursts']} bursts{_yet(row)}"
    )


def _fault_in_words(row: Mapping[str, Any]) -> str:
    return f"{row['fault']}: {_of_100(row)} rejects; {row['n_frames']} rejects, {row['n_bursts']} bursts{_yet(row)}"


def _of_100(row: Mapping[str, Any]) -> str:
    return f"{row['estimate']:.0f} of 100 ({row['low']:.0f} to {row['high']:.0f})"


def _yet(row: Mapping[str, Any]) -> str:
    return "" if row["is_enough"] else "; not enough yet"


def _filled(shape: dict[str, Any], rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The chart with its rows, its title and its words."""
    del shape["datasets"]
    shape["data"] = {"values": list(rows)}
    shape["title"]["text"] = question
    shape["description"] = f"{question} {found}"
    return shape
