"""The fault model: for every fault a sum of curves, one per feature, that gives the log-odds; and one such sum for
the exposure error.

Nothing is hidden: `model.json` holds each curve as its values at a few knots, straight between them and level
outside, so anyone can draw what a feature contributes. It was fitted on generated frames (`how_trained` in the file
says on which); fitting is not done here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

#: Faults that pixels and settings can tell, in the order of the interface.
FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")
#: Probabilities stay this far from certainty.
UNCERTAINTY = 0.005


@dataclass(frozen=True, slots=True)
class Curve:
    """What one feature contributes.

    Attributes:
        knots: values of the feature.
        values: contribution at each knot, straight between them.
        missing: contribution where the feature is not known.
    """

    knots: tuple[float, ...]
    values: tuple[float, ...]
    missing: float

    def at(self, feature: float) -> float:
        """Contribution of a value, level outside the knots."""
        if not math.isfinite(feature):
            return self.missing
        return float(np.interp(feature, self.knots, self.values))


@dataclass(frozen=True, slots=True)
class Sum:
    """A constant and curves by name of the feature."""

    constant: float
    curves: Mapping[str, Curve]

    def parts(self, features: Mapping[str, float]) -> dict[str, float]:
        """What each feature contributes."""
        return {name: curve.at(features.get(name, math.nan)) for name, curve in self.curves.items()}

    def total(self, features: Mapping[str, float]) -> float:
        """The sum."""
        return self.constant + sum(self.parts(features).values())


@dataclass(frozen=True, slots=True)
class FaultModel:
    """The fitted model.

    Attributes:
        version: of the fit.
        how_trained: on what, in words.
        log_odds: by fault [log-odds].
        exposure_error: too bright is positive [stops].
    """

    version: int
    how_trained: str
    log_odds: Mapping[str, Sum]
    exposure_error: Sum

    def probabilities(self, features: Mapping[str, float]) -> dict[str, float]:
        """Probability of each fault; several may be true.

        Args:
            features: by name, NaN where not known.

        Returns:
            Probabilities in [0.005, 0.995].

        Source: generalised additive models, Hastie and Tibshirani 1990.
        """
        return {fault: _probability(log_odds.total(features)) for fault, log_odds in self.log_odds.items()}


def _probability(log_odds: float) -> float:
    probability = 1 / (1 + math.exp(-min(max(log_odds, -30.0), 30.0)))
    return min(max(probability, UNCERTAINTY), 1 - UNCERTAINTY)


@lru_cache(maxsize=1)
def shipped_model() -> FaultModel:
    """The model that comes with the package."""
    text = resources.files("analytics.pixels").joinpath("model.json").read_text(encoding="utf-8")
    return parsed_model(json.loads(text))


def parsed_model(data: Mapping[str, Any]) -> FaultModel:
    """A model from its JSON form.

    Args:
        data: `version`, `how_trained`, `knots` by feature, `faults` and `exposure_error` with `constant`, `curves`,
            `missing`.

    Returns:
        The model.

    Source: the form of `model.json`.
    """
    knots = {name: tuple(map(float, values)) for name, values in data["knots"].items()}
    return FaultModel(
        version=int(data["version"]),
        how_trained=str(data["how_trained"]),
        log_odds={fault: _parsed_sum(data["faults"][fault], knots) for fault in FAULTS},
        exposure_error=_parsed_sum(data["exposure_error"], knots),
    )


def _parsed_sum(data: Mapping[str, Any], knots: Mapping[str, tuple[float, ...]]) -> Sum:
    curves = {
        name: Curve(knots[name], tuple(map(float, values)), float(data["missing"].get(name, 0.0)))
        for name, values in data["curves"].items()
    }
    return Sum(float(data["constant"]), curves)
