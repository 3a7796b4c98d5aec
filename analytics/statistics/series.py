"""The limit that a test series finds: a fixed design over several days, its settings shuffled.

Frames of one day share that day's steadiness (or subject, or light), so days are the unit of evidence: each shifts the
whole curve, and the shifts are integrated out. Frames of one day help less than as many of several days.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from scipy import optimize
from scipy.special import expit, logit, ndtr, ndtri, stdtrit

from analytics.statistics.engine import EDGE
from analytics.statistics.limits import BASE_RATE, HIGHEST_BASE, LAPSE_RATE, LOG_SLOPE_SD, SLOPE
from analytics.statistics.results import SeriesLimit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats

    Integers = NDArray[np.int64]

#: Where a hand-held limit is expected before the series, whatever the stabilisation, and how unsure that is [stops].
LIMIT, LIMIT_SD = 1.2, 2.5
#: How much a limit differs from day to day, and the spread of its logarithm [stops].
DAY_SD, LOG_DAY_SD = 0.5, 0.45
BASE_RATE_SD = 1.0
#: Days that the expected spread between days counts for.
PRIOR_DAYS = 4.0
#: Below this many days, or beyond this half-width [stops], there is not enough to say.
ENOUGH_DAYS, WIDEST_HALF = 2, 1.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_LOG_WEIGHTS = np.log(_WEIGHTS / _WEIGHTS.sum())
_ROOT_TAU = float(np.sqrt(2 * np.pi))


class Shot(NamedTuple):
    """The frames of a series that have a dose, as arrays of one length; see `series_limit`."""

    day: Integers
    dose: Floats
    has_fault: NDArray[np.bool_]


class DayCounts(NamedTuple):
    """Frames of a series counted by day and dose, one row each, by day.

    Attributes:
        dose: [stops].
        n_frames: frames.
        n_faults: of these with the fault.
        day: from 0 on.
        starts: the first row of each day.
    """

    dose: Floats
    n_frames: Floats
    n_faults: Floats
    day: Integers
    starts: Integers


@dataclass(frozen=True, slots=True)
class SeriesFit:
    """The fitted curve of a series: parameters in standard deviations of their priors, and their covariance.

    `shift` is what the doses were moved by, so that one prior serves every kind of limit; `lowest` and `highest` are
    the doses that were shot [stops].
    """

    theta: Floats
    covariance: Floats
    n_frames: int
    n_days: int
    target: float
    shift: float
    lowest: float
    highest: float

    @property
    def limit(self) -> float:
        """Where the target share has the fault on an average day [stops]."""
        return LIMIT + LIMIT_SD * float(self.theta[0]) + self.shift

    def half_width(self, level: float) -> float:
        """Half of the limit's interval [stops]."""
        return self.quantile(level) * LIMIT_SD * float(np.sqrt(self.covariance[0, 0]))

    def quantile(self, level: float) -> float:
        """What a standard error is multiplied by."""
        return float(stdtrit(self.n_days - 1 + PRIOR_DAYS, 0.5 + level / 2))


def series_limit(series: pd.DataFrame, target: float = 0.10, level: float = 0.95, usual: float = LIMIT) -> SeriesLimit:
    """The limit by a test series.

    Args:
        series: one row per frame: `day` (any label of the day), `dose` (the setting on the scale of its kind of limit,
            stops below the rule for a hand-held one) [stops], `has_fault`.
        target: share of frames with the fault at the limit, in (0, 0.5).
        level: coverage of the interval.
        usual: where the limit is expected before the series [stops].

    Returns:
        The limit on the scale of the doses with its interval, frames and days.

    Source: Wichmann and Hill 2001 for the curve; Kuss, Jäkel and Wichmann 2005 for its priors; Gauss-Hermite
    integration over the days' shifts.
    """
    known = series.dropna(subset=["dose", "has_fault"])
    if known.empty:
        return SeriesLimit(np.nan, -np.inf, np.inf, 0, 0, False)
    return limit_of(fit_series(known, target, usual), level)


def limit_of(found: SeriesFit, level: float = 0.95) -> SeriesLimit:
    """The limit by a series' fitted curve."""
    half = found.half_width(level)
    is_enough = found.n_days >= ENOUGH_DAYS and half <= WIDEST_HALF
    return SeriesLimit(
        found.limit, found.limit - half, found.limit + half, found.n_frames, found.n_days, bool(is_enough)
    )


def fit_series(series: pd.DataFrame | Shot, target: float = 0.10, usual: float = LIMIT) -> SeriesFit:
    """Fits the curve of a series with at least one whole frame; arguments as in `series_limit`."""
    day, dose, has_fault = _known(series)
    return _fitted(_counts(day, dose - usual + LIMIT, has_fault), target, usual - LIMIT)


def _fitted(counts: DayCounts, target: float, shift: float) -> SeriesFit:
    found = optimize.minimize(series_cost, np.zeros(4), args=(counts, target), method="BFGS", jac=True)
    covariance = np.asarray(np.linalg.inv(_hessian(found.x, counts, target)), dtype=np.float64)
    ends = float(counts.dose.min()) + shift, float(counts.dose.max()) + shift
    return SeriesFit(found.x, covariance, round(counts.n_frames.sum()), len(counts.starts), target, shift, *ends)


def series_curve(found: SeriesFit, level: float = 0.95) -> dict[str, Floats]:
    """The curve of an average day over the range of a series' doses.

    Returns:
        `dose` in quarters of a stop, `estimate`, `low` and `high` (shares with the fault).

    Source: the delta method on the logit of the share.
    """
    doses = np.arange(np.floor(found.lowest), np.ceil(found.highest) + 0.25, 0.25)
    at = _logit_share(found.theta, doses - found.shift, found.target)
    step = 1e-4
    gradient = np.column_stack(
        [
            (_logit_share(found.theta + move, doses - found.shift, found.target) - at) / step
            for move in np.eye(len(found.theta)) * step
        ]
    )
    half = found.quantile(level) * np.sqrt(np.einsum("ij,jk,ik->i", gradient, found.covariance, gradient))
    return {"dose": doses, "estimate": expit(at), "low": expit(at - half), "high": expit(at + half)}


def series_counts(series: pd.DataFrame | Shot) -> dict[str, NDArray[Any]]:
    """What the curve is fitted to: `dose` in thirds of a stop, `n_frames`, `n_faults`, `n_days`."""
    day, dose, has_fault = _known(series)
    thirds, place = np.unique(np.round(dose * 3) / 3, return_inverse=True)
    of_day = np.unique(place + len(thirds) * day) % max(1, len(thirds))
    return {
        "dose": thirds,
        "n_frames": np.bincount(place, minlength=len(thirds)),
        "n_faults": np.bincount(place, weights=has_fault, minlength=len(thirds)).astype(np.int64),
        "n_days": np.bincount(of_day, minlength=len(thirds)),
    }


def expected_half_width(places: Sequence[float], n_days: int, level: float = 0.95, target: float = 0.10) -> float:
    """Half-width that a series is to be expected to know its limit to [stops], before it is shot.

    Args:
        places: of every frame of a day, from the limit [stops]; slower or noisier is positive.
        n_days: days, at least one.
        level: coverage of the interval; target: share of frames with the fault at the limit.

    The method is asked about the frames that such a series brings on average: days stand at the quantiles of the
    expected spread between days, and each frame counts with its chance of the fault.
    """
    doses, each = np.unique(np.asarray(places, dtype=np.float64), return_counts=True)
    shifts = DAY_SD * ndtri((np.arange(n_days) + 0.5) / n_days)
    day = np.repeat(np.arange(n_days), len(doses))
    dose = np.tile(doses + LIMIT, n_days)
    n = np.tile(each.astype(np.float64), n_days)
    share = expit(_logit_share(np.zeros(4), dose - shifts[day], target))
    counts = DayCounts(dose, n, n * share, day, np.arange(n_days) * len(doses))
    return _fitted(counts, target, 0.0).half_width(level)


def days_needed(places: Sequence[float], half_width: float, most: int = 60) -> int | None:
    """Days of a series until its limit is expected to be known that well; `None` where `most` are not enough.

    Args:
        places: of every frame of a day, from the limit [stops].
        half_width: wanted [stops].
        most: days that anybody would spend.
    """
    lowest, highest = ENOUGH_DAYS, most + 1
    while lowest < highest:
        middle = (lowest + highest) // 2
        if middle > most or expected_half_width(places, middle) <= half_width:
            highest = middle
        else:
            lowest = middle + 1
    return lowest if lowest <= most else None


def _parts(theta: Floats, target: float) -> tuple[Any, Any, Any, Any]:
    """(slope, base rate, room between base rate and lapses, probit at the limit) of these parameters."""
    slope = SLOPE * np.exp(LOG_SLOPE_SD * theta[..., 1])
    most = HIGHEST_BASE * target
    base = most * expit(logit(min(BASE_RATE / most, 0.9)) + BASE_RATE_SD * theta[..., 2])
    room = 1 - LAPSE_RATE - base
    return slope, base, room, ndtri((target - base) / room)


def _logit_share(theta: Floats, dose: Floats, target: float) -> Floats:
    """Logit of the share with the fault on an average day."""
    slope, base, room, z = _parts(theta, target)
    share = base + room * ndtr(slope * (dose - LIMIT - LIMIT_SD * theta[0]) + z)
    return np.asarray(logit(np.clip(share, EDGE, 1 - EDGE)))


def _known(series: pd.DataFrame | Shot) -> tuple[Integers, Floats, Floats]:
    """(day from 0 on, dose, whether it has the fault) of the frames that have both."""
    if isinstance(series, Shot):
        return np.unique(series.day, return_inverse=True)[1], series.dose, series.has_fault.astype(np.float64)
    dose, has_fault = (series[name].to_numpy(np.float64, na_value=np.nan) for name in ("dose", "has_fault"))
    known = ~(np.isnan(dose) | np.isnan(has_fault))
    day = pd.factorize(series["day"].to_numpy()[known], sort=True)[0]
    return day.astype(np.int64), dose[known], has_fault[known]


def _counts(day: Integers, dose: Floats, has_fault: Floats) -> DayCounts:
    order = np.lexsort((dose, day))
    day, dose, has_fault = day[order], dose[order], has_fault[order]
    is_new = np.ones(len(day), dtype=bool)
    is_new[1:] = (np.diff(day) != 0) | (np.diff(dose) != 0)
    starts = np.flatnonzero(is_new)
    n = np.diff(starts, append=len(day)).astype(np.float64)
    days = day[starts]
    firsts = np.flatnonzero(np.diff(days, prepend=-1))
    return DayCounts(dose[starts], n, np.add.reduceat(has_fault, starts), days, firsts)


def series_cost(theta: Floats, counts: DayCounts, target: float) -> tuple[Any, Floats]:
    """Negative log posterior of the curve of a series, and its gradient.

    Args:
        theta: limit, log slope, logit base rate and log spread between days, each in standard deviations of its prior;
            shape (4,), or (n, 4) for several places at once.
        counts: the frames.
        target: share with the fault at the limit.

    Returns:
        The cost at each place, shape () or (n,), and its gradient, of the shape of `theta`.

    Source: the shifts of the days are integrated out by Gauss-Hermite quadrature; the gradient of the logarithm of that
    sum is the mean of the gradients, weighted by each node's share in it.
    """
    dose, n, y, day, starts = counts
    own = theta[..., 0], DAY_SD * np.exp(LOG_DAY_SD * theta[..., 3]), *_parts(theta, target)
    shift, spread, slope, base, room, z = (each[..., None, None] for each in own)
    away = (dose[:, None] - LIMIT - LIMIT_SD * shift) - spread * _NODES
    below = ndtr(slope * away + z)
    p = np.clip(base + room * below, EDGE, 1 - EDGE)
    with_fault, without = y[:, None], (n - y)[:, None]
    by_day = np.add.reduceat(with_fault * np.log(p) + without * np.log1p(-p), starts, axis=-2) + _LOG_WEIGHTS
    most = by_day.max(axis=-1, keepdims=True)
    shares = np.exp(by_day - most)
    sums = shares.sum(axis=-1, keepdims=True)
    cost = 0.5 * (theta**2).sum(axis=-1) - (most + np.log(sums)).sum(axis=(-2, -1))
    pull = (shares / sums)[..., day, :] * (with_fault / p - without / (1 - p))
    pull[(p <= EDGE) | (p >= 1 - EDGE)] = 0.0
    by_node = pull * room * np.exp(-0.5 * (slope * away + z) ** 2) / _ROOT_TAU
    moved = by_node.sum(axis=-2)
    tilted, lifted = (np.einsum("...ij,...ij->...", *each) for each in ((by_node, away), (pull, 1 - below)))
    return cost, theta - _gains((moved.sum(axis=-1), tilted, lifted, moved @ _NODES), own[1:], target)


def _gains(gained: Sequence[Any], own: Sequence[Any], target: float) -> Floats:
    """What each parameter gains, from sums over frames and nodes: of what moves a frame, and so on as in the cost."""
    (moved, tilted, lifted, spread_out), (spread, slope, base, room, z) = gained, own
    base_step = BASE_RATE_SD * base * (1 - base / (HIGHEST_BASE * target))
    z_step = (target - base - room) / room**2 * _ROOT_TAU * np.exp(0.5 * z**2)
    gains = (
        -LIMIT_SD * slope * moved,
        LOG_SLOPE_SD * slope * tilted,
        base_step * (lifted + z_step * moved),
        -LOG_DAY_SD * spread * slope * spread_out,
    )
    return np.array(gains).T


def _hessian(theta: Floats, counts: DayCounts, target: float) -> Floats:
    """Second derivatives of the cost by central differences of its gradient, shape (4, 4)."""
    step, moves = 1e-4, np.eye(len(theta))
    slopes = series_cost(theta + step * np.concatenate([moves, -moves]), counts, target)[1]
    found = (slopes[: len(moves)] - slopes[len(moves) :]) / (2 * step)
    return np.asarray((found + found.T) / 2)
