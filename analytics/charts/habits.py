"""What each habit costs: a dot for keepers lost of 100 frames, a bar for the interval, nought as a line.

A habit that costs keepers beyond chance is a diamond in the colour of rejects, any other a grey circle; both are open,
for a filled dot is a keeper.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import INTERVAL_PX, REJECT, UNJUDGED, finished
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: Height of one line [px].
STEP_PX = 26
#: A cost that is read as nothing [of 100 frames]; where there are only such the scale reaches so far either way.
LEAST = 0.5
#: Ticks of the scale, about; it ends at one on either side.
TICKS = 5
#: What is drawn how; two lines, so that a phone shows all of it.
SUBTITLE = ["mark: estimate, less what the remedy would spoil", "bar: 95 % interval"]
#: The same where no other setting is the remedy, so that nothing would be spoiled.
WITHOUT_PRICE = ["mark: estimate", "bar: 95 % interval"]
#: Colour and mark of a habit that costs keepers, and of any other.
COSTLY, OTHER = (REJECT, "diamond"), (UNJUDGED, "circle")


def habit_cost_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The chart as a Vega-Lite specification.

    Args:
        rows: `name`, `lost_per_100`, `low_per_100`, `high_per_100`, `is_costly`, `verdict` (what may be believed),
            `n_frames`, `n_sessions`, in order.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    chart = alt.Chart(alt.InlineData(values=[_shown(row) for row in rows]))
    y = alt.Y("name:N", sort=[row["name"] for row in rows], title=None, axis=alt.Axis(labelLimit=230))
    ticks = _ticks(*_ends(rows))
    how = SUBTITLE if any(row["kind"] == "setting" for row in rows) else WITHOUT_PRICE
    scale = alt.Scale(domain=[ticks[0], ticks[-1]], nice=False)
    axis = alt.Axis(title="lost of 100 judged frames", values=ticks, labelFlush=False)
    legend = alt.Legend(title=None, orient="bottom", columns=1, symbolStrokeWidth=2, symbolOpacity=1)
    looks = {row["verdict"]: COSTLY if row["is_costly"] else OTHER for row in rows}
    verdicts, colours, shapes = list(looks), [each[0] for each in looks.values()], [each[1] for each in looks.values()]
    colour = alt.Color("verdict:N", scale=alt.Scale(domain=verdicts, range=colours), legend=legend)
    shape = alt.Shape("verdict:N", scale=alt.Scale(domain=verdicts, range=shapes), legend=legend)
    tip = alt.Tooltip("description:N", title=" ")
    nought = alt.Chart(alt.InlineData(values=[{"nought": 0}])).mark_rule(color=UNJUDGED, aria=False)
    bars = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q", y=y, color=colour, tooltip=tip
    )
    dots = chart.mark_point(size=70, opacity=1, strokeWidth=2.5).encode(
        x=alt.X("lost:Q", scale=scale, axis=axis),
        y=y,
        color=colour,
        shape=shape,
        tooltip=tip,
        description=alt.Description("description:N"),
    )
    layered = alt.layer(nought.encode(x=alt.X("nought:Q", scale=scale, axis=axis)), bars, dots)
    return finished(layered, STEP_PX * len(rows), question, how, found)


def _ends(rows: Sequence[Mapping[str, Any]]) -> list[float]:
    """From the lowest end of an interval to the highest; nought is always there, an end where nothing is beyond it."""
    low, high = min(row["low_per_100"] for row in rows), max(row["high_per_100"] for row in rows)
    return [
        0 if low >= 0 and high >= LEAST else min(-LEAST, low),
        0 if high <= 0 and low <= -LEAST else max(LEAST, high),
    ]


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers from one end to the other or just beyond, nought among them, about `TICKS` of them."""
    least = (high - low) / (TICKS - 1)
    decade = 10 ** math.floor(math.log10(least))
    step = next(factor * decade for factor in (1, 2, 5, 10) if factor * decade >= least)
    return [round(number * step, 9) for number in range(math.floor(low / step), math.ceil(high / step) + 1)]


def _shown(row: Mapping[str, Any]) -> dict[str, Any]:
    counted = f"{format_count(row['n_frames'], 'frame')} in {format_count(row['n_sessions'], 'session')}"
    lost, low, high = (row[f"{name}_per_100"] for name in ("lost", "low", "high"))
    return {
        "name": row["name"],
        "lost": lost,
        "low": low,
        "high": high,
        "verdict": row["verdict"],
        "description": (
            f"{row['name']}: {lost:.1f} of 100 judged frames lost ({low:.1f} to {high:.1f}), {counted}; "
            f"{row['verdict']}"
        ),
    }
