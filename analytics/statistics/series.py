"""The limit that a test series finds: a fixed design over several days, the camera lowered between frames.

Frames of one day share that day's steadiness, so days are the unit of evidence: each shifts the whole curve, and the
shifts are integrated out. Many frames on one day hardly help; a few on many days do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import optimize, special, stats
from scipy.special import expit, logit, ndtr, ndtri

from analytics.statistics.engine import EDGE
from analytics.statistics.limits import BASE_RATE, HIGHEST_BASE, LAPSE_RATE, LOG_SLOPE_SD, SLOPE
from analytics.statistics.results import SeriesLimit

if TYPE_CHECKING:
    from analytics.statistics.engine import Floats

#: Where a hand-held limit is expected before the series, whatever the stabilisation, and how unsure that is [stops].
LIMIT, LIMIT_SD = 1.2, 2.5
#: How much steadiness differs from day to day, and the spread of its logarithm [stops].
DAY_SD, LOG_DAY_SD = 0.5, 0.45
BASE_RATE_SD = 1.0
#: Days that the expected spread between days counts for.
PRIOR_DAYS = 4.0
#: Below this many days, or beyond this half-width [stops], there is not enough to say.
ENOUGH_DAYS, WIDEST_HALF = 2, 1.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_LOG_WEIGHTS = np.log(_WEIGHTS / _WEIGHTS.sum())


def series_limit(series: pd.DataFrame, target: float = 0.10, level: float = 0.95) -> SeriesLimit:
    """The slowest hand-held time by a test series.

    Args:
        series: one row per frame: `day` (any label of the day), `stops_below_rule` [stops], `has_shake`.
        target: share of frames with shake at the limit, in (0, 0.5).
        level: coverage of the interval.

    Returns:
        The limit in stops slower than 1 / focal length with its interval, frames and days.

    Source: Wichmann and Hill 2001 for the curve; Kuss, Jäkel and Wichmann 2005 for its priors; Gauss-Hermite
    integration over the days' shifts.
    """
    known = series.dropna(subset=["stops_below_rule", "has_shake"])
    if known.empty:
        return SeriesLimit(np.nan, -np.inf, np.inf, 0, 0, False)
    counts = _counts(known)
    found = optimize.minimize(_cost, np.zeros(4), args=(counts, target), method="BFGS")
    variance = float(np.linalg.inv(_hessian(found.x, counts, target))[0, 0])
    n_days = int(known["day"].nunique())
    estimate = LIMIT + LIMIT_SD * float(found.x[0])
    half = float(stats.t.ppf(0.5 + level / 2, n_days - 1 + PRIOR_DAYS)) * LIMIT_SD * np.sqrt(variance)
    is_enough = n_days >= ENOUGH_DAYS and half <= WIDEST_HALF
    return SeriesLimit(estimate, estimate - half, estimate + half, len(known), n_days, bool(is_enough))


def _counts(series: pd.DataFrame) -> tuple[Floats, Floats, Floats, Floats]:
    """(dose, frames, frames with shake, day 0 to D-1), one row per day and dose."""
    plain = pd.DataFrame(
        {
            "day": pd.factorize(series["day"], sort=True)[0],
            "dose": series["stops_below_rule"].to_numpy(np.float64),
            "y": series["has_shake"].to_numpy(np.float64),
        }
    )
    counts = plain.groupby(["day", "dose"])["y"].agg(["size", "sum"]).reset_index()
    return tuple(counts[name].to_numpy(np.float64) for name in ("dose", "size", "sum", "day"))  # type: ignore[return-value]


def _cost(theta: Floats, counts: tuple[Floats, Floats, Floats, Floats], target: float) -> float:
    """Negative log posterior of (limit, log slope, logit base rate, log day spread), each in standard deviations."""
    dose, n, y, day = counts
    slope, spread = SLOPE * np.exp(LOG_SLOPE_SD * theta[1]), DAY_SD * np.exp(LOG_DAY_SD * theta[3])
    most = HIGHEST_BASE * target
    base = most * expit(logit(min(BASE_RATE / most, 0.9)) + BASE_RATE_SD * theta[2])
    room = 1 - LAPSE_RATE - base
    z = ndtri((target - base) / room)
    away = (dose - LIMIT - LIMIT_SD * theta[0])[:, None] - spread * _NODES[None, :]
    p = np.clip(base + room * ndtr(slope * away + z), EDGE, 1 - EDGE)
    by_row = special.xlogy(y[:, None], p) + special.xlog1py((n - y)[:, None], -p)
    n_days = int(day.max()) + 1
    by_day = np.zeros((n_days, len(_NODES)))
    np.add.at(by_day, day.astype(np.int64), by_row)
    return float(0.5 * theta @ theta - special.logsumexp(by_day + _LOG_WEIGHTS, axis=1).sum())


def _hessian(theta: Floats, counts: tuple[Floats, Floats, Floats, Floats], target: float) -> Floats:
    """Second derivatives of the cost by central differences, shape (4, 4)."""
    step, size = 1e-3, len(theta)
    moves = np.eye(size) * step
    found = np.zeros((size, size))
    for i in range(size):
        for j in range(i, size):
            corners = [
                sign * _cost(theta + first * moves[i] + second * moves[j], counts, target)
                for first, second, sign in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
            ]
            found[i, j] = found[j, i] = sum(corners) / (4 * step**2)
    return found
