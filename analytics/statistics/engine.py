"""One engine for every question: a penalised binomial model, and a jackknife over sessions.

A curve gives the chance of an event for every cell and its gradient; `fit` finds the parameters by Fisher scoring with
normal priors; `Fit.deleted` says how the parameters move when one session is left out, and from that `interval` makes
an interval for any number that follows from them. Frames of a session are never taken for independent.

What this module does not do: it knows no faults, no settings and no photographs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np
from scipy import special, stats

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    #: Parameters (P,) -> (chance (m,), its gradient (m, P)).
    Curve = Callable[[Floats], tuple[Floats, Floats]]

MOST_STEPS = 60
#: A step that changes the penalised log likelihood by less than this ends the search.
CONVERGED = 1e-6
#: Chances are kept this far from 0 and 1.
EDGE = 1e-9
#: A session that moves an estimate by no more than this does not move it: machines round differently.
ROUNDING = 1e-12


@dataclass(frozen=True, slots=True)
class Fit:
    """Parameters with everything that intervals need.

    Attributes:
        theta: (P,) the estimate.
        information: (P, P) expected information of the data and the priors together.
        prior_precision: (P,) precision of the normal priors.
        deleted: (G, P) change of the estimate when a session is left out; zero where it has no row.
        session_weight: (G,) frames of each session that the fit used.
    """

    theta: Floats
    information: Floats
    prior_precision: Floats
    deleted: Floats
    session_weight: Floats

    @property
    def covariance(self) -> Floats:
        """Inverse of the information, shape (P, P)."""
        return np.asarray(np.linalg.inv(self.information), dtype=np.float64)

    def model_variance(self, gradient: Floats) -> float:
        """Variance of a number with this gradient, as if all frames were independent; without the priors' part."""
        moved = np.linalg.solve(self.information, gradient)
        return max(float(gradient @ moved) - self.prior_variance(gradient), 0.0)

    def prior_variance(self, gradient: Floats) -> float:
        """The part of the variance that the priors stand for."""
        moved = np.linalg.solve(self.information, gradient)
        return float(moved @ (self.prior_precision * moved))


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its interval, standard error and degrees of freedom."""

    estimate: float
    low: float
    high: float
    standard_error: float
    df: float

    @property
    def half_width(self) -> float:
        """Half the width of the interval."""
        return (self.high - self.low) / 2

    def p_value(self) -> float:
        """One-sided: how often chance alone shows an estimate this far above zero."""
        if self.standard_error <= 0:
            return 1.0 if self.estimate <= 0 else 0.5
        return float(stats.t.sf(self.estimate / self.standard_error, self.df))


def fit(curve: Curve, counts: tuple[Floats, Floats], session: Integers, prior: tuple[Floats, Floats]) -> Fit:
    """Maximises the penalised binomial likelihood by Fisher scoring with step halving.

    Args:
        curve: chance and gradient for all rows.
        counts: (n, y), each (m,): frames and events of each row.
        session: (m,) 0 to G-1, ascending.
        prior: (mean, standard deviation), each (P,); the search starts at the mean.

    Returns:
        The fit; with no rows it is the prior.
    """
    n, y = counts
    mean, sd = prior
    precision = 1 / sd**2
    here = _Place.at(mean.astype(np.float64), curve, counts, (mean, precision))
    for _ in range(MOST_STEPS):
        spread = here.p * (1 - here.p)
        score = here.gradient.T @ ((y - n * here.p) / spread) - precision * (here.theta - mean)
        information = here.gradient.T @ (here.gradient * (n / spread)[:, None]) + np.diag(precision)
        step = np.asarray(np.linalg.solve(information, score), dtype=np.float64)
        there = _walk(here, step, float(score @ step), lambda theta: _Place.at(theta, curve, counts, (mean, precision)))
        gained, here = there.value - here.value, there
        if gained < CONVERGED:
            break
    theta, p, gradient = here.theta, here.p, here.gradient
    deleted, information = _delete_one_session(p, gradient, counts, session, precision)
    n_sessions = int(session[-1]) + 1 if len(session) else 0
    return Fit(theta, information, precision, deleted, np.bincount(session, n, n_sessions).astype(np.float64))


@dataclass(frozen=True, slots=True)
class _Place:
    """Parameters with the curve, its gradient and the penalised log likelihood there."""

    theta: Floats
    p: Floats
    gradient: Floats
    value: float

    @classmethod
    def at(cls, theta: Floats, curve: Curve, counts: tuple[Floats, Floats], prior: tuple[Floats, Floats]) -> Self:
        (n, y), (mean, precision) = counts, prior
        p, gradient = curve(theta)
        likelihood = special.xlogy(y, p) + special.xlog1py(n - y, -p)
        value = float(likelihood.sum() - 0.5 * (precision * (theta - mean) ** 2).sum())
        return cls(theta, p, gradient, value)


def _walk(here: _Place, step: Floats, slope: float, place: Callable[[Floats], _Place]) -> _Place:
    """The best of the step and shorter ones: where it overshoots, the top of the parabola through both ends is tried.

    Fisher scoring overshoots where a curve does not fit; without this it would swing about the maximum.
    """
    length = 1.0
    for _ in range(30):
        there = place(here.theta + length * step)
        bend = there.value - here.value - length * slope
        top = -length * length * slope / (2 * bend) if bend < 0 else np.inf
        if np.isfinite(there.value) and there.value >= here.value:
            if top < 0.9 * length:
                shorter = place(here.theta + top * step)
                return shorter if shorter.value > there.value else there
            return there
        length = top if 0.05 * length < top < 0.5 * length else length / 2
    return here


def _delete_one_session(
    p: Floats, gradient: Floats, counts: tuple[Floats, Floats], session: Integers, precision: Floats
) -> tuple[Floats, Floats]:
    """Linearised change of the estimate without each session: -(H - H_g)^-1 s_g; and the information H.

    Source: MacKinnon, Nielsen and Webb 2024, Cluster-robust jackknife and bootstrap inference for logistic regression.
    """
    n, y = counts
    spread = p * (1 - p)
    per_frame = (y - n * p) / spread
    weighted = gradient * np.sqrt(n / spread)[:, None]
    information = weighted.T @ weighted + np.diag(precision)
    n_sessions = int(session[-1]) + 1 if len(session) else 0
    starts = np.searchsorted(session, np.arange(n_sessions + 1))
    scores, without = np.zeros((n_sessions, len(precision))), np.repeat(information[None], n_sessions, axis=0)
    for number in range(n_sessions):
        rows = slice(starts[number], starts[number + 1])
        scores[number] = gradient[rows].T @ per_frame[rows]
        without[number] -= weighted[rows].T @ weighted[rows]
    # The priors' score is shared by all sessions, so it is not part of what one session takes away.
    deleted = -np.linalg.solve(without, scores[:, :, None])[:, :, 0]
    return deleted.astype(np.float64, copy=False), information


def logistic(design: Floats) -> Curve:
    """The logistic curve of a design matrix (m, P)."""

    def curve(theta: Floats) -> tuple[Floats, Floats]:
        p = np.clip(special.expit(design @ theta), EDGE, 1 - EDGE)
        return p, design * (p * (1 - p))[:, None]

    return curve


def fit_linear(design: Floats, n: Floats, y: Floats, session: Integers, prior_sd: Floats) -> Fit:
    """Penalised least squares of a number per frame, with the same jackknife.

    Args:
        design: (m, P); n: (m,) frames of each row; y: (m,) their mean; session: (m,) ascending.
        prior_sd: (P,) of normal priors around zero, in units of the residual's standard deviation.
    """
    precision = 1 / prior_sd**2
    weighted = design * n[:, None]
    information = design.T @ weighted + np.diag(precision)
    theta = np.linalg.solve(information, weighted.T @ y)
    residual = y - design @ theta
    n_sessions = int(session[-1]) + 1 if len(session) else 0
    starts = np.searchsorted(session, np.arange(n_sessions + 1))
    deleted = np.zeros((n_sessions, len(theta)))
    for number in range(n_sessions):
        rows = slice(starts[number], starts[number + 1])
        without = information - design[rows].T @ weighted[rows]
        deleted[number] = -np.linalg.solve(without, weighted[rows].T @ residual[rows])
    weight = np.bincount(session, n, n_sessions).astype(np.float64)
    return Fit(np.asarray(theta, dtype=np.float64), information, precision, deleted, weight)


def standardised_change(fitted: Fit, design: Floats, n: Floats, column: int = -1) -> tuple[float, Floats]:
    """Change of the mean chance when one column of a logistic model goes from 0 to 1 in all rows, and its gradient.

    Args:
        fitted: by `logistic(design)`.
        design: (m, P); n: (m,) frames that the mean is taken over; column: which one changes.
    """
    first, last = design.copy(), design.copy()
    first[:, column], last[:, column] = 0.0, 1.0
    share = n / n.sum()
    before, after = special.expit(first @ fitted.theta), special.expit(last @ fitted.theta)
    gradient = (share * after * (1 - after)) @ last - (share * before * (1 - before)) @ first
    return float(share @ (after - before)), gradient


def jackknife(moves: Floats, estimate: float, level: float, extra_df: float = 1.0) -> Interval:
    """Interval of an estimate from its changes when one session is left out.

    Args:
        moves: (G,) change of the estimate without each session.
        estimate: with all sessions.
        level: coverage, in (0, 1).
        extra_df: added to the degrees of freedom that the evenness of the moves shows.

    Returns:
        A t interval; infinite where fewer than two sessions move the estimate by more than rounding does.

    Source: Tukey's jackknife with the centred variance (G-1)/G Σ u²; Satterthwaite's degrees of freedom.
    """
    moved = moves[np.abs(moves) > ROUNDING]
    if len(moved) < 2:
        return Interval(estimate, -np.inf, np.inf, np.inf, 1.0)
    n_sessions = len(moved)
    variance = (n_sessions - 1) / n_sessions * float((moved**2).sum())
    df = float((moved**2).sum() ** 2 / (moved**4).sum()) + extra_df
    return t_interval(estimate, variance, df, level)


def t_interval(estimate: float, variance: float, df: float, level: float) -> Interval:
    """Student's interval for an estimate with this variance and degrees of freedom."""
    error = float(np.sqrt(variance))
    half = float(stats.t.ppf(0.5 + level / 2, df)) * error
    return Interval(estimate, estimate - half, estimate + half, error, df)


def effective(weights: Floats) -> float:
    """How many equal sessions these are worth: (Σ n)² / Σ n²."""
    return float(weights.sum() ** 2 / (weights**2).sum()) if weights.any() else 0.0
