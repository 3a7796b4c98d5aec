"""A photographer with a camera in some light: which settings he chooses, and what his hand and the subject then do.

Nothing here knows of faults. Settings follow from light, lens and habit; blur follows from the settings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldcamera.lens import FULL_FRAME_WIDTH_MM, blur_disc_mm
from fieldcamera.sensor import CAMERAS, Camera

#: Mean and spread of the exposure value at ISO 100 by light. Source: the usual tables (sun 15, overcast 12, rooms 5
#: to 7, after sunset 3 to 8).
LIGHT_EV = {"day": (13.6, 1.2), "shade": (11.2, 1.4), "indoor": (6.8, 1.4), "dusk": (6.3, 2.0)}

APERTURES = (
    1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0,
    16.0, 18.0, 20.0, 22.0,
)  # fmt: skip
_TIMES_UNDER = (
    8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160, 125, 100,
    80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3,
)  # fmt: skip
TIMES_S = (
    *(1 / d for d in _TIMES_UNDER),
    0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0, 20.0, 25.0, 30.0,
)  # fmt: skip
SENSITIVITIES = tuple(
    v * 10**p for p in (1, 2, 3, 4) for v in (10, 12.5, 16, 20, 25, 32, 40, 50, 64, 80) if 64 <= v * 10**p <= 51200
)


@dataclass(frozen=True)
class Settings:
    """What the camera was set to."""

    camera: Camera
    focal_length_35mm: float
    f_number: float
    exposure_time_s: float
    iso: float
    is_stabilised: bool
    is_on_tripod: bool
    is_manual: bool
    uses_flash: bool

    @property
    def focal_length_mm(self) -> float:
        """Focal length [mm]."""
        return self.focal_length_35mm / self.camera.crop_factor

    @property
    def exposure_value_100(self) -> float:
        """EV at ISO 100: log2(N² / t) - log2(ISO / 100)."""
        return math.log2(self.f_number**2 / self.exposure_time_s) - math.log2(self.iso / 100)

    @property
    def stops_below_rule(self) -> float:
        """log2(t f), f for 35 mm film: 0 at one over the focal length, positive where a hand is likely to show."""
        return math.log2(self.exposure_time_s * self.focal_length_35mm)


#: Share of subjects that hold still.
STILL_SUBJECT_SHARE = 0.3


def nearest(value: float, steps: tuple[float, ...]) -> float:
    """The step nearest to a value, by ratio."""
    return min(steps, key=lambda step: abs(math.log2(step / value)))


def choose_settings(light: str, kind: str, rng: np.random.Generator) -> Settings:
    """Settings as a photographer might choose them.

    Args:
        light: day, shade, indoor or dusk.
        kind: plain, low_key, high_key, shallow, panning or tripod: what the frame is meant to be.
        rng: Draws light, camera, habits.
    """
    camera = CAMERAS[int(rng.integers(len(CAMERAS)))]
    if kind == "shallow" and camera.widest_f_number > 2.8 and rng.random() < 0.7:
        camera = CAMERAS[int(rng.choice([1, 3, 6, 8, 9]))]
    ev = rng.normal(*LIGHT_EV[light])
    focal = math.exp(rng.uniform(math.log(camera.shortest_35mm), math.log(camera.longest_35mm)))
    if kind == "panning":
        focal = max(focal, min(camera.longest_35mm, rng.uniform(50, 150)))
    uses_flash = light == "indoor" and kind in ("plain", "high_key") and rng.random() < 0.15
    if kind == "tripod":
        return tripod_settings(camera, focal, ev, rng)
    bright = float(np.clip((ev - 5) / 6, 0.0, 1.0))
    stopped_down = (
        rng.uniform(0.0, 0.7) if kind == "shallow" else rng.uniform(0.0, 1.2) + bright * rng.uniform(0.0, 3.2)
    )
    f_number = min(16.0, camera.widest_f_number * 2 ** (stopped_down / 2))
    is_stabilised = camera.stabilisation_stops > 0 and rng.random() < 0.9
    slower = rng.uniform(0.0, 0.5) * camera.stabilisation_stops if is_stabilised else 0.0
    time = 2 ** (rng.normal(-1.0, 1.1) + slower) / focal
    if kind == "panning":
        time = 2 ** rng.uniform(-6.5, -3.5)
    if uses_flash:
        time, ev = 1 / rng.choice([60, 125, 200]), ev + rng.uniform(1.0, 3.0)
    iso = 100 * 2 ** (math.log2(f_number**2 / time) - ev)
    cap = min(camera.highest_iso, 2 ** rng.normal(12.2, 1.3))  # the highest this photographer likes
    if iso < camera.base_iso:
        time *= iso / camera.base_iso
        iso = camera.base_iso
        if time < 1 / 2000:
            f_number, time = f_number * 1.6, time * 2.56
    if kind == "panning" and time < 2**-6.5:
        f_number, time = min(22.0, f_number * math.sqrt(2**-6.5 / time)), 2**-6.5
    elif iso > cap:
        time *= iso / cap
        iso = cap
    focal = float(np.clip(round(focal), camera.shortest_35mm, camera.longest_35mm))
    return Settings(
        camera,
        focal,
        nearest(f_number, APERTURES),
        nearest(time, TIMES_S),
        nearest(iso, SENSITIVITIES),
        is_stabilised,
        is_on_tripod=False,
        is_manual=bool(rng.random() < 0.4),
        uses_flash=uses_flash,
    )


def tripod_settings(camera: Camera, focal: float, ev: float, rng: np.random.Generator) -> Settings:
    """Stopped down, base ISO, the time that remains; stabiliser mostly off."""
    f_number = nearest(rng.uniform(7.0, 14.0), APERTURES)
    iso = nearest(camera.base_iso * rng.choice([1, 1, 1, 2, 4]), SENSITIVITIES)
    time = float(np.clip(f_number**2 / 2 ** (ev + math.log2(iso / 100)), 1 / 100, 30.0))
    time = max(time, 2 ** rng.uniform(1.0, 3.0) / focal)  # a grey filter where it is bright
    return Settings(
        camera,
        float(round(focal)),
        f_number,
        nearest(time, TIMES_S),
        iso,
        is_stabilised=bool(rng.random() < 0.2),
        is_on_tripod=True,
        is_manual=bool(rng.random() < 0.7),
        uses_flash=False,
    )


def shake_px(settings: Settings, long_side_px: int, rng: np.random.Generator) -> float:
    """Extent of the path that a hand draws [px]: about 0.025 mm at one over the focal length, in proportion to time.

    0.025 mm is near the usual circle of confusion (0.03 mm), which is what the rule of one over the focal length
    stands for. People and moments differ by a factor of 1.6 (one sigma); a stabiliser takes away most of what it
    promises.
    """
    if settings.is_on_tripod:
        return float(rng.uniform(0.0, 0.6))
    at_rule = 0.025 * math.exp(rng.normal(0.0, 0.45)) / FULL_FRAME_WIDTH_MM * long_side_px
    held = settings.camera.stabilisation_stops * rng.uniform(0.6, 0.95) if settings.is_stabilised else 0.0
    effective_s = min(settings.exposure_time_s, 0.004) if settings.uses_flash else settings.exposure_time_s
    extent = at_rule * 2 ** (math.log2(effective_s * settings.focal_length_35mm) - held)
    return max(extent, float(rng.uniform(0.1, 0.5)))


def motion_px(settings: Settings, long_side_px: int, rng: np.random.Generator) -> float:
    """Length that a moving subject draws [px]: its pace across the frame times the time; many subjects hold still.

    Pace: median a seventh of the frame a second (a walker who fills a third of it), a factor of 2 about it.
    """
    if rng.random() < STILL_SUBJECT_SHARE:
        return float(rng.uniform(0.0, 0.3))
    pace = long_side_px / 7 * math.exp(rng.normal(0.0, 0.7))
    effective_s = min(settings.exposure_time_s, 0.004) if settings.uses_flash else settings.exposure_time_s
    return pace * effective_s


def disc_px(settings: Settings, long_side_px: int, focused_per_m: float, at_per_m: float) -> float:
    """Signed blur disc [px], positive for what is nearer than the focus; see `lens.blur_disc_mm`."""
    disc_mm = blur_disc_mm(settings.focal_length_mm, settings.f_number, focused_per_m, at_per_m)
    width_mm = FULL_FRAME_WIDTH_MM / settings.camera.crop_factor
    return math.copysign(disc_mm / width_mm * long_side_px, at_per_m - focused_per_m)


def noise_share(settings: Settings) -> float:
    """Noise in a green pixel a tenth of the way to clipping, as a share of the signal: 1 / sqrt(electrons)."""
    camera = settings.camera
    return 1 / math.sqrt(0.1 * camera.full_well_e * camera.base_iso / settings.iso)
