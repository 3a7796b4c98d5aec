"""Judging again, round by round: how many more or fewer of 100 frames are kept now, with the interval."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt

from analytics.charts.look import INTERVAL_PX, KEEPER, UNJUDGED, finished
from journal.notation import format_signed, with_minus

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

STEP_PX = 30
#: The axis reaches at least this far of 100 frames either way, so that a small change looks small.
LEAST_REACH = 10


def strictness_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The rounds as a Vega-Lite specification.

    Args:
        rows: `date` (ISO), `change`, `low`, `high` (shares in [-1, 1], above nought is milder), `n_judged`; the latest
            first.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    values = [_round(row) for row in rows]
    chart = alt.Chart(alt.InlineData(values=values))
    reach = max(LEAST_REACH, *(abs(row[end]) for row in values for end in ("low", "high")))
    scale = alt.Scale(domain=[-reach, reach], nice=True)
    signed = "datum.value == 0 ? '0' : format(datum.value, '+d')"
    axis = alt.Axis(title="keepers of 100, now minus then", labelExpr=signed, tickCount=5)
    y = alt.Y("label:N", sort=[row["label"] for row in values], title=None, axis=alt.Axis(labelLimit=200))
    tip = alt.Tooltip("description:N", title=" ")
    nought = alt.Chart(alt.InlineData(values=[{"nought": 0}])).mark_rule(color=UNJUDGED, aria=False)
    bars = chart.mark_rule(strokeWidth=INTERVAL_PX, opacity=1, color=KEEPER, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q", y=y, tooltip=tip
    )
    dots = chart.mark_point(filled=True, size=80, opacity=1, color=KEEPER).encode(
        x=alt.X("change:Q", scale=scale, axis=axis), y=y, tooltip=tip, description=alt.Description("description:N")
    )
    layered = alt.layer(nought.encode(x=alt.X("nought:Q", scale=scale, axis=axis)), bars, dots)
    subtitle = "left of 0 is stricter, right is milder; bar: 95 % interval"
    return finished(layered, STEP_PX * len(values), question, subtitle, found)


def _round(row: Mapping[str, Any]) -> dict[str, Any]:
    change, low, high = (100 * row[name] for name in ("change", "low", "high"))
    ends = f"{format_signed(low)} to {format_signed(high)}"
    said = f"{row['date']}: {format_signed(change)} of 100 ({ends}), {row['n_judged']} pictures judged again"
    label = f"{row['date']}, n {row['n_judged']}"
    return {"label": label, "change": change, "low": low, "high": high, "description": with_minus(said)}
