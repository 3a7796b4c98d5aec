"""Several journals in one chart: a line for each, told apart by colour, by mark and by name, with its intervals.

Marks of one place stand a little beside each other, so that no interval hides another.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import DENSE_INTERVAL_PX, INTERVAL_PX, NAMES_ROOM, finished
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: A colour and a mark for each; they are read on dark and on light and with every common colour-vision deficiency, and
#: none is that of keepers, of rejects or of what is unjudged. Source: Okabe and Ito 2008 for the first two.
COLOURS = ("#009E73", "#CC79A7", "#8A6A1F", "#8B5FBF", "#2E93B8", "#B5485D")
MARKS = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross")
HEIGHT, ROW_PX = 280, 32
#: How far the marks of one place stand beside each other [px].
BESIDE_PX = 6
#: Colour and mark by the name of a journal.
Own = dict[str, tuple[str, str]]
#: Between what a row is of and how much stands behind it; they are written one under the other.
COUNTED = " · "
SUBTITLE, HOLLOW = "mark: rate; bar: 95 % interval", "; hollow: not enough yet"


def over_time_chart(
    rows: Sequence[Mapping[str, Any]], names: Sequence[str], question: str, found: str, n_left_out: int = 0
) -> dict[str, Any]:
    """Keepers by month, as a Vega-Lite specification.

    Args:
        rows: `name`, `place` (a date, ISO), `label`, `estimate`, `low`, `high` (shares in [0, 1]), `n_frames`,
            `is_enough`, `run` (marks of one run are joined; `None` joins nothing), in the order of time.
        names: of the journals, in their order.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
        n_left_out: months that are not drawn, for there is not enough of them and they lie far from the others.
    """
    said = [f"not drawn: {format_count(n_left_out, 'month')} before or after, not enough yet"] if n_left_out else []
    x = alt.X("place:T", title=None, axis=alt.Axis(grid=False, labelOverlap="greedy", tickCount=8, format="%Y-%m"))
    return _lines(rows, names, x, (question, said, found))


def by_setting_chart(
    rows: Sequence[Mapping[str, Any]],
    names: Sequence[str],
    axis: tuple[str, Mapping[float, str]],
    said: tuple[str, str],
) -> dict[str, Any]:
    """Keepers by the places of a setting, as a Vega-Lite specification.

    Args:
        rows: as for `over_time_chart`, with `place` a number on the scale of the setting.
        names: of the journals, in their order.
        axis: title of the axis, and the names of some of its places.
        said: the chart's title, a question, and what it shows in a sentence.
    """
    title, places = axis
    labels = json.dumps({f"{place:g}": name for place, name in places.items()})
    x = alt.X(
        "place:Q",
        title=title,
        scale=alt.Scale(zero=False, nice=False, padding=12),
        axis=alt.Axis(
            values=sorted(places),
            labelExpr=f"{labels}[datum.value]",
            labelOverlap="greedy",
            labelFlush=False,
            grid=False,
        ),
    )
    return _lines(rows, names, x, (said[0], [], said[1]))


def ends_chart(
    rows: Sequence[Mapping[str, Any]],
    names: Sequence[str],
    axis: tuple[str, Mapping[int, str]],
    said: tuple[str, str],
) -> dict[str, Any]:
    """An estimate with its interval for each row, as a Vega-Lite specification.

    Args:
        rows: `row` (what it is of, and behind `COUNTED` its n), `name` (of the journal), `estimate` (or `None`), `low`,
            `high`, `description`.
        names: of the journals, in their order.
        axis: its title, and the names of its places; without any they are signed numbers.
        said: the chart's title, a question, and what it shows in a sentence.
    """
    along, own = _along(*axis), _own(names, names)
    chart = alt.Chart(alt.InlineData(values=[dict(row) for row in rows]))
    split = alt.Axis(labelLimit=alt.ExprRef(NAMES_ROOM), labelOffset=-6, labelExpr=f"split(datum.label, '{COUNTED}')")
    y = alt.Y("row:N", sort=[row["row"] for row in rows], title=None, axis=split)
    scale = alt.Scale(zero=False, nice=True)
    tip = alt.Tooltip("description:N", title=" ")
    bars = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=along), x2="high:Q", y=y, color=_colour(own, None), tooltip=tip
    )
    marks = chart.mark_point(filled=True, size=80, opacity=1).encode(
        x=alt.X("estimate:Q", scale=scale, axis=along),
        y=y,
        color=_colour(own, None),
        shape=_shape(own, None),
        tooltip=tip,
        description=alt.Description("description:N"),
    )
    words = (said[0], "mark: estimate; bar: 95 % interval", said[1])
    return finished(alt.layer(bars, marks), ROW_PX * len(rows), *words)


def _along(title: str, places: Mapping[int, str]) -> alt.Axis:
    """The axis with its title, which a phone has no room for in one line; none where every place says the same."""
    lines = title.replace(", ", ",\n").split("\n")
    if not places:
        signed = "datum.value == 0 ? '0' : format(datum.value, '+d')"
        return alt.Axis(title=lines, labelExpr=signed, tickCount=5)
    labels = f"{json.dumps({str(place): name for place, name in places.items()})}[datum.value]"
    said = None if all(name.startswith(title) for name in places.values()) else lines
    return alt.Axis(title=said, values=sorted(places), labelExpr=labels, labelOverlap="greedy")


def _lines(
    rows: Sequence[Mapping[str, Any]], names: Sequence[str], x: alt.X, said: tuple[str, list[str], str]
) -> dict[str, Any]:
    drawn = beside_curves(rows)
    data = alt.InlineData(values=[_shown(row) for row in drawn])
    shown = [name for name in names if any(row["name"] == name for row in drawn)]
    joined = {row["name"] for row in drawn if row["run"] is not None}
    layers: list[alt.Chart] = []
    for place, name in enumerate(shown):
        beside = BESIDE_PX * (place - (len(shown) - 1) / 2)
        layers += _line(alt.Chart(data).transform_filter(alt.datum.name == name), x, _own(names, shown), beside)
        if name not in joined:  # a line of nothing would be warned of
            del layers[-2]
    question, left_out, found = said
    how = [SUBTITLE + (HOLLOW if any(not row["is_enough"] for row in drawn) else ""), *left_out]
    if hidden := len(rows) - len(drawn):
        how.append(f"not drawn: {hidden} not enough yet where another has enough")
    return finished(alt.layer(*layers), HEIGHT, question, how, found)


def beside_curves(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The rows without those of which there is not enough where another journal has enough: they would hide a curve."""
    curves: dict[tuple[str, Any], list[Any]] = {}
    for row in rows:
        if row["is_enough"]:
            curves.setdefault((row["name"], row["label"] if row["run"] is None else row["run"]), []).append(
                row["place"]
            )
    ends = [(name, min(places), max(places)) for (name, _), places in curves.items()]
    return [
        row
        for row in rows
        if row["is_enough"] or not any(name != row["name"] and low <= row["place"] <= high for name, low, high in ends)
    ]


def _line(chart: alt.Chart, x: alt.X, own: Own, beside: float) -> list[alt.Chart]:
    """Intervals, the line that joins neighbours, and marks of one journal."""
    scale = alt.Scale(domain=[0, 100], nice=False)
    axis = alt.Axis(title="keepers of 100 judged frames", tickCount=5)
    y, tip = alt.Y("estimate:Q", scale=scale, axis=axis), alt.Tooltip("description:N", title=" ")
    legend = alt.Legend(
        title=None, orient="bottom", columns=2, labelLimit=150, symbolOpacity=1, symbolStrokeWidth=2, symbolSize=60
    )
    colour, shape = _colour(own, legend), _shape(own, legend)
    bars = chart.mark_rule(strokeWidth=DENSE_INTERVAL_PX, opacity=1, aria=False, xOffset=beside).encode(
        x=x, y=alt.Y("low:Q", scale=scale, axis=axis), y2="high:Q", color=colour, tooltip=tip
    )
    line = (
        chart.transform_filter("datum.run != null")
        .mark_line(strokeWidth=1.5, aria=False, xOffset=beside)
        .encode(x=x, y=y, color=colour, detail="run:N")
    )
    marks = chart.mark_point(size=60, opacity=1, strokeWidth=2, xOffset=beside).encode(
        x=x,
        y=y,
        color=colour,
        shape=shape,
        fill=alt.when(alt.datum.is_enough).then(colour).otherwise(alt.value("transparent")),
        tooltip=tip,
        description=alt.Description("description:N"),
    )
    return [bars, line, marks]


def _shown(row: Mapping[str, Any]) -> dict[str, Any]:
    estimate, low, high = (100 * row[name] for name in ("estimate", "low", "high"))
    tail = "" if row["is_enough"] else "; not enough yet"
    numbers = f"{estimate:.0f} of 100 kept ({low:.0f} to {high:.0f}), {format_count(row['n_frames'], 'judged frame')}"
    said = {"description": f"{row['name']}, {row['label']}: {numbers}{tail}"}
    kept = {name: row[name] for name in ("name", "place", "is_enough", "run")}
    return {**kept, "estimate": estimate, "low": low, "high": high, **said}


def _own(names: Sequence[str], shown: Sequence[str]) -> Own:
    """The colour and mark of each journal that is shown; they are the same in every chart."""
    return {name: look for name, look in zip(names, zip(COLOURS, MARKS, strict=True), strict=False) if name in shown}


def _colour(own: Own, legend: alt.Legend | None) -> alt.Color:
    scale = alt.Scale(domain=list(own), range=[colour for colour, _ in own.values()])
    return alt.Color("name:N", scale=scale, legend=legend)


def _shape(own: Own, legend: alt.Legend | None) -> alt.Shape:
    scale = alt.Scale(domain=list(own), range=[mark for _, mark in own.values()])
    return alt.Shape("name:N", scale=scale, legend=legend)
