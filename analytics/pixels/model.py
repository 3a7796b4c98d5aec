"""The fault model: sums of curves, one per feature, that give log-odds; and one such sum for the exposure error.

A fault can look in more than one way (too bright or too dark; soft all over, or only at the subject): each way has a
sum of its own, and the fault is there when any of them is. Blurs that are easily taken for one another are told against
one another, and a picture that is looked at from further away as well has a blur when either look shows it. Nothing is
hidden: `model.json` holds each curve as its
values at a few knots, straight between them and level outside, so anyone can draw what a feature contributes. It was
fitted on generated frames (`how_trained` says on which); fitting is not done here.
"""

from __future__ import annotations

import json
import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

#: Faults that pixels and settings can tell, in the order of the interface.
FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")
#: The ways in which each fault looks.
LOOKS = {
    "exposure": ("too_bright", "too_dark"),
    "focus": ("soft_all_over", "soft_at_subject"),
    "shake": ("shaken",),
    "subject_motion": ("subject_streaked",),
    "noise": ("noisy",),
}
#: Faults that are looked for from afar too: those of sharpness.
TOLD_FROM_AFAR = ("focus", "shake", "subject_motion")
#: Of them those that are told against one another, and against a shake: what is soft or smeared for one reason is
#: seldom so for another as well. A shake is told by itself, for it may hide the others.
RIVALS = ("focus", "subject_motion")
#: Probabilities stay this far from certainty, and from where on they are held back.
UNCERTAINTY, HELD_BACK_FROM = 0.005, 0.01


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
        if feature <= self.knots[0]:
            return self.values[0]
        after = bisect_right(self.knots, feature)
        if after == len(self.knots):
            return self.values[-1]
        share = (feature - self.knots[after - 1]) / (self.knots[after] - self.knots[after - 1])
        return self.values[after - 1] + share * (self.values[after] - self.values[after - 1])


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
        looks: log-odds of each way in which a fault looks.
        calibration: steepness and shift of each fault's log-odds.
        exposure_error: too bright is positive [stops].
    """

    version: int
    how_trained: str
    looks: Mapping[str, Sum]
    calibration: Mapping[str, tuple[float, float]]
    exposure_error: Sum

    def by_look(self, features: Mapping[str, float]) -> dict[str, float]:
        """Log-odds of each look, before calibration.

        Args:
            features: by name, NaN where not known.

        Returns:
            Log-odds.

        Source: generalised additive models, Hastie and Tibshirani 1990.
        """
        return {look: log_odds.total(features) for look, log_odds in self.looks.items()}

    def by_fault(self, features: Mapping[str, float]) -> dict[str, float]:
        """Log-odds of each fault as one look shows it, before calibration.

        Args:
            features: by name, NaN where not known.

        Returns:
            Log-odds.

        Source: p = 1 − ∏(1 − p of a look); of rivals each is weighed against all others, as in a multinomial model.
        """
        looks = self.by_look(features)
        blurs = {look: looks[look] for fault in TOLD_FROM_AFAR for look in LOOKS[fault]}
        return {
            fault: against(blurs, names) if fault in RIVALS else any_of([looks[name] for name in names])
            for fault, names in LOOKS.items()
        }

    def log_odds(self, near: Mapping[str, float], *from_afar: Mapping[str, float]) -> dict[str, float]:
        """Calibrated log-odds of each fault; several may be true.

        Args:
            near: features by name, NaN where not known.
            from_afar: the same of the picture at smaller sizes, if any.

        Returns:
            Log-odds.

        Source: see `joined`.
        """
        return self.joined([self.by_fault(features) for features in (near, *from_afar)])

    def joined(self, shown: Sequence[Mapping[str, float]]) -> dict[str, float]:
        """Calibrated log-odds of each fault by all looks at a picture.

        Args:
            shown: what `by_fault` says of each look, the near one first.

        Returns:
            Log-odds.

        Source: a blur is there when any look shows it; calibrated as by Platt 1999.
        """
        found = {}
        for fault, (steepness, shift) in self.calibration.items():
            views = shown if fault in TOLD_FROM_AFAR else shown[:1]
            found[fault] = steepness * any_of([view[fault] for view in views]) + shift
        return found

    def probabilities(self, near: Mapping[str, float], *from_afar: Mapping[str, float]) -> dict[str, float]:
        """Probability of each fault; several may be true.

        Args:
            near: features by name, NaN where not known.
            from_afar: the same of the picture at smaller sizes, if any.

        Returns:
            Probabilities in 0.005..0.995; however near to either end, the likelier is always the greater.

        Source: see `log_odds` and `probability_of`.
        """
        return {fault: probability_of(found) for fault, found in self.log_odds(near, *from_afar).items()}


def against(log_odds: Mapping[str, float], names: Sequence[str]) -> float:
    """Log-odds that one of the named things is so, if no more than one of all is.

    Args:
        log_odds: of each, by name, against none of them.
        names: of those that are asked for.

    Returns:
        Log-odds.

    Source: multinomial logistic model.
    """
    others = [0.0, *(each for name, each in log_odds.items() if name not in names)]
    return _sum_of_odds([log_odds[name] for name in names]) - _sum_of_odds(others)


def any_of(log_odds: Sequence[float]) -> float:
    """Log-odds that at least one of several independent things is so.

    Args:
        log_odds: of each.

    Returns:
        Log-odds; of a single thing they are its own.

    Source: p = 1 − ∏(1 − pᵢ), by its logarithm, so that nothing is too near to certainty to be told apart.
    """
    none = sum(max(each, 0.0) + math.log1p(math.exp(-abs(each))) for each in log_odds)
    return none + math.log(-math.expm1(-none))


def probability_of(log_odds: float) -> float:
    """Probability of log-odds, drawn together near certainty, which they never reach, so that their order stays.

    Args:
        log_odds: calibrated.

    Returns:
        Probability in 0.005..0.995.

    Source: p = 1 / (1 + exp(−log-odds)) up to `HELD_BACK_FROM`; beyond it own choice.
    """
    held_back, most = _log_odds(1 - HELD_BACK_FROM), _log_odds(1 - UNCERTAINTY)
    beyond, room = max(abs(log_odds) - held_back, 0.0), most - held_back
    size = min(abs(log_odds), held_back) + beyond / (1 + beyond / room)
    return 1 / (1 + math.exp(-math.copysign(size, log_odds)))


def _sum_of_odds(log_odds: Sequence[float]) -> float:
    most = max(log_odds)
    return most + math.log(sum(math.exp(each - most) for each in log_odds))


def _log_odds(probability: float) -> float:
    return math.log(probability / (1 - probability))


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
        looks={look: _parsed_sum(data["looks"][look], knots) for looks in LOOKS.values() for look in looks},
        calibration={
            fault: (float(data["calibration"][fault][0]), float(data["calibration"][fault][1])) for fault in FAULTS
        },
        exposure_error=_parsed_sum(data["exposure_error"], knots),
    )


def _parsed_sum(data: Mapping[str, Any], knots: Mapping[str, tuple[float, ...]]) -> Sum:
    curves = {
        name: Curve(knots[name], tuple(map(float, values)), float(data["missing"].get(name, 0.0)))
        for name, values in data["curves"].items()
    }
    return Sum(float(data["constant"]), curves)
