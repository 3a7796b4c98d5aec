"""Fits sums of curves: penalised additive logistic regression, and the same for a number, by Newton's method.
Deterministic.

Each feature enters by its slope between every two knots. Bends cost more than slopes, so what the data does not bend
stays straight; a curve of which one knows that it rises, or falls, is held to that, so that features that go together
do not speak against each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

Numbers = NDArray[np.float64]

#: Knots of a curve, and the shares of the frames between which they lie.
N_KNOTS, FIRST_SHARE, LAST_SHARE = 7, 0.02, 0.98
#: Frames that must know a feature for it to be used.
ENOUGH_KNOWN = 100


@dataclass
class Basis:
    """Columns of features: what lies between every two knots, and whether a feature is missing.

    Attributes:
        names: of the features.
        knots: by feature.
        means: of the columns by feature, so that a curve is 0 on average.
        bend: how cheap a bend is beside a slope.
    """

    names: list[str]
    knots: dict[str, Numbers]
    means: dict[str, Numbers]
    bend: float

    def columns(self, features: dict[str, Numbers]) -> Numbers:
        """(frames, columns); the last is the constant."""
        parts = []
        for name in self.names:
            shape = self._shape(name, features[name])
            missing = ~np.isfinite(features[name])
            parts += [np.where(missing[:, None], 0, shape - self.means[name]), missing[:, None].astype(float)]
        return np.hstack([*parts, np.ones((len(features[self.names[0]]), 1))])

    def _shape(self, name: str, values: Numbers) -> Numbers:
        knots = self.knots[name]
        x = np.nan_to_num(values, nan=knots[0])[:, None]
        return np.asarray((np.clip(x, knots[:-1], knots[1:]) - knots[:-1]) / self._width(name))

    def _width(self, name: str) -> float:
        """About one standard deviation of the feature."""
        return float(self.knots[name][-1] - self.knots[name][0]) / 3.3

    def pull(self, penalty: float) -> Numbers:
        """(columns, columns): what slopes and bends cost; the constant costs next to nothing."""
        blocks = []
        for name in self.names:
            n_slopes = len(self.knots[name]) - 1
            bends = np.diff(np.eye(n_slopes), axis=0) / self.bend
            first = np.eye(1, n_slopes)
            blocks += [penalty * (first.T @ first + bends.T @ bends), np.array([[penalty]])]
        return np.asarray(block_diag(*blocks, 1e-6))

    def direction(self, rises: dict[str, int]) -> NDArray[np.int_]:
        """By column: 1 where it may only rise, -1 where it may only fall, 0 where it may do either."""
        found: list[int] = []
        for name in self.names:
            found += [rises.get(name, 0)] * (len(self.knots[name]) - 1) + [0]
        return np.array([*found, 0])

    def as_curves(self, coefficients: Numbers) -> dict[str, Any]:
        """Constant, values at the knots by feature, and contributions of what is missing."""
        curves, absent, at = {}, {}, 0
        for name in self.names:
            shape = self._shape(name, self.knots[name]) - self.means[name]
            curves[name] = shape @ coefficients[at : at + shape.shape[1]]
            absent[name] = float(coefficients[at + shape.shape[1]])
            at += shape.shape[1] + 1
        return {"constant": float(coefficients[-1]), "curves": curves, "missing": absent}


def basis_for(features: dict[str, Numbers], names: list[str], bend: float = 1.0) -> Basis:
    """Knots where the frames are."""
    knots, means, kept = {}, {}, []
    for name in names:
        known = features[name][np.isfinite(features[name])]
        if len(known) < ENOUGH_KNOWN:
            continue
        found = np.unique(np.round(np.quantile(known, np.linspace(FIRST_SHARE, LAST_SHARE, N_KNOTS)), 3))
        if len(found) >= 2:
            kept.append(name)
            knots[name] = found
    basis = Basis(kept, knots, means, bend)
    for name in kept:
        known = features[name][np.isfinite(features[name])]
        means[name] = basis._shape(name, known).mean(axis=0)
    return basis


def logistic(
    columns: Numbers,
    truth: Numbers,
    weight: Numbers,
    pull: Numbers,
    direction: NDArray[np.int_] | None = None,
    offset: Numbers | float = 0.0,
    start: Numbers | None = None,
) -> Numbers:
    """Coefficients of the most likely log-odds under a quadratic penalty, those with a direction on their side of 0.

    Truth may lie between 0 and 1; an offset is added to the log-odds; the search may start near its end.
    """
    found = np.zeros(columns.shape[1]) if start is None else start
    for _ in range(40):
        probability = 1 / (1 + np.exp(-columns @ found - offset))
        curvature = weight * probability * (1 - probability) + 1e-9
        hessian = (columns * curvature[:, None]).T @ columns + pull
        slope = columns.T @ (weight * (truth - probability)) - pull @ found
        better = least_within(hessian, hessian @ found + slope, direction)
        step, found = np.abs(better - found).max(), better
        if step < 1e-5:
            break
    return found


def least_absolute(
    columns: Numbers, truth: Numbers, weight: Numbers, pull: Numbers, direction: NDArray[np.int_] | None = None
) -> Numbers:
    """Coefficients of the least absolute error, nearly, under a quadratic penalty (by reweighting)."""
    trust = weight
    found = np.zeros(columns.shape[1])
    for _ in range(20):
        hessian = (columns * trust[:, None]).T @ columns + pull
        found = least_within(hessian, columns.T @ (trust * truth), direction)
        trust = weight / np.maximum(np.abs(truth - columns @ found), 0.2)
    return found


def least_within(hessian: Numbers, right: Numbers, direction: NDArray[np.int_] | None) -> Numbers:
    """The x of least x·Hx/2 − right·x whose parts with a direction lie on its side of 0.

    Source: non-negative least squares by block principal pivoting, Portugal, Judice and Vicente 1994; where that goes
    in circles, one part at a time.
    """
    if direction is None or not direction.any():
        return np.asarray(np.linalg.solve(hessian, right))
    bound = direction != 0
    held = np.zeros(len(right), bool)
    fewest, patience = len(right) + 1, 3
    for _ in range(500):
        found = np.zeros(len(right))
        free = ~held
        found[free] = np.linalg.solve(hessian[np.ix_(free, free)], right[free])
        pressure = (hessian @ found - right) * direction
        wrong = bound & ((free & (found * direction < -1e-9)) | (held & (pressure < -1e-7)))
        n_wrong = int(wrong.sum())
        if not n_wrong:
            break
        if n_wrong < fewest:
            fewest, patience = n_wrong, 3
        elif patience:
            patience -= 1
        else:
            only = int(np.flatnonzero(wrong)[-1])
            wrong = np.arange(len(right)) == only
        held ^= wrong
    return found
