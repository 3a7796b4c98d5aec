"""One session: what became of its frames in the order of the day, keepers as it went on, and the faults of its rejects.

The course shows every frame and estimates nothing, so its only interval is the one that was planned; the others have
those of their rates. Keepers are filled, rejects open, what is unjudged is a broken ring: nothing hangs on colour
alone.

The shape of each chart is made once, for Altair takes longer to make one than a page may, and many sessions in one file
share it; a session adds its rows, what they say, and how far they reach.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import INTERVAL_PX, KEEPER, REJECT, UNJUDGED, beside_counts, finished
from journal.optics.nominal import nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

COURSE_QUESTION = "Which moments of the session did you keep?"
ALONG_QUESTION = "Did you keep more as the session went on?"
FAULTS_QUESTION = "Which faults do the rejects show?"
VERDICTS = ["keeper", "reject", "unjudged"]
#: In the name of a shape: with the band of the plan.
PLANNED = "planned"
#: The shapes of sessions of a day, judged or not, with a plan or without.
USUAL_SHAPES = (
    "faults",
    "along",
    *(
        " ".join(("course", verdicts, *planned))
        for verdicts in ("keeper reject", "keeper reject unjudged", "keeper", "reject", "unjudged")
        for planned in ((), (PLANNED,))
    ),
)
COLOURS = [KEEPER, REJECT, UNJUDGED]
HEIGHT, STEP_PX = 240, 24
#: Area of a dot [px²] for one frame and for the most frames, which are less where a phone leaves less room.
SMALLEST, LARGEST = 15, alt.ExprRef("clamp(width / 5, 60, 140)")
#: Room at both ends of the day, so that no dot lies on the names of times [px].
ROOM_PX = 14
#: Dots of one burst touch at their moment, keepers on its left and rejects on its right: half a dot and its line [px].
HALF_A_DOT = "(sqrt(scale('size', datum.n_frames)) / 2 + 0.75)"
BESIDE_PX: dict[str, Any] = {"keeper": alt.ExprRef(f"-{HALF_A_DOT}"), "reject": alt.ExprRef(HALF_A_DOT), "unjudged": 0}
#: Sixths of a stop in a whole one; times are named at every second stop.
STOP, NAMED = 6, 12
#: What still counts as the plan beyond its ends [sixths of a stop]; as `journal.records.planned` counts it.
AS_PLANNED = 1
#: Exposure times that an axis names: from 1/1,000,000 s to 12 days, in sixths of a stop.
NAMED_TIMES = range(-120, 121, NAMED)
#: Days by their dates, those that begin a year by the year: as short as they can be told apart.
DAYS = (
    "timeFormat(datum.value, {year: '%Y', quarter: '%Y-%m', month: '%Y-%m', week: '%Y-%m-%d', date: '%Y-%m-%d', "
    "day: '%Y-%m-%d', hours: '%H:%M'})"
)
A_DAY = timedelta(days=1)
#: What a chart is made with before its rows are known.
NO_ROWS = alt.InlineData(values=[])


def course_chart(
    dots: Sequence[Mapping[str, Any]], found: str, planned: tuple[int, int] | None = None
) -> dict[str, Any]:
    """Frames along the day by exposure time: what one session adds to the shape of its course.

    Args:
        dots: `began` (the body's clock, ISO), `tv6` (sixths of a stop), its name as `label`, `verdict`, `n_frames`.
        found: what the chart shows, in a sentence; with the question it is the text alternative.
        planned: the shortest and the longest exposure time of the plan, like `tv6`; None without a plan.
    """
    rows = [{name: dot[name] for name in ("began", "tv6", "label", "verdict", "n_frames")} for dot in dots]
    shown = [row["tv6"] for row in rows] + list(planned or ())
    ends = {"shortest": min(shown) - STOP, "longest": max(shown) + STOP}
    if (
        len([time for time in NAMED_TIMES if ends["shortest"] <= time <= ends["longest"]]) < 2
    ):  # one name tells no scale
        ends = {"shortest": min(shown) // NAMED * NAMED - STOP, "longest": -(-max(shown) // NAMED) * NAMED + STOP}
    if planned:
        ends |= {"planned_shortest": planned[0] - AS_PLANNED, "planned_longest": planned[1] + AS_PLANNED}
    params = [{"name": name, "value": value} for name, value in ends.items()]
    return {**_added(rows, COURSE_QUESTION, found), "params": params}


def along_chart(rows: Sequence[Mapping[str, Any]], found: str) -> dict[str, Any]:
    """Keepers by parts of the session: what one session adds to the shape "along".

    Args:
        rows: `began`, `ended` (the body's clock, ISO), `estimate`, `low`, `high` (of 100), `n_frames`, `n_bursts` and
            `is_enough`, in the order of time.
        found: what the chart shows, in a sentence; with the question it is the text alternative.
    """
    names = ("began", "ended", "estimate", "low", "high", "n_frames", "n_bursts", "is_enough")
    return _added([{name: row[name] for name in names} for row in rows], ALONG_QUESTION, found)


def fault_chart(rows: Sequence[Mapping[str, Any]], found: str) -> dict[str, Any]:
    """What share of the rejects shows each fault: what one session adds to the shape "faults".

    Args:
        rows: `fault`, `estimate`, `low`, `high` (of 100 rejects), `n_frames` and `n_bursts` that show it, `is_enough`,
            in order.
        found: what the chart shows, in a sentence; with the question it is the text alternative.
    """
    names = ("fault", "estimate", "low", "high", "n_frames", "n_bursts", "is_enough")
    shown = [{name: row[name] for name in names} for row in rows]
    return {**_added(shown, FAULTS_QUESTION, found), "height": STEP_PX * len(rows)}


def course_shape_name(dots: Sequence[Mapping[str, Any]], is_planned: bool = False) -> str:
    """The shape that a course takes: a layer without dots would warn of it, so each has those of its verdicts."""
    found = {dot["verdict"] for dot in dots}
    kind = "course-of-days" if are_of_days(dot["began"] for dot in dots) else "course"
    return " ".join((kind, *(verdict for verdict in VERDICTS if verdict in found), *[PLANNED][:is_planned]))


def along_shape_name(rows: Sequence[Mapping[str, Any]]) -> str:
    """The shape that the parts of a session take: with dates where they span more than a day."""
    return "along-of-days" if are_of_days(row[end] for row in rows for end in ("began", "ended")) else "along"


def are_of_days(moments: Iterable[str]) -> bool:
    """Whether moments by the body's clock (ISO) span more than a day, so that a time alone does not tell them apart."""
    ends = sorted(moments)
    return datetime.fromisoformat(ends[-1]) - datetime.fromisoformat(ends[0]) > A_DAY


def whole(name: str, added: Mapping[str, Any]) -> dict[str, Any]:
    """The chart as a Vega-Lite specification, from the name of its shape and what a session adds."""
    return {**shape(name), **added}


def _added(rows: list[dict[str, Any]], question: str, found: str) -> dict[str, Any]:
    return {"data": {"values": rows}, "description": f"{question} {found}"}


@cache
def shape(name: str) -> dict[str, Any]:
    """A chart without what a session adds, as a Vega-Lite specification.

    Args:
        name: "faults", or what `course_shape_name` or `along_shape_name` gives.
    """
    kind, *verdicts = name.split()
    kind, _, of_days = kind.partition("-")
    made = {
        "course": lambda: _course_shape(verdicts, bool(of_days)),
        "along": lambda: _along_shape(bool(of_days)),
        "faults": _fault_shape,
    }[kind]()
    return {key: part for key, part in made.items() if key != "datasets"}


def _course_shape(kinds: Sequence[str], is_of_days: bool) -> dict[str, Any]:
    verdicts, is_planned = [kind for kind in kinds if kind != PLANNED], PLANNED in kinds
    names = {tv6: nominal_time_name(tv6) for tv6 in NAMED_TIMES}
    label = f"{json.dumps(names)}[datum.value]"
    axis = alt.Axis(values=list(names), labelExpr=label, title="exposure time [s]", grid=True)
    ends = alt.Scale(domainMin=alt.ExprRef("shortest"), domainMax=alt.ExprRef("longest"), nice=False, zero=False)
    legend = alt.Legend(title=None, orient="bottom", symbolStrokeWidth=2)
    fills = {"keeper": KEEPER, "reject": "transparent", "unjudged": "transparent"}
    dashes = {"keeper": [1, 0], "reject": [1, 0], "unjudged": [2, 2]}
    strokes = dict(zip(VERDICTS, COLOURS, strict=True))
    said = (
        f"{_moment('began', is_of_days)} + ', ' + datum.label + ': ' + datum.n_frames + "
        "(datum.n_frames == 1 ? ' frame, ' : ' frames, ') + datum.verdict"
    )
    chart = alt.Chart().encode(
        x=_clock("began:T", is_of_days, ROOM_PX),
        y=alt.Y("tv6:Q", scale=ends, axis=axis),
        color=alt.Color("verdict:N", scale=_of(verdicts, strokes), legend=legend),
        fill=alt.Fill("verdict:N", scale=_of(verdicts, fills), legend=legend),
        strokeDash=alt.StrokeDash("verdict:N", scale=_of(verdicts, dashes), legend=legend),
        size=alt.Size("n_frames:Q", scale=alt.Scale(range=[SMALLEST, LARGEST], zero=True), legend=None),
        tooltip=_tip(),
        description=alt.Description("said:N"),
    )
    layers: list[alt.Chart] = [_plan_band(ends, axis)] if is_planned else []
    layers += [
        chart.transform_filter(alt.datum.verdict == verdict).mark_point(opacity=1, strokeWidth=1.5, xOffset=offset)
        for verdict, offset in BESIDE_PX.items()
        if verdict in verdicts
    ]
    is_both = {"keeper", "reject"} <= set(verdicts)
    how = [
        "a dot: frames of a burst with one verdict and one exposure time",
        "larger: more frames" + ("; left of a moment: keepers, right: rejects" if is_both else ""),
        *["in the grey band: as planned"][:is_planned],
    ]
    layered = alt.layer(*layers, data=NO_ROWS).transform_calculate(said=said)
    return finished(layered, HEIGHT, COURSE_QUESTION, how)


def _plan_band(ends: alt.Scale, axis: alt.Axis) -> alt.Chart:
    """The exposure times of the plan, over the whole day."""
    once = alt.Chart(alt.sequence(1)).transform_calculate(low="planned_shortest", high="planned_longest")
    band = once.mark_rect(color=UNJUDGED, fillOpacity=0.08, stroke=UNJUDGED, strokeWidth=1, aria=False)
    drawn: alt.Chart = band.encode(y=alt.Y("low:Q", scale=ends, axis=axis), y2="high:Q")
    return drawn


def _of(verdicts: Sequence[str], looks: Mapping[str, Any]) -> alt.Scale:
    """The looks of the verdicts that are drawn; the legend names no other."""
    return alt.Scale(domain=list(verdicts), range=[looks[verdict] for verdict in verdicts])


def _along_shape(is_of_days: bool) -> dict[str, Any]:
    middle, tip = _clock("middle:T", is_of_days), _tip()
    scale = alt.Scale(domain=[0, 100], nice=False)
    axis = alt.Axis(title="keepers of 100 judged frames", tickCount=5)
    y = alt.Y("estimate:Q", scale=scale, axis=axis)
    between = "(toNumber(toDate(datum.began)) + toNumber(toDate(datum.ended))) / 2"
    began, ended = (_moment(end, is_of_days) for end in ("began", "ended"))
    said = (
        f"{began} + ' to ' + {ended} + ': ' + {_of_100('kept')} + ', ' + datum.n_frames + "
        f"' judged frames in ' + datum.n_bursts + ' bursts' + {_YET}"
    )
    chart = alt.Chart()
    line = chart.mark_rule(strokeWidth=2, color=KEEPER, aria=False)
    bar = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, color=KEEPER, aria=False)
    dot = chart.mark_point(filled=True, size=70, opacity=1, color=KEEPER)
    count = chart.mark_text(dy=-8, dx=4, align="left", fontSize=11, aria=False)
    layers = [
        line.encode(x=_clock("began:T", is_of_days), x2="ended:T", y=y, tooltip=tip),
        bar.encode(x=middle, y=alt.Y("low:Q", scale=scale, axis=axis), y2="high:Q", strokeDash=_broken(), tooltip=tip),
        dot.encode(x=middle, y=y, tooltip=tip, description=alt.Description("said:N")),
        count.encode(x=middle, y=y, text="n:N"),
    ]
    how = [
        "dot: rate of a part; line across: how long it lasted",
        "bar: 95 % interval, broken: not enough yet; n: frames",
    ]
    layered = alt.layer(*layers, data=NO_ROWS)
    layered = layered.transform_calculate(middle=between, said=said, n="'n ' + datum.n_frames")
    return finished(layered, HEIGHT, ALONG_QUESTION, how)


def _fault_shape() -> dict[str, Any]:
    y = alt.Y("fault:N", sort=None, title=None, axis=alt.Axis(labelLimit=170, offset=5))
    scale = beside_counts()
    axis = alt.Axis(values=[0, 25, 50, 75, 100], format="d", title="of 100 rejects", labelFlush=False)
    said = (
        f"datum.fault + ': ' + {_of_100('rejects')} + '; ' + datum.n_frames + ' rejects, ' + datum.n_bursts + ' bursts'"
    )
    counts = "format(datum.n_frames, ',') + ' · ' + format(datum.n_bursts, ',')"
    chart = alt.Chart()
    bar = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, color=REJECT, aria=False)
    dot = chart.mark_point(filled=False, size=70, opacity=1, strokeWidth=2, color=REJECT)  # filled is a keeper
    count = chart.mark_text(align="right", fontSize=11, aria=False)
    x = alt.X("low:Q", scale=scale, axis=axis)
    layers = [
        bar.encode(x=x, x2="high:Q", y=y, strokeDash=_broken(), tooltip=_tip()),
        dot.encode(
            x=alt.X("estimate:Q", scale=scale, axis=axis), y=y, tooltip=_tip(), description=alt.Description("said:N")
        ),
        count.encode(x=alt.value("width"), y=y, text="counts:N", tooltip=_tip()),
    ]
    how = [
        "dot: share; bar: 95 % interval, broken: not enough yet",
        "right: rejects · bursts that show it",
    ]
    layered = alt.layer(*layers, data=NO_ROWS).transform_calculate(said=f"{said} + {_YET}", counts=counts)
    return finished(layered, STEP_PX, FAULTS_QUESTION, how)


#: As an expression of Vega.
_YET = "(datum.is_enough ? '' : '; not enough yet')"


def _of_100(what: str) -> str:
    """A share with its interval in words, as an expression of Vega: 62 of 100 kept (43 to 79)."""
    return f"round(datum.estimate) + ' of 100 {what} (' + round(datum.low) + ' to ' + round(datum.high) + ')'"


def _moment(field: str, is_of_days: bool) -> str:
    """A moment by the body's clock, as an expression of Vega."""
    return f"timeFormat(toDate(datum.{field}), '{'%Y-%m-%d ' if is_of_days else ''}%H:%M')"


def _clock(field: str, is_of_days: bool, room_px: int = 0) -> alt.X:
    told = DAYS if is_of_days else "timeFormat(datum.value, '%H:%M')"
    axis = alt.Axis(grid=False, labelOverlap="greedy", labelFlush=False, labelBound=4, tickCount=8, labelExpr=told)
    return alt.X(field, title=None, scale=alt.Scale(padding=room_px, nice=False), axis=axis)


def _tip() -> alt.Tooltip:
    return alt.Tooltip("said:N", title=" ")


def _broken() -> Any:
    """A line is broken where there is not enough behind it."""
    return alt.when(alt.datum.is_enough).then(alt.value([1, 0])).otherwise(alt.value([3, 3]))
