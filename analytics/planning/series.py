"""A test series: eight times around a limit, shuffled, the camera lowered in between; and its frames, read again.

Many frames on one day hardly help, for steadiness differs from day to day. One frame at each of the eight times at the
start of every session costs a minute and, after some two dozen sessions, knows the limit to a third of a stop.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

#: How many times a series has, and how far they reach on the safe and on the risky side of the limit [stops].
N_TIMES, SAFE_SIDE, RISKY_SIDE = 8, 2.0, 3.0
#: Frames at each time, by how many days the photographer wants to spend. Source: simulated series.
ONE_PER_SESSION, SIX_PER_DAY = 1, 6


@dataclass(frozen=True, slots=True)
class SeriesDesign:
    """The times of a series in the order they are shot, as sixths of a stop (6 log2 s, even: thirds)."""

    tv6: tuple[int, ...]
    limit_stops: float
    focal_length_35mm: float
    frames_each: int


def series_design(
    limit_stops: float, focal_length_35mm: float, rng: np.random.Generator, frames_each: int = ONE_PER_SESSION
) -> SeriesDesign:
    """The design of one day of a hand-held test series.

    Args:
        limit_stops: where the limit is expected [stops below the rule].
        focal_length_35mm: that the series is shot at [mm].
        rng: shuffles the times, so that tiring and warming up are no trend.
        frames_each: frames at each time.
    """
    doses = limit_stops + np.linspace(-SAFE_SIDE, RISKY_SIDE, N_TIMES)
    thirds = np.unique(np.round(3 * (doses - np.log2(focal_length_35mm))).astype(int))
    order = rng.permutation(np.repeat(thirds, frames_each))
    return SeriesDesign(tuple(int(2 * third) for third in order), limit_stops, focal_length_35mm, frames_each)


def series_frames(frames: pd.DataFrame, sessions: Sequence[int]) -> pd.DataFrame:
    """The frames of a test series as `analytics.statistics.series_limit` takes them.

    Args:
        frames: judged frames, as `analytics.dataset` makes them.
        sessions: that belong to the series; each is a day of its own.

    Returns:
        `day`, `stops_below_rule`, `has_shake`: hand-held frames that are keepers or have camera shake. Frames rejected
        for something else alone do not say whether they are steady, and are left out.
    """
    mine = frames[frames["session"].isin(list(sessions)) & (frames["support"] == "hand-held")]
    mine = mine[(mine["is_keeper"] | mine["fault_shake"]).astype(bool)]
    series = pd.DataFrame(
        {
            "day": mine["session"].to_numpy(),
            "stops_below_rule": np.log2((mine["exposure_time_s"] * mine["focal_length_35mm"]).to_numpy(np.float64)),
            "has_shake": mine["fault_shake"].to_numpy(dtype=bool),
        }
    )
    return series.replace([np.inf, -np.inf], np.nan).dropna().reset_index(drop=True)
