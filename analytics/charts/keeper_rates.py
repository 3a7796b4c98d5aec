"""The keeper rate by a setting: a dot for the rate, a bar for its interval, and how much stands behind each line.

Values run down the page, so that a phone shows as many lines as a desk. The colours of text, axes and background are
left to the page's style sheet, which knows dark from light.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, cast

import altair as alt

from analytics.charts.look import INTERVAL_PX, KEEPER, LETTER_PX, NAMES_PX, NAMES_ROOM, UNJUDGED, beside_counts, look
from journal.notation import format_count, with_minus

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: What there is not enough of yet is grey, like what is unjudged.
NOT_ENOUGH = UNJUDGED
#: What a line is enough for, and the colour of each.
ENOUGH, YET = "enough evidence", "not enough yet"
EVIDENCE = {ENOUGH: KEEPER, YET: NOT_ENOUGH}
#: Height of one line [px].
STEP_PX = 22
#: Between the two names of a line of crossed settings; they are written one under the other, in so much height [px].
CROSSED, TWO_LINES_PX = " · ", 32
#: A name with more letters stands in two lines where a phone has no room for it in one.
LONG = int(NAMES_PX / LETTER_PX)
#: How far the first of two lines stands above the middle [px].
RAISED_PX = -6
#: Between the names of lines and a dot at nought [px].
ROOM_PX = 5
#: Opacity of the marks of a line outside the chosen range; its counts stay readable.
OUTSIDE = 0.4
#: The data of a chart whose lines are given beside it.
LINES = "lines"
#: What the lines are enough for, as an expression of Vega, for in a browser other lines may come. Where there is no
#: line it is both: a legend of nothing has no end, and makes a page of thirty million pixels.
_FOUND = f"pluck(data('{LINES}'), 'evidence')"
_FIRST = f"indexof({_FOUND}, '{ENOUGH}') < 0 && indexof({_FOUND}, '{YET}') >= 0 ? 1 : 0"
_LAST = f"indexof({_FOUND}, '{YET}') < 0 && indexof({_FOUND}, '{ENOUGH}') >= 0 ? 1 : 2"
NAMED = f"slice(['{ENOUGH}', '{YET}'], {_FIRST}, {_LAST})"
SUBTITLE = "dot: rate; bar: 95 % interval; right: frames · bursts"


def keeper_rate_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The chart as a Vega-Lite specification.

    Args:
        rows: `label`, `estimate`, `low`, `high` (shares in [0, 1]), `n_frames`, `n_bursts`, `n_sessions`, `is_enough`,
            in the order of the scale.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    rows = [{**row, "label": with_minus(row["label"])} for row in rows]
    shown = [shown_line(row) for row in rows]
    chart = alt.Chart(alt.InlineData(values=shown, name=LINES))
    labels = [row["label"] for row in rows]
    layered = _drawn(alt.layer(*_marks(chart, labels)), labels, question, SUBTITLE)
    layered = layered.properties(description=f"{question} {found}")
    return cast("dict[str, Any]", layered.configure(**look()).to_dict())


@lru_cache(maxsize=256)
def following_chart(labels: tuple[str, ...], question: str, is_brushed: bool) -> dict[str, Any]:
    """The chart of lines that follow what is chosen: its labels stay, the lines are the data set `LINES`.

    A line's whole width answers to a click. Lines outside the chosen range (`place` is `outside`) are drawn faintly.

    Args:
        labels: every line that there may be, in the order of the scale.
        question: the chart's title.
        is_brushed: whether lines can be chosen by dragging over them; the selection is called `brush`.
    """
    chart = alt.Chart(alt.NamedData(name=LINES))
    *rates, counts = _marks(chart, labels)
    strength = alt.when(alt.datum.place == "outside").then(alt.value(OUTSIDE)).otherwise(alt.value(1))
    whole = chart.mark_rect(opacity=0, aria=False, cursor="pointer").encode(
        x=alt.value(0), x2=alt.value("width"), y=_line_axis(labels), tooltip=alt.Tooltip("description:N", title=" ")
    )
    layers = [whole, *(mark.encode(opacity=strength) for mark in rates), counts]
    if is_brushed:
        layers[0] = whole.add_params(alt.selection_interval(name="brush", encodings=["y"]))
    how = [SUBTITLE, "click a line: its frames" + ("; drag over lines: only these" if is_brushed else "")]
    how += ["faint: outside what is chosen; no mark: none chosen"] if is_brushed else []
    drawn = _drawn(alt.layer(*layers), labels, question, how)
    return cast("dict[str, Any]", drawn.configure(**look()).to_dict())


def _line_axis(labels: Sequence[str]) -> alt.Y:
    """The lines down the page; those of which there are no data have their place all the same."""
    sort = list(labels)
    told: dict[str, Any] = {}
    if _are_crossed(labels):
        told = {"labelOffset": RAISED_PX, "labelExpr": _one_under_the_other()}
    elif _are_long(labels):
        is_long, first, rest = _parted("datum.label")
        told = {
            "labelOffset": alt.ExprRef(f"{is_long} ? {RAISED_PX} : 0"),
            "labelExpr": f"{is_long} ? [{first}, {rest}] : datum.label",
        }
    axis = alt.Axis(labelLimit=alt.ExprRef(NAMES_ROOM), offset=ROOM_PX, **told)
    return alt.Y("label:N", sort=sort, scale=alt.Scale(domain=sort), title=None, axis=axis)


def _parted(name: str) -> tuple[str, str, str]:
    """Whether a name is too long for its room, the words that have room, and the rest; all are expressions of Vega."""
    letters = f"floor({NAMES_ROOM} / {LETTER_PX})"
    end = f"lastindexof(slice({name}, 0, {letters} + 1), ' ')"
    return f"(length({name}) > {letters} && {end} > 0)", f"slice({name}, 0, {end})", f"slice({name}, {end} + 1)"


def _one_under_the_other() -> str:
    """The two names of a line of crossed settings, each cut after a word where it is too long for its room."""
    between = f"lastindexof(datum.label, '{CROSSED}')"
    shown = []
    for name in (f"slice(datum.label, 0, {between})", f"slice(datum.label, {between} + {len(CROSSED)})"):
        is_long, first, _ = _parted(name)
        shown.append(f"{is_long} ? {first} + '…' : {name}")
    return f"[{', '.join(shown)}]"


def _are_crossed(labels: Sequence[str]) -> bool:
    return any(CROSSED in label for label in labels)


def _are_long(labels: Sequence[str]) -> bool:
    return any(len(label) > LONG for label in labels)


def _marks(chart: alt.Chart, labels: Sequence[str]) -> list[alt.Chart]:
    """Intervals, rates and counts; the legend names what the lines are enough for, also when other lines come."""
    y = _line_axis(labels)
    scale = beside_counts()
    axis = alt.Axis(
        values=[0, 25, 50, 75, 100],
        format="d",
        title="keepers of 100 judged frames",
        grid=True,
        labelFlush=False,
    )
    colour = alt.Color(
        "evidence:N",
        scale=alt.Scale(domain=list(EVIDENCE), range=list(EVIDENCE.values())),
        legend=alt.Legend(
            values=alt.ExprRef(NAMED),
            title=None,
            orient="bottom",
            columns=1,
            symbolType="circle",
            symbolStrokeWidth=0,
            symbolOpacity=1,
        ),
    )
    tip = alt.Tooltip("description:N", title=" ")
    said = alt.Description("description:N")
    bars = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis),
        x2="high:Q",
        y=y,
        color=colour,
        strokeDash=alt.when(alt.datum.evidence == ENOUGH).then(alt.value([1, 0])).otherwise(alt.value([3, 3])),
        tooltip=tip,
    )
    dots = chart.mark_point(filled=True, size=70, opacity=1).encode(
        x=alt.X("estimate:Q", scale=scale, axis=axis), y=y, color=colour, tooltip=tip, description=said
    )
    counts = chart.mark_text(align="right", fontSize=11, aria=False).encode(
        x=alt.value("width"), y=y, text="counts:N", tooltip=tip
    )
    return [bars, dots, counts]


def _drawn(layered: Any, labels: Sequence[str], question: str, subtitle: str | list[str]) -> alt.LayerChart:
    step = TWO_LINES_PX if _are_crossed(labels) or _are_long(labels) else STEP_PX
    drawn: alt.LayerChart = layered.properties(
        width="container",
        height=step * max(len(labels), 1),
        autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
        title=alt.TitleParams(question, subtitle=subtitle),
        description=question,
    )
    return drawn


def shown_line(row: Mapping[str, Any]) -> dict[str, Any]:
    """A line as the chart takes it: per cent, the counts on the right, and all of it in words."""
    estimate, low, high = (100 * row[name] for name in ("estimate", "low", "high"))
    enough = ENOUGH if row["is_enough"] else YET
    tail = "" if row["is_enough"] else "; not enough yet"
    return {
        "label": row["label"],
        "estimate": estimate,
        "low": low,
        "high": high,
        "evidence": enough,
        "counts": f"{row['n_frames']:,} · {row['n_bursts']:,}",
        "description": (
            f"{row['label']}: {estimate:.0f} of 100 kept ({low:.0f} to {high:.0f}), "
            f"{format_count(row['n_frames'], 'judged frame')} in {format_count(row['n_bursts'], 'burst')} and "
            f"{format_count(row['n_sessions'], 'session')}{tail}"
        ),
    }
