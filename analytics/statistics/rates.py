"""Keeper rates with intervals that know bursts and sessions.

The design effect of a group has two parts: what correlation within bursts and sessions of this photographer predicts,
and what the spread between the sessions of the group shows. The first is trusted like eight sessions, the second like
the group's own. The interval is Wilson's with the effective number of frames and a t quantile.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

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
    clusters, order = _clusters(counts)
    group = counts.groupby(keys, dropna=False, observed=True, sort=True).ngroup().to_numpy(np.int64)
    rates = group_rates(clusters, group[order].astype(np.int64), burst_correlations(clusters), level)
    rates = rates.reset_index(drop=True)
    firsts = counts.iloc[np.unique(group, return_index=True)[1]]
    for place, name in enumerate(keys):
        values = firsts[name].reset_index(drop=True)
        if not pd.api.types.is_numeric_dtype(values):
            values = values.astype(object).where(values.notna(), None)
        rates.insert(place, name, values)
    return rates


@dataclass(frozen=True, slots=True)
class Clusters:
    """Counts of judged frames in the order of their bursts, as arrays of one length.

    `session` and `burst` are numbers from 0 that never fall from one row to the next; several rows may be of one burst.
    No `n_frames` is zero.
    """

    session: Integers
    burst: Integers
    n_frames: Floats
    n_keepers: Floats


def _clusters(counts: pd.DataFrame) -> tuple[Clusters, Integers]:
    """The clusters of a table of counts, and the rows of the table in their order."""
    session = pd.factorize(counts["session"])[0]
    burst = pd.factorize(counts["burst"])[0]
    order = np.lexsort((burst, session))
    session, burst = session[order], burst[order]
    starts = _changes(session, burst)
    n_frames, n_keepers = (counts[name].to_numpy(float)[order] for name in ("n_frames", "n_keepers"))
    return Clusters(session, np.cumsum(starts) - 1, n_frames, n_keepers), order


def group_rates(clusters: Clusters, group: Integers, rho: tuple[float, float], level: float = 0.95) -> pd.DataFrame:
    """Keeper rates of groups of rows, all at once: `rates_of_groups` as a table, the group as index."""
    columns = rates_of_groups(clusters, group, rho, level)
    return pd.DataFrame(columns, index=columns.pop("group"), columns=[*COLUMNS])


def rates_of_groups(
    clusters: Clusters, group: Integers, rho: tuple[float, float], level: float = 0.95
) -> dict[str, NDArray[Any]]:
    """Keeper rates of groups of rows, all at once.

    Args:
        clusters: counts by burst; a burst may have rows in several groups.
        group: the group of each row, numbers from 0, shape (n,).
        rho: correlations within burst and session, see `burst_correlations`; of the whole journal also where only some
            of it is counted, for a few bursts cannot show how much bursts are alike.
        level: coverage of the interval, in (0, 1).

    Returns:
        `group` and each of `COLUMNS`, a value for each group that occurs, in their order. Two keepers of five frames of
        one session are 0.4 with an interval that says almost nothing.

    Source: as `keeper_rates`.
    """
    # Numbers of 16 bits are sorted by counting, which a page of a million frames notices.
    order = np.argsort(group.astype(np.uint16) if group.max(initial=0) < 1 << 16 else group, kind="stable")
    group, session, burst = group[order], clusters.session[order], clusters.burst[order]
    n, kept = clusters.n_frames[order], clusters.n_keepers[order]
    of_group = np.flatnonzero(_changes(group))
    if not len(group):
        return {name: np.zeros(0) for name in ("group", *COLUMNS)}
    place = np.cumsum(_changes(group)) - 1
    of_burst, of_session = np.flatnonzero(_changes(group, burst)), np.flatnonzero(_changes(group, session))
    sizes = np.add.reduceat(n, of_burst)
    session_sizes, session_kept = np.add.reduceat(n, of_session), np.add.reduceat(kept, of_session)
    by_burst, by_session = place[of_burst], place[of_session]
    total = _sums(by_session, session_sizes)
    p = _sums(by_session, session_kept) / total
    n_sessions = np.bincount(by_session)
    squares = _sums(by_session, session_sizes**2)
    residual = _sums(by_session, (session_kept - p[by_session] * session_sizes) ** 2)
    deff = _design_effects(total, p, n_sessions, (_sums(by_burst, sizes**2), squares, residual), rho)
    low, high = _wilson_bounds(p, total / deff, level, 7 + total**2 / squares)
    return {
        "group": group[of_group],
        "n_frames": total.astype(np.int64),
        "n_bursts": np.bincount(by_burst),
        "n_sessions": n_sessions,
        "estimate": p,
        "low": low,
        "high": high,
        "is_enough": (n_sessions >= ENOUGH_SESSIONS) & ((high - low) / 2 <= WIDEST_HALF),
    }


def _sums(group: Integers, values: Floats) -> Floats:
    """The sum of each group's values."""
    return np.bincount(group, values).astype(np.float64)


def _changes(*columns: Integers) -> NDArray[np.bool_]:
    """Whether a row is unlike the one before it in any of the columns; the first one is."""
    changes = np.ones(len(columns[0]), dtype=bool)
    changes[1:] = np.logical_or.reduce([column[1:] != column[:-1] for column in columns])
    return changes


def intraclass_correlations(counts: pd.DataFrame) -> tuple[float, float]:
    """Correlation of keepers within a burst and within a session, shrunk towards the prior.

    Args:
        counts: `session`, `burst`, `n_frames` and `n_keepers`; several rows of a burst are added up.

    Returns:
        (rho of frames in one burst beyond the session's, rho of frames in one session).

    Source: nested analysis of variance with unequal group sizes, by the method of moments.
    """
    return burst_correlations(_clusters(counts)[0])


def burst_correlations(clusters: Clusters) -> tuple[float, float]:
    """The same from clusters: (rho of a burst beyond the session's, rho of a session); the prior's without any.

    Source: as `intraclass_correlations`.
    """
    if not len(clusters.burst):
        return PRIOR_BURST, PRIOR_SESSION
    starts = np.flatnonzero(np.diff(clusters.burst, prepend=-1))
    sizes, kept = np.add.reduceat(clusters.n_frames, starts), np.add.reduceat(clusters.n_keepers, starts)
    sessions = np.unique(clusters.session[starts], return_inverse=True)[1]
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


def _design_effects(
    n: Floats, p: Floats, n_sessions: Integers, sums: tuple[Floats, Floats, Floats], rho: tuple[float, float]
) -> Floats:
    """How many times fewer frames the evidence of each group is worth than were judged; at least 1.

    Args:
        n: judged frames [1].
        p: share of keepers.
        n_sessions: sessions with judged frames [1].
        sums: squares of the bursts' sizes, of the sessions' sizes, and of sessions' keepers beyond `p` of their size.
        rho: correlations within burst and session.

    Source: Kish 1965 for the predicted part; linearised variance of a ratio for the part that is seen.
    """
    burst_squares, session_squares, residual = sums
    predicted = 1 + (burst_squares / n - 1) * rho[0] + (session_squares / n - 1) * rho[1]
    effective = n**2 / session_squares
    shows = (n_sessions >= 2) & (p > 0) & (p < 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = n_sessions / (n_sessions - 1) * residual / (n * p * (1 - p))
    mixed = (PREDICTED_WEIGHT * predicted + (effective - 1) * np.where(shows, seen, 0)) / (
        PREDICTED_WEIGHT - 1 + effective
    )
    return np.maximum(1.0, np.where(shows, mixed, predicted))


def _wilson_bounds(p: Floats, n: Floats, level: float, df: Floats) -> tuple[Floats, Floats]:
    """Wilson's interval for shares `p` of `n` (effective) frames, with Student's t at `df` degrees of freedom."""
    quantile = stdtrit(df, 0.5 + level / 2)
    square = quantile**2 / n
    centre = (p + square / 2) / (1 + square)
    half = quantile / (1 + square) * np.sqrt(p * (1 - p) / n + square / (4 * n))
    return np.maximum(0.0, centre - half), np.minimum(1.0, centre + half)


def wilson(p: float, n: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson's interval for a share `p` of `n` independent frames.

    Source: Wilson 1927, Probable inference, the law of succession, and statistical inference.
    """
    low, high = _wilson_bounds(np.array([p]), np.array([n]), level, np.array([np.inf]))
    return float(low[0]), float(high[0])
