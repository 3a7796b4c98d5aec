"""Fits sums of curves: penalised additive logistic regression, and the same for a number, by Newton's method.
Deterministic.

Each feature enters as a straight line and hinges at its knots; bends cost more than slopes, so what the data does not
bend stays straight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

#: Knots of a curve, and the shares of the frames between which they lie.
N_KNOTS, FIRST_SHARE, LAST_SHARE = 7, 0.02, 0.98
#: Frames that must know a feature for it to be used.
ENOUGH_KNOWN = 100


@dataclass
class Basis:
    """Columns of features: lines, hinges, and whether a feature is missing.

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
        width = (knots[-1] - knots[0]) / 3.3
        x = np.clip(np.nan_to_num(values, nan=knots[0]), knots[0], knots[-1])
        return np.stack(
            [(x - knots[0]) / width, *(self.bend * np.maximum(0, (x - k) / width) for k in knots[1:-1])], axis=1
        )

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


def logistic(columns: Numbers, truth: Numbers, weight: Numbers, penalty: float) -> Numbers:
    """Coefficients of the most likely log-odds under a quadratic penalty."""
    found = np.zeros(columns.shape[1])
    pull = np.full(columns.shape[1], penalty)
    pull[-1] = 1e-6
    for _ in range(30):
        probability = 1 / (1 + np.exp(-columns @ found))
        curvature = weight * probability * (1 - probability) + 1e-9
        hessian = (columns * curvature[:, None]).T @ columns + np.diag(pull)
        step = np.linalg.solve(hessian, columns.T @ (weight * (truth - probability)) - pull * found)
        found = found + step
        if np.abs(step).max() < 1e-6:
            break
    return found


def least_absolute(columns: Numbers, truth: Numbers, weight: Numbers, penalty: float) -> Numbers:
    """Coefficients of the least absolute error, nearly, under a quadratic penalty (by reweighting)."""
    pull = np.full(columns.shape[1], penalty)
    pull[-1] = 1e-6
    trust = weight
    found = np.zeros(columns.shape[1])
    for _ in range(20):
        found = np.linalg.solve((columns * trust[:, None]).T @ columns + np.diag(pull), columns.T @ (trust * truth))
        trust = weight / np.maximum(np.abs(truth - columns @ found), 0.2)
    return found
