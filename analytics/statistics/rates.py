"""Keeper rates with intervals that know bursts and sessions.

The design effect of a group has two parts: what correlation within bursts and sessions of this photographer predicts,
and what the spread between the sessions of the group shows. The first is trusted like eight sessions, the second like
the group's own. The interval is Wilson's with the effective number of frames and a t quantile.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Correlation within bursts and, over that, within sessions, before this photographer has shown theirs.
#: Source: simulated careers with 5 to 15 frames a burst; shrunk to with the weight of `PRIOR_SESSIONS`.
PRIOR_BURST, PRIOR_SESSION = 0.22, 0.15
PRIOR_SESSIONS = 6.0
#: The predicted design effect counts like this many sessions beside the one seen.
PREDICTED_WEIGHT = 8.0
#: Below this many sessions, or beyond this half-width, there is not enough to say.
ENOUGH_SESSIONS, WIDEST_HALF = 3, 0.20

COLUMNS = ("n_frames", "n_bursts", "n_sessions", "estimate", "low", "high", "is_enough")


def keeper_rates(frames: pd.DataFrame, by: str | Sequence[str], level: float = 0.95) -> pd.DataFrame:
    """Keepers among judged frames by the values of a column, with cluster-aware intervals.

    Args:
        frames: one row per judged frame of the whole journal: `session`, `burst`, `is_keeper` and the columns of `by`.
        by: one column, or several to cross.
        level: coverage of the interval, in (0, 1).

    Returns:
        One row per value, sorted, unknown last: `key` (or the columns of `by`, where several are crossed), `n_frames`,
        `n_bursts`, `n_sessions`, `estimate`, `low` and `high` (shares in [0, 1]) and `is_enough`.

    Source: Korn and Graubard 1998 (Wilson interval with effective n and t); nested analysis of variance.
    """
    keys = [by] if isinstance(by, str) else list(by)
    counts = (
        frames.assign(session=_sessions(frames))
        .groupby(["session", "burst", *keys], dropna=False, observed=True)["is_keeper"]
        .agg(n_frames="size", n_keepers="sum")
        .reset_index()
    )
    rates = keeper_rates_from_counts(counts, keys, level)
    return rates.rename(columns={by: "key"}) if isinstance(by, str) else rates


def _sessions(frames: pd.DataFrame) -> pd.Series:
    """The sessions; a burst that belongs to none stands for a session of its own, so that no frame is dropped."""
    codes = pd.Series(pd.factorize(frames["session"])[0], index=frames.index)
    alone = pd.Series(pd.factorize(frames["burst"])[0], index=frames.index)
    return codes.where(codes >= 0, -1 - alone)


def keeper_rates_from_counts(counts: pd.DataFrame, by: str | Sequence[str], level: float = 0.95) -> pd.DataFrame:
    """The same from counts by burst: `session`, `burst`, the columns of `by`, `n_frames` (judged) and `n_keepers`."""
    keys = [by] if isinstance(by, str) else list(by)
    counts = counts[counts["n_frames"] > 0]
    if counts.empty:
        return pd.DataFrame(columns=[*keys, *COLUMNS])
    rho = intraclass_correlations(counts)
    rows = []
    for key, group in counts.groupby(keys, dropna=False, observed=True, sort=True):
        rows.append([*key, *_rate(group, rho, level)])
    rates = pd.DataFrame(rows, columns=[*keys, *COLUMNS])
    for name in keys:
        if not pd.api.types.is_numeric_dtype(rates[name]):
            rates[name] = rates[name].astype(object).where(rates[name].notna(), None)
    return rates


def intraclass_correlations(counts: pd.DataFrame) -> tuple[float, float]:
    """Correlation of keepers within a burst and within a session, shrunk towards the prior.

    Args:
        counts: `session`, `burst`, `n_frames` and `n_keepers`; several rows of a burst are added up.

    Returns:
        (rho of frames in one burst beyond the session's, rho of frames in one session).

    Source: nested analysis of variance with unequal group sizes, by the method of moments.
    """
    bursts = counts.groupby(["session", "burst"])[["n_frames", "n_keepers"]].sum().reset_index()
    sizes, kept = bursts["n_frames"].to_numpy(float), bursts["n_keepers"].to_numpy(float)
    sessions = pd.factorize(bursts["session"])[0]
    total, n_bursts, n_sessions = sizes.sum(), len(sizes), int(sessions.max()) + 1
    session_sizes = np.bincount(sessions, sizes)
    session_kept = np.bincount(sessions, kept)
    rate = kept.sum() / total
    within = float((kept * (1 - kept / sizes)).sum())
    between_bursts = float((sizes * (kept / sizes - (session_kept / session_sizes)[sessions]) ** 2).sum())
    between_sessions = float((session_sizes * (session_kept / session_sizes - rate) ** 2).sum())
    if n_sessions < 2 or n_bursts <= n_sessions or total <= n_bursts:
        return PRIOR_BURST, PRIOR_SESSION
    mean_within = within / (total - n_bursts)
    squares = np.bincount(sessions, sizes**2)
    size_in_session = (total - (squares / session_sizes).sum()) / (n_bursts - n_sessions)
    burst_variance = (between_bursts / (n_bursts - n_sessions) - mean_within) / size_in_session
    size_0 = ((squares / session_sizes).sum() - (sizes**2).sum() / total) / (n_sessions - 1)
    size_1 = (total - (session_sizes**2).sum() / total) / (n_sessions - 1)
    mean_sessions = between_sessions / (n_sessions - 1)
    session_variance = (mean_sessions - mean_within - size_0 * max(burst_variance, 0)) / size_1
    return _shrunk(mean_within, burst_variance, session_variance, n_sessions)


def _shrunk(within: float, burst: float, session: float, n_sessions: int) -> tuple[float, float]:
    burst, session = max(burst, 0.0), max(session, 0.0)
    total = within + burst + session
    if total <= 0:
        return PRIOR_BURST, PRIOR_SESSION
    weight = n_sessions / (n_sessions + PRIOR_SESSIONS)
    return (
        weight * burst / total + (1 - weight) * PRIOR_BURST,
        weight * session / total + (1 - weight) * PRIOR_SESSION,
    )


def _rate(group: pd.DataFrame, rho: tuple[float, float], level: float) -> tuple[object, ...]:
    by_burst = group.groupby(["session", "burst"])["n_frames"].sum().to_numpy(float)
    by_session = group.groupby("session")[["n_frames", "n_keepers"]].sum()
    sizes, kept = by_session["n_frames"].to_numpy(float), by_session["n_keepers"].to_numpy(float)
    n = sizes.sum()
    p = kept.sum() / n
    effective_sessions = n**2 / (sizes**2).sum()
    deff = design_effect(by_burst, sizes, kept, rho)
    low, high = wilson(p, n / deff, level, df=7 + effective_sessions)
    is_enough = len(sizes) >= ENOUGH_SESSIONS and (high - low) / 2 <= WIDEST_HALF
    return int(n), len(by_burst), len(sizes), float(p), low, high, bool(is_enough)


def design_effect(
    burst_sizes: NDArray[np.float64],
    session_sizes: NDArray[np.float64],
    session_keepers: NDArray[np.float64],
    rho: tuple[float, float],
) -> float:
    """How many times fewer frames the evidence is worth than were judged; at least 1.

    Source: Kish 1965 for the predicted part; linearised variance of a ratio for the part that is seen.
    """
    n = session_sizes.sum()
    p = session_keepers.sum() / n
    squares = (session_sizes**2).sum()
    predicted = 1 + ((burst_sizes**2).sum() / n - 1) * rho[0] + (squares / n - 1) * rho[1]
    n_sessions, effective = len(session_sizes), n**2 / squares
    if n_sessions < 2 or p in (0.0, 1.0):
        return max(1.0, float(predicted))
    residual = ((session_keepers - p * session_sizes) ** 2).sum()
    seen = n_sessions / (n_sessions - 1) * residual / (n * p * (1 - p))
    weight = PREDICTED_WEIGHT
    return max(1.0, float((weight * predicted + (effective - 1) * seen) / (weight - 1 + effective)))


def wilson(p: float, n: float, level: float = 0.95, df: float = np.inf) -> tuple[float, float]:
    """Wilson's interval for a share `p` of `n` (effective) frames, with Student's t at `df` degrees of freedom.

    Source: Wilson 1927, Probable inference, the law of succession, and statistical inference.
    """
    quantile = float(stats.t.ppf(0.5 + level / 2, df)) if np.isfinite(df) else float(stats.norm.ppf(0.5 + level / 2))
    square = quantile**2 / n
    centre = (p + square / 2) / (1 + square)
    half = quantile / (1 + square) * float(np.sqrt(p * (1 - p) / n + square / (4 * n)))
    return max(0.0, centre - half), min(1.0, centre + half)
