"""What hands and subjects can have done in the exposure time, beside what the picture shows of it.

A short time rules smears out, and a long one alone makes none: where both speak for one, it is more likely so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from analytics.pixels.settings import Settings
from analytics.pixels.spread import octaves

#: The lens that is supposed where no focal length is known: with any, a very short time rules shake out [mm].
ORDINARY_LENS_MM = 70.0
#: How far hands smear edges at the 1/focal-length rule in a picture of 2000 px [px, standard deviation], and the stops
#: below it that are reckoned with at most. Source: a smear of 2.1 px, the circle of confusion of 0.03 mm on 36 mm.
SMEAR_AT_RULE, MOST_STOPS = 0.6, 15.0
#: What stabilisation is worth [stops], and what is supposed of it where nobody wrote it down [1].
#: Source: own choice; two of five frames of the first generator are steadied.
STEADIED_STOPS, LIKELY_STEADIED = 2.0, 0.4
#: Times around which subjects, and what is soft without moving, begin and cease to be likely [stops from 1 s].
MOVING_FROM, STILL_UP_TO = -7.0, -8.0


def timed_features(features: Mapping[str, float], settings: Settings, tolerance: float) -> dict[str, float]:
    """What the model looks at.

    Args:
        features: of sharpness and settings, by name, NaN where not known.
        settings: of the camera.
        tolerance: of the picture's size [1].

    Returns:
        How far smears that are seen keep within what hands can have done, the lesser of the two [octaves], and what
        seems smeared or moved, weighed by how likely it is in the time; NaN where the picture does not tell.

    Source: own choice; minimum as "and", Zadeh 1965.
    """
    below, time = _stops_below(settings), features["time"]
    can_move, can_shake = _gate(time, MOVING_FROM), _gate(below, 0.0)
    # a smear grows with the size of the picture, and what is tolerated of it with the root of the size
    possible = octaves(SMEAR_AT_RULE * 2 ** min(below, MOST_STOPS) * tolerance)
    return {
        # smears that hands and subjects can have made in this time bound what may be called one
        "shake_room": below - features["whole_along"],
        "shake_by_both": _lesser(possible, features["whole_along"]),
        "shake_by_most": _lesser(possible, features["along_sharp"]),
        "shake_directed": features["whole_directed"] * can_shake,
        "sweep_of_all": features["detail_directed"] * can_shake,
        "subject_in_time": features["subject_along_apart"] * can_move,
        "streak_in_time": features["streaked_apart"] * can_move,
        "motion_directed": features["streaked_directed"] * can_move,
        "sweep_in_time": features["swept_apart"] * can_move,
        "moved_in_time": features["moved_sureness"] * can_move,
        "wider_in_time": features["moved_wider"] * can_move,
        "soft_unmoved": features["soft_softer"] * (1 - _gate(time, STILL_UP_TO)),
    }


def _stops_below(settings: Settings) -> float:
    """Stops below the 1/focal-length rule, less what stabilisation is worth; NaN where no time is known."""
    below = settings.likely_stops_below_rule
    if math.isnan(below) and math.isfinite(settings.exposure_time_s):
        below = math.log2(settings.exposure_time_s * ORDINARY_LENS_MM)
    steadied = settings.is_steadied if math.isfinite(settings.is_steadied) else LIKELY_STEADIED
    return below - STEADIED_STOPS * steadied


def _lesser(one: float, other: float) -> float:
    """The lesser of two; NaN where one is not known."""
    return min(one, other) if math.isfinite(one + other) else math.nan


def _gate(value: float, middle: float) -> float:
    """0 well below the middle, 1 well above; 0.5 where nothing is known."""
    return 1 / (1 + math.exp(-1.5 * (value - middle))) if math.isfinite(value) else 0.5
