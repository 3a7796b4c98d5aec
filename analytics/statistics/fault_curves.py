"""How often each fault comes, by the setting that drives it: one curve per fault, light held equal.

Each curve is a base rate, a lapse rate and a cumulative normal of a few columns: the dose in stops, the kinds of
support, pace or body that shift it, and the light. Slopes have no informative prior, so that a photographer whom a
setting does not harm shows no harm. The same columns with other settings say what those settings would have given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit, logit, ndtr

from analytics.statistics.engine import EDGE, Fit, fit
from analytics.statistics.limits import BASE_RATE, BASE_RATE_SD, LAPSE_RATE
from journal.optics.focus import CIRCLE_OF_CONFUSION_35MM, focus_limits_m

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from analytics.statistics.cells import Cells, Words
    from analytics.statistics.engine import Curve, Floats

    Booleans = NDArray[np.bool_]
    #: Cells -> (rows that the curve speaks about (m,), design (m, P)).
    Design = Callable[[Cells], tuple[Booleans, Floats]]

#: Prior of the columns: nothing is known about slopes [probits per stop].
SLOPE_SD = 3.0
INTERCEPT, INTERCEPT_SD = -1.3, 1.5
#: A subject is this many stops deeper or thinner than the depth of field at most; beyond it nothing changes.
DEEPEST = 4.0
#: Where the curve of the exposure error may bend [stops], and how far it reaches.
BENDS, FARTHEST_ERROR = (-1.0, -0.5, 0.0, 0.5, 1.0, 1.5), 4.0
_PACES = ("slow", "walking", "running", "fast")


@dataclass(frozen=True, slots=True)
class FaultCurve:
    """A fitted curve of one fault."""

    fault: str
    design: Design
    fitted: Fit

    def chance(self, cells: Cells) -> tuple[Floats, Floats]:
        """(chance of the fault by cell (m,), its gradient (m, P)); 0 where the curve does not speak."""
        speaks, columns = self.design(cells)
        p, gradient = _capped(columns)(self.fitted.theta)
        return np.where(speaks, p, 0.0), gradient * speaks[:, None]


def fit_fault_curves(cells: Cells) -> dict[str, FaultCurve]:
    """The curves of all faults that settings can cure."""
    return {fault: fit_fault_curve(cells, fault) for fault in DESIGNS}


def fit_fault_curve(cells: Cells, fault: str) -> FaultCurve:
    """The curve of one fault, fitted to the frames in which it is not hidden."""
    design = DESIGNS[fault]
    speaks, columns = design(cells)
    n, y = cells.seen(fault)
    rows = speaks & (n > 0)
    mean, sd = np.zeros(columns.shape[1] + 1), np.full(columns.shape[1] + 1, SLOPE_SD)
    mean[:2], sd[:2] = (logit(BASE_RATE), INTERCEPT), (BASE_RATE_SD, INTERCEPT_SD)
    fitted = fit(_capped(columns[rows]), (n[rows], y[rows]), cells.session[rows], (mean, sd))
    return FaultCurve(fault, design, fitted)


def _capped(columns: Floats) -> Curve:
    """Chance g + (1 - g - lapse) Φ(X β); the first parameter is the logit of g."""

    def curve(theta: Floats) -> tuple[Floats, Floats]:
        base = expit(theta[0])
        eta = columns @ theta[1:]
        room = max(1 - LAPSE_RATE - base, 0.0)
        risen = ndtr(eta)
        gradient = np.empty((len(eta), len(theta)))
        gradient[:, 0] = (1 - risen) * base * (1 - base)
        gradient[:, 1:] = columns * (room * np.exp(-(eta**2) / 2) / np.sqrt(2 * np.pi))[:, None]
        return np.clip(base + room * risen, EDGE, 1 - EDGE), gradient

    return curve


def survival(cells: Cells, curves: dict[str, FaultCurve]) -> Floats:
    """Chance that settings spoil a frame in no way, by cell (m,)."""
    spared = np.ones(len(cells.session))
    for curve in curves.values():
        spared *= 1 - curve.chance(cells)[0]
    return spared


def changed(cells: Cells, time: float = 0.0, aperture: float = 0.0, iso: float = 0.0) -> Cells:
    """The same cells with other settings [stops]: a longer time, a smaller aperture, a higher ISO are positive."""
    return replace(
        cells,
        time_stops=cells.time_stops + time,
        aperture_stops=cells.aperture_stops + aperture,
        iso_stops=cells.iso_stops + iso,
    )


def thinness_stops(cells: Cells) -> Floats:
    """How much deeper the subject is than the depth of field, log2(depth / depth of field), NaN where unknown [stops].

    Depth of field on 36 x 24 mm with a circle of confusion of 0.03 mm.
    """
    focal, distance = 2**cells.focal_stops, 2**cells.distance_stops
    depth = np.full(len(focal), np.nan)
    known = np.isfinite(cells.aperture_stops + focal + distance + cells.depth_stops) & (distance > focal / 1000)
    near, far = focus_limits_m(
        focal[known], 2 ** (cells.aperture_stops[known] / 2), distance[known], CIRCLE_OF_CONFUSION_35MM
    )
    depth[known] = cells.depth_stops[known] - np.log2(far - near)
    return np.asarray(np.clip(depth, -DEEPEST, DEEPEST), dtype=np.float64)


def _light(cells: Cells) -> Floats:
    return np.nan_to_num((cells.ev100 - 8) / 3)


def _is(words: Words, *names: str) -> Floats:
    return words.where(*names).astype(np.float64)


def _shake(cells: Cells) -> tuple[Booleans, Floats]:
    dose = cells.stops_below_rule
    speaks = np.isfinite(dose) & ~cells.support.where("tripod") & ~(cells.used_flash == 1)
    columns = [np.ones(len(dose)), dose, np.nan_to_num(cells.is_stabilised), _light(cells)]
    columns += [_is(cells.support, name) for name in ("monopod", "braced")]
    return speaks, np.nan_to_num(np.stack(columns, axis=1))


def _motion(cells: Cells) -> tuple[Booleans, Floats]:
    dose = cells.time_stops + 6
    speaks = np.isfinite(dose) & (cells.subject_pace.codes >= 0) & ~(cells.used_flash == 1)
    columns = [np.ones(len(dose)), dose, _light(cells), *(_is(cells.subject_pace, pace) for pace in _PACES)]
    return speaks, np.nan_to_num(np.stack(columns, axis=1))


def _noise(cells: Cells) -> tuple[Booleans, Floats]:
    under = np.where(cells.used_flash == 1, 0.0, np.nan_to_num(np.maximum(-cells.exposure_error_stops, 0)))
    dose = cells.iso_stops + under - 5
    columns = [np.ones(len(dose)), dose, _light(cells)]
    columns += [(cells.body.codes == code).astype(np.float64) for code in range(1, len(cells.body.names))]
    return np.isfinite(dose), np.nan_to_num(np.stack(columns, axis=1))


def _focus(cells: Cells) -> tuple[Booleans, Floats]:
    thin = thinness_stops(cells)
    unknown = ~np.isfinite(thin)
    columns = [np.ones(len(thin)), np.nan_to_num(thin), _light(cells), unknown.astype(np.float64)]
    columns += [unknown * (cells.aperture_stops - 5), _is(cells.subject_pace, "walking", "running", "fast")]
    columns += [_is(cells.subject_pace, "running", "fast")]
    return np.isfinite(cells.aperture_stops), np.nan_to_num(np.stack(columns, axis=1))


def _exposure(cells: Cells) -> tuple[Booleans, Floats]:
    error = np.clip(cells.exposure_error_stops, -FARTHEST_ERROR, FARTHEST_ERROR)
    bent = [error, *(np.maximum(error - bend, 0) for bend in BENDS)]
    columns = [np.ones(len(error)), _light(cells), *bent]
    for flag in (np.nan_to_num(cells.is_backlit), np.nan_to_num(cells.used_flash)):
        columns += [flag, *(flag * part for part in bent)]
    for code in range(len(cells.light_kind.names)):
        kind = (cells.light_kind.codes == code).astype(np.float64)
        columns += [kind, kind * error]
    return np.isfinite(error), np.nan_to_num(np.stack(columns, axis=1))


#: How each fault's columns are made.
DESIGNS: dict[str, Design] = {
    "exposure": _exposure,
    "focus": _focus,
    "shake": _shake,
    "motion": _motion,
    "noise": _noise,
}
