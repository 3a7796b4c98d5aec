"""Progress: the change at equal scenes beside the plain one, and the sessions one by one.

The same two marks in both charts: filled and blue at equal scenes, open and grey for the plain count; a ring around a
dot is both at once.
"""

from __future__ import annotations

import json
from calendar import month_abbr
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import altair as alt

from analytics.charts.look import DENSE_INTERVAL_PX, INTERVAL_PX, KEEPER, UNJUDGED, finished
from journal.notation import format_count, format_signed, with_minus

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

EQUAL, PLAIN = "at equal scenes", "plain count"
STEP_PX, HEIGHT = 30, 260
#: Room for half a mark before the first and after the last [px].
SIDE_PX = 10
#: Ticks of the dates, about.
MOST_TICKS = 8
#: A session's dot [px²] for no frame and for the most frames, and how much larger its ring is, which lies around the
#: dot where both counts are the same.
SMALLEST, LARGEST, RING = 20, 120, 2.1
#: From so many days on, ticks are of months, else of days.
DAYS_BY_MONTH = 116
#: Months by their short names, a January by its year, so that a phone shows them in equal steps; the first one also by
#: its year, which else no label might tell.
_MONTH = "timeFormat(datum.value, {quarter: '%b', month: '%b', week: '%-d %b', date: '%-d %b', day: '%-d %b'})"
MONTHS = f"datum.index == 0 && month(datum.value) != 0 ? [{_MONTH}, timeFormat(datum.value, '%Y')] : {_MONTH}"
#: Days, among which the first of a month is one as well; the first one and a New Year's Day also by their year.
_DAY = "timeFormat(datum.value, '%-d %b')"
DAYS = f"datum.index == 0 || dayofyear(datum.value) == 1 ? [{_DAY}, timeFormat(datum.value, '%Y')] : {_DAY}"
#: Where one gap is more than this share of the time, and there are so many dots, they stand in their order instead.
LONG_GAP, FEWEST_IN_ORDER = 0.5, 4
#: From so many days on, a gap is said in months.
DAYS_SAID = 60
#: No more can be gained or lost of 100 frames.
WIDEST = 100


def change_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """Both changes with their intervals, as a Vega-Lite specification.

    Args:
        rows: `name` (at equal scenes, plain count), `change`, `low`, `high` (shares in [-1, 1]).
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    values = [_change(row) for row in rows]
    chart = alt.Chart(alt.InlineData(values=values))
    reach = min(WIDEST, max(5.0, *(abs(row[end]) for row in values for end in ("low", "high"))))
    scale = alt.Scale(domain=[-reach, reach], nice=True, clamp=True)
    signed = "datum.value == 0 ? '0' : format(datum.value, '+d')"
    axis = alt.Axis(title="keepers of 100, from first to last day", labelExpr=signed, labelFlush=False, tickCount=5)
    y = alt.Y("name:N", sort=[EQUAL, PLAIN], title=None, axis=alt.Axis(labelLimit=170))
    colour, tip = _colour(None), alt.Tooltip("description:N", title=" ")
    nought = alt.Chart(alt.InlineData(values=[{"nought": 0}])).mark_rule(color=UNJUDGED, aria=False)
    bars = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q", y=y, color=colour, tooltip=tip
    )
    dots = chart.mark_point(size=80, opacity=1).encode(
        x=alt.X("change:Q", scale=scale, axis=axis),
        y=y,
        color=colour,
        fill=_fill(None),
        tooltip=tip,
        description=alt.Description("description:N"),
    )
    layered = alt.layer(nought.encode(x=alt.X("nought:Q", scale=scale, axis=axis)), bars, dots)
    return finished(layered, STEP_PX * len(rows), question, "dot: estimate; bar: 95 % interval", found)


def timeline_chart(points: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """Keepers of every session, plain and at equal scenes, as a Vega-Lite specification.

    Args:
        points: `name` (which sessions), `n_sessions`, `date` (ISO), `n_frames`, `raw`, `adjusted`, and of this one
            `low` and `high` (shares in [0, 1]), in the order of time.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    most = max((point["n_frames"] for point in points), default=1)
    rows = sorted(
        (row | {"order": order} for order, point in enumerate(points) for row in _sessions(point, most)),
        key=lambda row: bool(row["name"] == PLAIN),
    )
    chart = alt.Chart(alt.InlineData(values=rows))
    legend = alt.Legend(title=None, orient="bottom", symbolStrokeWidth=2, symbolOpacity=1)
    gap = _long_gap([date.fromisoformat(point["date"][:10]) for point in points])
    along = alt.Scale(padding=SIDE_PX)
    x = _in_order(points) if gap else alt.X("date:T", title=None, axis=_dates(rows), scale=along)
    scale = alt.Scale(domain=[0, 100], nice=False)
    axis = alt.Axis(title="keepers of 100 judged frames", tickCount=5)
    tip = alt.Tooltip("description:N", title=" ")
    bars = (
        chart.transform_filter(alt.datum.name == EQUAL)
        .mark_rule(strokeWidth=DENSE_INTERVAL_PX, opacity=1, aria=False)
        .encode(x=x, y=alt.Y("low:Q", scale=scale, axis=axis), y2="high:Q", color=_colour(legend), tooltip=tip)
    )
    dots = chart.mark_point(opacity=0.9, strokeWidth=1.5).encode(
        x=x,
        y=alt.Y("kept:Q", scale=scale, axis=axis),
        color=_colour(legend),
        fill=_fill(legend),
        size=alt.Size("area:Q", scale=None, legend=None),
        tooltip=tip,
        description=alt.Description("description:N"),
    )
    each = max((point["n_sessions"] for point in points), default=1)
    dot = "a dot and a ring: a session" if each == 1 else f"a dot and a ring: {each} sessions in a row"
    how = [f"{dot}, larger for more judged frames", "bar: 95 % interval at equal scenes"]
    if not gap:
        return finished(alt.layer(bars, dots), HEIGHT, question, how, found)
    how += ["dots in their order, not to scale in time", f"dashed line: {gap.said} between two dots"]
    dashed = alt.Chart(alt.InlineData(values=[{"order": gap.after + 0.5}]))
    line = dashed.mark_rule(color=UNJUDGED, strokeDash=[4, 4], aria=False).encode(x=x)
    return finished(alt.layer(line, bars, dots), HEIGHT, question, how, found)


class _Gap(NamedTuple):
    """A long time without a session: after which dot, counted from nought, and how it is said."""

    after: int
    said: str


def _long_gap(days: Sequence[date]) -> _Gap | None:
    """The gap that would press all other dots together on an axis of time."""
    gaps = [(later - day).days for day, later in pairwise(days)]
    longest = max(gaps, default=0)
    if len(days) < FEWEST_IN_ORDER or longest <= LONG_GAP * sum(gaps):
        return None
    said = format_count(longest, "day") if longest < DAYS_SAID else format_count(round(longest / 30.44), "month")
    return _Gap(gaps.index(longest), said)


def _in_order(points: Sequence[Mapping[str, Any]]) -> alt.X:
    """The dots in equal steps, each named by its date."""
    days = [date.fromisoformat(point["date"][:10]) for point in points]
    named = json.dumps([[f"{day.day} {month_abbr[day.month]}", str(day.year)] for day in days])
    places = list(range(len(days)))
    axis = alt.Axis(
        grid=False, labelOverlap="greedy", labelFlush=False, values=places, labelExpr=f"{named}[datum.value]"
    )
    return alt.X("order:Q", title=None, axis=axis, scale=alt.Scale(domain=[-0.5, len(days) - 0.5], nice=False))


def _dates(rows: Sequence[Mapping[str, Any]]) -> alt.Axis:
    """The dates along the page: where they are few a tick for each day, for sessions are of days."""
    days = {date.fromisoformat(row["date"][:10]) for row in rows}
    span = (max(days) - min(days)).days if days else 0
    ticks = alt.TimeIntervalStep(interval="day", step=1) if days and span < MOST_TICKS else MOST_TICKS
    named = MONTHS if span >= DAYS_BY_MONTH else DAYS
    return alt.Axis(grid=False, labelOverlap="parity", labelFlush=False, tickCount=ticks, labelExpr=named)


def _colour(legend: alt.Legend | None) -> alt.Color:
    return alt.Color("name:N", scale=alt.Scale(domain=[EQUAL, PLAIN], range=[KEEPER, UNJUDGED]), legend=legend)


def _fill(legend: alt.Legend | None) -> alt.Fill:
    return alt.Fill("name:N", scale=alt.Scale(domain=[EQUAL, PLAIN], range=[KEEPER, "transparent"]), legend=legend)


def _change(row: Mapping[str, Any]) -> dict[str, Any]:
    change, low, high = (100 * row[name] for name in ("change", "low", "high"))
    ends = f"{format_signed(low)} to {format_signed(high)}"
    said = f"{row['name']}: {format_signed(change)} of 100 frames ({ends})"
    return {"name": row["name"], "change": change, "low": low, "high": high, "description": with_minus(said)}


def _sessions(point: Mapping[str, Any], most: int) -> list[dict[str, Any]]:
    """The dot of a session, or of some in a row, and the ring of its plain count, which lies on top."""
    which = "session" if point["n_sessions"] == 1 else "sessions"
    low, high = (100 * point[end] for end in ("low", "high"))
    area = SMALLEST + (LARGEST - SMALLEST) * point["n_frames"] / most
    rows = []
    for name, share, ends, said_ends, size in (
        (EQUAL, point["adjusted"], {"low": low, "high": high}, f" ({low:.0f} to {high:.0f})", area),
        (PLAIN, point["raw"], {}, "", RING * area),
    ):
        said = f"{which} {point['name']}, {point['date']}: {100 * share:.0f} of 100 kept{said_ends}, {name}"
        row = {"name": name, "date": point["date"], "kept": 100 * share, "area": round(size, 1), **ends}
        rows.append(row | {"description": f"{said}, {format_count(point['n_frames'], 'judged frame')}"})
    return rows
