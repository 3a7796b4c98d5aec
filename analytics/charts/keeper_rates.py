"""The keeper rate by a setting: a dot for the rate, a bar for its interval, and how much stands behind each line.

Values run down the page, so that a phone shows as many lines as a desk. The colours of text, axes and background are
left to the page's style sheet, which knows dark from light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import altair as alt

from analytics.charts.look import KEEPER, UNJUDGED, look

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: What there is not enough of yet is grey, like what is unjudged.
NOT_ENOUGH = UNJUDGED
#: Height of one line [px]; and how far the axis goes beyond 100 to leave room for the counts.
STEP_PX, AXIS_END = 22, 142


def keeper_rate_chart(rows: Sequence[Mapping[str, Any]], question: str, found: str) -> dict[str, Any]:
    """The chart as a Vega-Lite specification.

    Args:
        rows: `label`, `estimate`, `low`, `high` (shares in [0, 1]), `n_frames`, `n_bursts`, `n_sessions`, `is_enough`,
            in the order of the scale.
        question: the chart's title.
        found: what the chart shows, in a sentence; its text alternative.
    """
    lines = [_shown(row) for row in rows]
    y = alt.Y("label:N", sort=[row["label"] for row in rows], title=None, axis=alt.Axis(labelLimit=170))
    scale = alt.Scale(domain=[0, AXIS_END], nice=False)
    axis = alt.Axis(values=[0, 25, 50, 75, 100], format="d", title="keepers of 100 judged frames", titleAnchor="start")
    colour = alt.Color(
        "evidence:N",
        scale=alt.Scale(domain=["enough", "not enough yet"], range=[KEEPER, NOT_ENOUGH]),
        legend=alt.Legend(title=None, orient="bottom", symbolType="circle", symbolStrokeWidth=0),
    )
    tip = alt.Tooltip("description:N", title=" ")
    said = alt.Description("description:N")
    chart = alt.Chart(alt.InlineData(values=lines))
    bars = chart.mark_rule(strokeWidth=3, opacity=0.75, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis),
        x2="high:Q",
        y=y,
        color=colour,
        strokeDash=alt.when(alt.datum.evidence == "enough").then(alt.value([1, 0])).otherwise(alt.value([3, 3])),
        tooltip=tip,
    )
    dots = chart.mark_point(filled=True, size=70, opacity=1).encode(
        x=alt.X("estimate:Q", scale=scale, axis=axis), y=y, color=colour, tooltip=tip, description=said
    )
    counts = chart.mark_text(align="right", fontSize=11, aria=False).encode(
        x=alt.XDatum(AXIS_END), y=y, text="counts:N", tooltip=tip
    )
    layered = alt.layer(bars, dots, counts).properties(
        width="container",
        height=STEP_PX * len(rows),
        autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
        title=alt.TitleParams(question, subtitle="dot: rate; bar: 95 % interval; right: frames · bursts"),
        description=f"{question} {found}",
    )
    return cast("dict[str, Any]", layered.configure(**look()).to_dict())


def _shown(row: Mapping[str, Any]) -> dict[str, Any]:
    estimate, low, high = (100 * row[name] for name in ("estimate", "low", "high"))
    enough = "enough" if row["is_enough"] else "not enough yet"
    tail = "" if row["is_enough"] else "; not enough yet"
    return {
        "label": row["label"],
        "estimate": estimate,
        "low": low,
        "high": high,
        "evidence": enough,
        "counts": f"{row['n_frames']} · {row['n_bursts']}",
        "description": (
            f"{row['label']}: {estimate:.0f} of 100 kept ({low:.0f} to {high:.0f}), {row['n_frames']} judged frames "
            f"in {row['n_bursts']} bursts and {row['n_sessions']} sessions{tail}"
        ),
    }
