"""How likely settings are to end in a kind of frame, above `photographer`.

Settings are drawn freely and kept by this chance: p(settings | kind) grows as p(settings) times the chance.
"""

from __future__ import annotations

import math

from pocketcamera.bodies import ACCEPTABLE_NOISE, HEAVY_NOISE
from pocketcamera.photographer import ISO_10000_STOPS, Settings

#: More noise than this belongs to no frame that anybody keeps [1]. Source: own choice.
MOST_NOISE = 0.36
#: The least noise of a good frame of high ISO [1]. Source: own choice; it shows, and is accepted.
LEAST_NOISE_OF_HIGH_ISO = 0.05
#: Shortest and longest time of any frame [s]. Source: own choice.
TIMES_S = (1 / 4000, 20)
#: Stops beyond one over the focal length at which half of the hands shake, and at which half still hold; and over how
#: many stops that turns. Source: own choice; settings alone tell part of the truth, as they do in the field.
SHAKES, HOLDS = (2.2, 0.3), (0.5, 0.4)
#: log2 of the time [s] at which half of the moving subjects smear, and over how many stops that turns: 1/32 s.
#: Source: own choice.
SMEARS = (-5.0, 0.4)
#: Share of subjects that would move too much at long times, log2 of the time [s] where that begins, and its width.
#: Source: own choice.
TOO_SLOW = (0.85, -5.8, 0.6)
#: Longest time of shake and of subject motion that still looks like one [s]. Source: own choice.
LONGEST_SHAKE_S, LONGEST_MOTION_S = 2.5, 1.5
#: Shortest time of a frame that needs a tripod [s]. Source: own choice.
SHORTEST_ON_TRIPOD_S = 0.2
#: log2 of a measure of how fast sharpness falls with distance at which half of the frames show it, and how steeply a
#: missed focus and a shallow depth turn there. Source: own choice.
SHALLOW_FROM, MISSED_STEEPNESS, SHALLOW_STEEPNESS = 3.5, 2.3, 0.6
#: Low key is rare above the first (EV 5.9 at ISO 100), high key below the second (EV -0.6); autofocus is surer above
#: the third (EV 1.4). Source: own choice.
LOW_KEY_BELOW_EV, HIGH_KEY_ABOVE_EV, DIM_BELOW_EV = (level - ISO_10000_STOPS for level in (12.5, 6.0, 8.0))
#: Good frames and frames with faults of which the subject held still.
STILL_KINDS = frozenset({"good_plain", "good_lowkey", "good_highkey", "good_iso", "good_shallow", "exposure", "noise"})


def turned(value: float) -> float:
    """Logistic curve: 0 far below nought, 1 far above."""
    return 1 / (1 + math.exp(-max(-40, min(40, value))))


def chance(settings: Settings, kind: str, faults: frozenset[str]) -> float:
    """Chance that these settings end in this kind with these faults, up to a constant."""
    if not TIMES_S[0] <= settings.exposure_time_s <= TIMES_S[1]:
        return 0.0
    return (
        _of_noise(settings, kind, faults)
        * _of_hand(settings, kind, faults)
        * _of_motion(settings, kind, faults)
        * _of_light(settings, kind)
        * _of_depth(settings, kind, faults)
    )


def _of_noise(settings: Settings, kind: str, faults: frozenset[str]) -> float:
    """Noise is a matter of ISO alone: 0 or 1."""
    noise = settings.body.relative_noise(settings.iso)
    if "noise" in faults:
        return float(HEAVY_NOISE <= noise <= MOST_NOISE)
    return float(noise <= ACCEPTABLE_NOISE and (kind != "good_iso" or noise >= LEAST_NOISE_OF_HIGH_ISO))


def _of_hand(settings: Settings, kind: str, faults: frozenset[str]) -> float:
    """Hands shake at times long for the focal length; nobody pans with a short lens, and a tripod is for long times."""
    stops = settings.stops_beyond_rule
    if kind == "good_tripod" and settings.exposure_time_s < SHORTEST_ON_TRIPOD_S:
        return 0.0
    if "shake" in faults:
        is_possible = not settings.is_on_tripod and settings.exposure_time_s <= LONGEST_SHAKE_S
        return turned((stops - SHAKES[0]) / SHAKES[1]) if is_possible else 0.0
    if settings.is_on_tripod:
        return 1.0
    if kind == "good_pan":
        return 0.25 if settings.focal_length_35mm < 45 else 1.0
    return turned(-(stops - HOLDS[0]) / HOLDS[1])


def _of_motion(settings: Settings, kind: str, faults: frozenset[str]) -> float:
    """Subjects smear at long times, so a good frame of anything alive has a short one."""
    log_time = math.log2(settings.exposure_time_s)
    if "subject_motion" in faults:
        too_long = 0.1 if settings.exposure_time_s > LONGEST_MOTION_S else 1.0
        return turned((log_time - SMEARS[0]) / SMEARS[1]) * too_long
    if kind in STILL_KINDS:
        share, begins, width = TOO_SLOW
        return 1 - share * turned((log_time - begins) / width)
    return 1.0


def _of_light(settings: Settings, kind: str) -> float:
    """Low key is mostly made where there is little light, high key where there is much."""
    if kind == "good_lowkey":
        return 0.35 if settings.light_ev > LOW_KEY_BELOW_EV else 1.0
    if kind == "good_highkey":
        return 0.4 if settings.light_ev < HIGH_KEY_ABOVE_EV else 1.0
    return 1.0


def _of_depth(settings: Settings, kind: str, faults: frozenset[str]) -> float:
    """Focus is missed, and depth is shallow, with long and wide lenses on large sensors; autofocus hunts in dim
    light.
    """
    if "focus" not in faults and kind != "good_shallow":
        return 1.0
    body = settings.body
    result = 0.3 if kind in ("missed_focus", "good_shallow") and body.is_aperture_fixed else 1.0
    fall = math.log2(settings.focal_length_35mm**1.2 / settings.f_number / body.crop_factor) - SHALLOW_FROM
    if "focus" not in faults:
        return result * turned(SHALLOW_STEEPNESS * fall)
    return result * turned(MISSED_STEEPNESS * fall) * (1.0 if settings.light_ev < DIM_BELOW_EV else 0.7)
