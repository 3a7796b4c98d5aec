"""Keeper rates with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.statistics.results import RateLine

#: Readable with every common colour-vision deficiency, and never the only sign: enough is filled, not enough is open.
KEEPER, UNJUDGED = "#0072B2", "#7A7A7A"

QUESTIONS = {
    "exposure_time": "At which exposure time do you keep frames?",
    "f_number": "At which aperture do you keep frames?",
    "iso": "At which ISO do you keep frames?",
    "stops_below_rule": "How far below the rule can you hold the camera?",
    "focal_length": "At which focal length do you keep frames?",
    "session": "In which session did you keep frames?",
}


def keeper_chart(setting: str, lines: Sequence[RateLine]) -> dict[str, Any]:
    """The Vega-Lite spec of keeper rates by a setting: dots with intervals, filled where there is enough to say."""
    rows = [
        {
            "value": line.name,
            "keepers": 100 * line.estimate,
            "low": 100 * line.low,
            "high": 100 * line.high,
            "frames": line.n_frames,
            "bursts": line.n_bursts,
            "state": "enough" if line.is_enough else "not enough yet",
            "text": f"{line.name}: {100 * line.estimate:.0f} of 100 kept, {line.interval}, "
            f"{line.n_frames} frames in {line.n_bursts} bursts",
        }
        for line in lines
    ]
    base = alt.Chart(alt.InlineData(values=rows), width="container", height=220).encode(
        x=alt.X("value:N", sort=None, title=setting.replace("_", " "), axis=alt.Axis(labelAngle=-45)),
        description=alt.Description("text:N"),
        tooltip=alt.Tooltip("text:N", title="keepers"),
    )
    colour = alt.Color(
        "state:N", scale=alt.Scale(domain=["enough", "not enough yet"], range=[KEEPER, UNJUDGED]), legend=None
    )
    interval = base.mark_rule(strokeWidth=2).encode(
        y=alt.Y("low:Q", title="keepers of 100 judged", scale=alt.Scale(domain=[0, 100])), y2="high:Q", color=colour
    )
    dots = base.mark_point(size=70, strokeWidth=2, filled=False, opacity=1).encode(
        y="keepers:Q",
        color=colour,
        fill=alt.Fill(
            "state:N",
            scale=alt.Scale(domain=["enough", "not enough yet"], range=[KEEPER, "transparent"]),
            legend=None,
        ),
    )
    chart = alt.layer(interval, dots).properties(title=QUESTIONS[setting], background="transparent")
    return chart.to_dict()
