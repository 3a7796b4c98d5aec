"""What a frame is to be and how it came about: kind, faults with their sizes, settings, exposure error, Exif.

Above `photographer` and `outcomes`; knows no picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pocketcamera.bodies import ACCEPTABLE_NOISE, HEAVY_NOISE, Body
from pocketcamera.outcomes import HOLDS, chance
from pocketcamera.photographer import ISO_10000_STOPS, Settings, choose_settings, in_thirds

FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")
#: Kinds of frames: how often each is made, and the faults that it has. Source: own choice; half are good.
KINDS: dict[str, tuple[float, tuple[str, ...]]] = {
    "good_plain": (0.185, ()),
    "good_shallow": (0.09, ()),
    "good_pan": (0.05, ()),
    "good_lowkey": (0.05, ()),
    "good_highkey": (0.045, ()),
    "good_tripod": (0.04, ()),
    "good_iso": (0.04, ()),
    "exposure": (0.12, ("exposure",)),
    "focus": (0.07, ("focus",)),
    "missed_focus": (0.065, ("focus",)),
    "shake": (0.095, ("shake",)),
    "subject_motion": (0.095, ("subject_motion",)),
    "noise": (0.055, ("noise",)),
}
#: How often a frame with a fault has a second one, which, and which cannot be told beside the first.
#: Source: own choice.
SECOND_SHARE = 0.12
SECOND_SHARES = {"exposure": 0.35, "noise": 0.25, "shake": 0.18, "focus": 0.12, "subject_motion": 0.10}
NOT_BESIDE = {"missed_focus": "subject_motion", "subject_motion": "focus", "focus": "subject_motion"}
#: Exposure error of a frame that is exposed rightly: its spread and its limit [stops]. Source: own choice.
RIGHT_SPREAD_STOPS, RIGHT_LIMIT_STOPS = 0.16, 0.34
#: Exposure error that is a fault, least and most [stops]; share of frames that are too bright. Source: own choice.
WRONG_STOPS, OVEREXPOSED_SHARE = (1.3, 3.3), 0.48
#: What an exposure error came from: settings made by hand; a compensation left on; else a meter that was misled.
#: Source: own choice.
BY_HAND_SHARE, LEFT_ON_SHARE, PHONE_AUTOMATIC_SHARE = 0.34, 0.43, 0.8
#: Spread of the meter's brightness around the truth: of scenes, of cameras [stops]. Source: own choice.
SCENE_SPREAD_STOPS, CAMERA_SPREAD_STOPS = 0.5, 0.25
#: How unusual a scene is to the meter, by kind, and how unusual any scene may be [1]. Source: own choice.
UNUSUAL = {"good_lowkey": 1.0, "good_highkey": 1.0, "good_tripod": 0.4}
UNUSUAL_SHARE, UNUSUAL_OF_ANY = 0.15, 0.6
#: How much brighter the meter takes an unusual scene to be: spread, and mean by kind [stops]. Source: own choice.
UNUSUAL_SPREAD_STOPS, UNUSUAL_MEAN_STOPS = 0.7, {"good_lowkey": -0.6, "good_highkey": 0.6}
#: BrightnessValue is the exposure value at ISO 100 less this. Source: Exif 2.32, annex C (APEX).
APEX_STOPS = 5
#: Sizes of blurs that are faults, least and most [px]. Source: own choice; good frames stay below 1.2 px.
SHAKE_PX, FOCUS_PX, MOTION_PX, LEAST_MISSED_FOCUS_PX = (3.5, 14.0), (3.5, 14.0), (7.0, 20.0), 5.0
#: Shortest and longest time that a wrong setting ends at [s].
TIMES_S = (1 / 8000, 30)
#: Flash tags: off, none there, fired and set to fire. Source: Exif 2.32, tag Flash.
FLASH_OFF, NO_FLASH, FLASH_FIRED = 16, 0, 9
#: A flash is fired below this light (EV 2.4 at ISO 100), at times longer than this [s], this often.
#: Source: own choice.
FLASH_BELOW_EV, FLASH_FROM_S, FLASH_SHARE = 9 - ISO_10000_STOPS, 1 / 250, 0.04
#: Share of frames whose lens is named, and share of any other tag that is missing. Source: own choice.
LENS_NAMED_SHARE, MISSING_SHARE = 0.85, 0.02
#: Tags that every frame has.
ALWAYS_WRITTEN = ("ExposureTime", "ISO")
#: Settings drawn before a story is given up.
MOST_DRAWS = 20000


@dataclass(frozen=True)
class Story:
    """How a frame came about."""

    kind: str
    settings: Settings  # as the camera had them
    stops_beyond_rule: float  # of the settings as they were meant
    ev: float  # exposure error [stops], positive where too bright
    sizes: dict[str, float]  # of each fault: stops for exposure and noise, px for blurs
    exif: dict[str, Any]

    @property
    def faults(self) -> frozenset[str]:
        """The faults that have a size."""
        return frozenset(self.sizes)


def draw_kind(rng: np.random.Generator) -> tuple[str, str | None]:
    """A kind, and the second fault that it has, mostly none."""
    kinds = list(KINDS)
    shares = np.array([KINDS[kind][0] for kind in kinds])
    kind = kinds[int(rng.choice(len(kinds), p=shares / shares.sum()))]
    if kind.startswith("good") or rng.random() >= SECOND_SHARE:
        return kind, None
    excluded = {*KINDS[kind][1], NOT_BESIDE.get(kind)}
    others = [fault for fault in SECOND_SHARES if fault not in excluded]
    other_shares = np.array([SECOND_SHARES[fault] for fault in others])
    return kind, others[int(rng.choice(len(others), p=other_shares / other_shares.sum()))]


def draw_story(rng: np.random.Generator, kind: str, second: str | None = None) -> Story:
    """A story of this kind, with a second fault where one is named.

    Raises:
        RuntimeError: No camera and light end in it.
    """
    faults = frozenset(KINDS[kind][1]) | ({second} if second else frozenset())
    while True:
        meant = _likely_settings(rng, kind, faults)
        ev = float(np.clip(rng.normal(0, RIGHT_SPREAD_STOPS), -RIGHT_LIMIT_STOPS, RIGHT_LIMIT_STOPS))
        meter_error = _meter_error(kind, rng)
        if "exposure" not in faults:
            taken = replace(meant, exposure_time_s=meant.exposure_time_s * 2**ev)
            break
        wrong = _exposed_wrongly(meant, meter_error, faults, rng)
        if wrong is not None:
            taken, ev, meter_error = wrong
            break
    exif = _written(taken, meter_error, rng)
    sizes = _sizes(kind, faults, taken, meant.stops_beyond_rule, ev, rng)
    return Story(kind, taken, meant.stops_beyond_rule, float(ev), sizes, exif)


def _likely_settings(rng: np.random.Generator, kind: str, faults: frozenset[str]) -> Settings:
    """Settings drawn until some are likely to end in this kind."""
    for _ in range(MOST_DRAWS):
        settings = choose_settings(kind, rng)
        if settings is not None and rng.random() < chance(settings, kind, faults):
            return settings
    raise RuntimeError(f"No settings end in {kind} with {sorted(faults)}.")


def _meter_error(kind: str, rng: np.random.Generator) -> float:
    """How much brighter than it is the meter takes the scene to be [stops]."""
    error = rng.normal(0, SCENE_SPREAD_STOPS) + rng.normal(0, CAMERA_SPREAD_STOPS)
    unusual = UNUSUAL.get(kind, 0.0)
    if rng.random() < UNUSUAL_SHARE:
        unusual = max(unusual, UNUSUAL_OF_ANY)
    return float(error + unusual * (rng.normal(0, UNUSUAL_SPREAD_STOPS) + UNUSUAL_MEAN_STOPS.get(kind, 0.0)))


def _exposed_wrongly(
    meant: Settings, meter_error: float, faults: frozenset[str], rng: np.random.Generator
) -> tuple[Settings, float, float] | None:
    """Settings that expose too much or too little, their error and the meter's [stops]; None where the hand would
    shake too, or the time ends before the error is one.
    """
    body = meant.body
    ev = rng.uniform(*WRONG_STOPS)
    ev = ev if rng.random() < OVEREXPOSED_SHARE else -ev
    changed = "time"
    if rng.random() < BY_HAND_SHARE and not (body.is_aperture_fixed and rng.random() < PHONE_AUTOMATIC_SHARE):
        meant = replace(meant, is_manual=True)
        changed = str(rng.choice(["time", "iso", "aperture"], p=[0.7, 0.2, 0.1]))
    elif rng.random() >= LEFT_ON_SHARE:
        meter_error = -ev * rng.uniform(0.75, 1.05) + rng.normal(0, SCENE_SPREAD_STOPS * 0.7)
    iso = in_thirds(meant.iso * 2**ev, 100.0)
    if changed == "iso" and _keeps_noise(body, iso, "noise" in faults):
        return replace(meant, iso=iso), math.log2(iso / meant.iso), meter_error
    f_number = meant.f_number * 2 ** (-ev / 2)
    is_on_lens = not body.is_aperture_fixed and body.widest_f_number[0] <= f_number <= body.narrowest_f_number
    if changed == "aperture" and is_on_lens:
        return replace(meant, f_number=round(f_number, 1)), ev, meter_error
    time = float(np.clip(meant.exposure_time_s * 2**ev, *TIMES_S))
    would_shake = meant.stops_beyond_rule + ev > HOLDS[0] + 0.6 and not meant.is_on_tripod
    ev = math.log2(time / meant.exposure_time_s)
    if (would_shake and "shake" not in faults) or abs(ev) < WRONG_STOPS[0]:
        return None
    return replace(meant, exposure_time_s=time), ev, meter_error


def _keeps_noise(body: Body, iso: float, is_noisy: bool) -> bool:
    """Whether the body has this ISO, and noise stays what it is to be."""
    if not body.base_iso * 0.99 <= iso <= body.highest_iso:
        return False
    noise = body.relative_noise(iso)
    return noise >= HEAVY_NOISE if is_noisy else noise <= ACCEPTABLE_NOISE


def _written(taken: Settings, meter_error: float, rng: np.random.Generator) -> dict[str, Any]:
    """What the camera writes down, some of it missing as it is in the field."""
    body, time = taken.body, taken.exposure_time_s
    exif: dict[str, Any] = {
        "ExposureTime": 1 / round(1 / time) if time < 0.3 else round(time, 1),
        "FNumber": round(taken.f_number, 1),
        "ISO": int(round(taken.iso, -1 if taken.iso < 1000 else -2)),
        "FocalLength": round(taken.focal_length_35mm / body.crop_factor, 1),
        "ExposureMode": int(taken.is_manual),
        "Model": body.model,
        "Flash": int(rng.choice([FLASH_OFF, NO_FLASH], p=[0.7, 0.3])),
    }
    has_flash = not body.is_aperture_fixed and taken.light_ev < FLASH_BELOW_EV and time > FLASH_FROM_S
    if has_flash and rng.random() < FLASH_SHARE:
        exif["Flash"] = FLASH_FIRED
    if body.writes_focal_35mm:
        exif["FocalLengthIn35mmFilm"] = round(taken.focal_length_35mm)
    if body.writes_brightness:
        exif["BrightnessValue"] = round(taken.light_ev - APEX_STOPS + meter_error, 2)
    if rng.random() < LENS_NAMED_SHARE:
        exif["LensModel"] = body.lens_model
    if body.writes_stabilisation:
        exif["ImageStabilization"] = "On" if taken.is_stabilised else "Off"
    missing = {tag for tag in exif if rng.random() < MISSING_SHARE and tag not in ALWAYS_WRITTEN}
    return {tag: value for tag, value in exif.items() if tag not in missing}


def _sizes(
    kind: str, faults: frozenset[str], taken: Settings, stops_beyond_rule: float, ev: float, rng: np.random.Generator
) -> dict[str, float]:
    """Size of each fault: stops of exposure error, stops of ISO beyond acceptable noise, px of blur."""
    sizes: dict[str, float] = {}
    if "exposure" in faults:
        sizes["exposure"] = round(abs(ev), 2)
    if "shake" in faults:
        longer = 0.15 * max(0, stops_beyond_rule - 2.5)
        sizes["shake"] = float(np.clip(SHAKE_PX[0] * 2 ** (rng.uniform(0, 1.6) + longer), *SHAKE_PX))
    if "focus" in faults:
        least = LEAST_MISSED_FOCUS_PX if kind == "missed_focus" else FOCUS_PX[0]
        sizes["focus"] = math.exp(rng.uniform(math.log(least), math.log(FOCUS_PX[1])))
    if "subject_motion" in faults:
        sizes["subject_motion"] = math.exp(rng.uniform(math.log(MOTION_PX[0]), math.log(MOTION_PX[1])))
    if "noise" in faults:
        sizes["noise"] = round(math.log2(taken.iso / taken.body.highest_clean_iso()), 2)
    return sizes
