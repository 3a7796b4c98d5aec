"""Is the photographer improving? Keepers over time at equal scenes, with sessions as the unit of evidence.

Keeping is modelled by conditions and the day. Settings are no condition: better settings are progress. The change is
standardised: what all judged frames would keep on the last day less what they would keep on the first. Unlogged
difficulty that drifts, and a judge who becomes milder, look like progress; no method can tell from the log alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import expit

from analytics.statistics.cells import Cells, cells_of, sums
from analytics.statistics.conditions import condition_columns, condition_of, matrix
from analytics.statistics.engine import Fit, Interval, fit, jackknife, logistic, standardised_change
from analytics.statistics.rates import Clusters, burst_correlations, group_rates
from analytics.statistics.results import Driver, Progress

if TYPE_CHECKING:
    from analytics.statistics.engine import Floats

#: Spread of the effects of conditions and of the change over all days on keeping [logits].
CONDITION_SD, CHANGE_SD, INTERCEPT_SD = 0.5, 2.0, 3.0
#: Below this many sessions, or beyond this half-width, there is not enough to say.
ENOUGH_SESSIONS, WIDEST_HALF = 12, 0.30
#: An interval narrower than this share of what tosses would give is none: the sessions are copies of each other.
TOO_SURE = 0.1
#: Correlation of keepers within a session that weights start from; larger sessions do not count in proportion.
SESSION_CORRELATION = 0.15
#: Conditions that moved the raw change by less than this are not named.
SMALLEST_DRIVER = 0.005
#: Added to the degrees of freedom that the evenness of the sessions shows.
EXTRA_DF = 1.0


def progress(frames: pd.DataFrame, level: float = 0.95) -> Progress:
    """Change of the keeper rate from the first to the last day at equal scenes.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        level: coverage of the intervals.

    Returns:
        The change with its interval and verdict: 'better', 'worse', 'no clear change' or 'not enough'; the raw change
        beside it, and which conditions made the difference.

    Source: standardisation over the journal's own frames; MacKinnon, Nielsen and Webb 2024 for the jackknife.
    """
    return progress_from_cells(cells_of(frames), level)


def progress_from_cells(cells: Cells, level: float = 0.95) -> Progress:
    """The same from cells."""
    counts = (int(cells.n_frames.sum()), len(np.unique(cells.burst)), cells.n_sessions)
    if cells.n_sessions < 2 or np.ptp(cells.day) == 0:
        return Progress.unknown(counts)
    columns = condition_columns(cells)
    when = (cells.day - cells.day.min()) / np.ptp(cells.day)
    adjusted, design = _fit(cells, columns, when)
    raw, raw_design = _fit(cells, {}, when)
    change, gradient = standardised_change(adjusted, design, cells.n_frames)
    raw_change, raw_gradient = standardised_change(raw, raw_design, cells.n_frames)
    found = jackknife(adjusted.deleted @ gradient, change, level, EXTRA_DF)
    plain = jackknife(raw.deleted @ raw_gradient, raw_change, level, EXTRA_DF)
    least = TOO_SURE * _tossed_half_width(cells, when, level)
    is_enough = cells.n_sessions >= ENOUGH_SESSIONS and least < found.half_width <= WIDEST_HALF
    return Progress(
        change,
        *_ends(found, least),
        _verdict(found.low, found.high) if is_enough else "not enough",
        raw_change,
        *_ends(plain, least),
        *counts,
        drivers=_drivers(adjusted, design, columns, cells, when),
    )


def _tossed_half_width(cells: Cells, when: Floats, level: float) -> float:
    """Half the width of the interval of a change, if every frame were a toss of its own.

    Source: variance of the slope of a straight line, p(1 − p) / Σ(t − mean t)².
    """
    share = cells.n_frames / cells.n_frames.sum()
    kept = float(cells.n_keepers.sum() / cells.n_frames.sum())
    spread = float(cells.n_frames @ (when - share @ when) ** 2)
    return float(stats.norm.ppf(0.5 + level / 2)) * math.sqrt(kept * (1 - kept) / spread) if spread else 0.0


def _ends(found: Interval, least: float) -> tuple[float, float]:
    """The ends of an interval; not-a-number where it is too narrow to be one, or no session moves the estimate."""
    if not least < found.half_width < math.inf:
        return math.nan, math.nan
    return max(found.low, -1.0), min(found.high, 1.0)


def _verdict(low: float, high: float) -> str:
    if low > 0:
        return "better"
    return "worse" if high < 0 else "no clear change"


def _fit(cells: Cells, columns: dict[str, Floats], when: Floats) -> tuple[Fit, Floats]:
    """Keeping by conditions and time; sessions count by what their frames are worth, not by their number."""
    design = np.column_stack([matrix(columns, len(when)), when])
    sd = np.full(design.shape[1], CONDITION_SD)
    sd[0], sd[-1] = INTERCEPT_SD, CHANGE_SD
    weight = session_weights(cells)
    counts = (cells.n_frames * weight, cells.n_keepers * weight)
    return fit(logistic(design), counts, cells.session, (np.zeros(len(sd)), sd)), design


def session_weights(cells: Cells) -> Floats:
    """Weight of a frame by its session's size: 1 / (1 + (n - 1) ρ), scaled to a mean of 1 over frames, shape (m,)."""
    size = sums(cells.session, cells.n_frames, cells.n_sessions)[cells.session]
    weight = 1 / (1 + (size - 1) * SESSION_CORRELATION)
    return np.asarray(weight * cells.n_frames.sum() / (weight * cells.n_frames).sum())


def _drivers(fitted: Fit, design: Floats, columns: dict[str, Floats], cells: Cells, when: Floats) -> tuple[Driver, ...]:
    """By how much each condition's drift over the days moved the raw change, largest first."""
    share = cells.n_frames / cells.n_frames.sum()
    chance = expit(design @ fitted.theta)
    steepness = float(share @ (chance * (1 - chance)))
    centred = when - share @ when
    spread = float(share @ centred**2)
    found: dict[str, float] = {}
    for place, (name, column) in enumerate(columns.items(), start=1):
        drift = float(share @ (centred * column)) / spread if spread else 0.0
        group = condition_of(name)
        found[group] = found.get(group, 0.0) + float(fitted.theta[place]) * drift * steepness
    drivers = [Driver(name, points) for name, points in found.items() if abs(points) >= SMALLEST_DRIVER]
    return tuple(sorted(drivers, key=lambda driver: -abs(driver.change)))


def timeline(frames: pd.DataFrame, level: float = 0.95) -> pd.DataFrame:
    """Keepers by session, raw and at equal scenes.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        level: coverage of the intervals, in (0, 1).

    Returns:
        One row per session: `session`, `day`, `n_frames`, `raw` (share kept), `adjusted` (what it would be if the
        session had had the conditions of the whole journal), both in [0, 1], and the interval of `adjusted`, `low` and
        `high`: of what that session would have come to with many more bursts.

    Source: Zou and Donner 2008 put the two intervals together, that of the session's own share and that of what its
        conditions let expect.
    """
    cells = cells_of(frames)
    if not len(cells.session):
        return pd.DataFrame(columns=["session", "day", "n_frames", "raw", "adjusted", "low", "high"])
    n = sums(cells.session, cells.n_frames, cells.n_sessions)
    expected, error = _expected(cells)
    own = _own_rates(cells, level)
    raw = own["estimate"].to_numpy()
    adjusted = cells.n_keepers.sum() / cells.n_frames.sum() + raw - expected
    known = stats.norm.ppf(0.5 + level / 2) * error
    names = frames.loc[frames["is_keeper"].notna(), "session"].dropna().sort_values().unique()
    table = {
        "session": list(names) + [None] * (cells.n_sessions - len(names)),
        "day": sums(cells.session, cells.n_frames * cells.day, cells.n_sessions) / n,
        "n_frames": n.astype(int),
        "raw": raw,
        "adjusted": np.clip(adjusted, 0.0, 1.0),
        "low": np.clip(adjusted - np.hypot(raw - own["low"], known), 0.0, 1.0),
        "high": np.clip(adjusted + np.hypot(own["high"] - raw, known), 0.0, 1.0),
    }
    return pd.DataFrame(table)


def _expected(cells: Cells) -> tuple[Floats, Floats]:
    """What the conditions of each session let expect, and its standard error, both (G,): shares in [0, 1]."""
    design = matrix(condition_columns(cells), len(cells.session))
    sd = np.full(design.shape[1], CONDITION_SD)
    sd[0] = INTERCEPT_SD
    fitted = fit(logistic(design), (cells.n_frames, cells.n_keepers), cells.session, (np.zeros(len(sd)), sd))
    share = cells.n_frames / sums(cells.session, cells.n_frames, cells.n_sessions)[cells.session]
    chance = expit(design @ fitted.theta)
    slopes = design * (share * chance * (1 - chance))[:, None]
    gradient = np.column_stack([sums(cells.session, slope, cells.n_sessions) for slope in slopes.T])
    moved = fitted.deleted.T @ fitted.deleted * (cells.n_sessions - 1) / cells.n_sessions
    error = np.sqrt(np.maximum(np.einsum("gp,pq,gq->g", gradient, moved, gradient), 0.0))
    return sums(cells.session, share * chance, cells.n_sessions), error


def _own_rates(cells: Cells, level: float) -> pd.DataFrame:
    """The share that each session kept, with the interval that the likeness of frames in a burst leaves it."""
    clusters = Clusters(cells.session, cells.burst, cells.n_frames, cells.n_keepers)
    within_burst, _ = burst_correlations(clusters)
    return group_rates(clusters, cells.session, (within_burst, 0.0), level)
