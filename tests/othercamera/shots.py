"""Bodies, and settings that belong together: each fault's size follows from them, none is put in beside them.

The sensor's width is the picture's width, so blur in pixels follows from millimetres on the sensor. A pixel holds as
many electrons as a pixel of today's bodies does, so noise per pixel is that of a full-size file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")
#: A blur this long (pixels) is a fault; up to the second it is none; what lies between is not shown.
BLUR_FAULT_PX, BLUR_NONE_PX = 3.0, 1.3
#: Exposure errors in stops: a fault from the first to the second, none up to the third.
EV_FAULT, EV_MOST, EV_NONE = 0.8, 3.0, 0.3
#: Speeds across the frame, m/s.
PACES = {"still": 0.0, "slow": 0.4, "walking": 1.4, "running": 5.0, "fast": 14.0}
#: How far away a subject is, in focal lengths: anything from 0.3 m to a landscape fills the frame, but what walks, runs
#: or drives is at least 1.4 m of it.
SUBJECT_FOCALS = {False: (12, 1500), True: (60, 500)}
#: Share of a hand's unsteadiness that is left on a support.
SUPPORTS = {"hand-held": 1.0, "braced": 0.5, "monopod": 0.35, "tripod": 0.01}
#: Angular speed of steady hands, rad/s: 1/focal length gives a blur of 20 micrometres. The spread is between people.
HANDS_RAD_S, HANDS_SPREAD = 0.02, 0.35
APERTURES = (1.4, 1.8, 2.0, 2.8, 3.5, 4.0, 4.5, 5.6, 6.3, 7.1, 8.0, 9.0, 11.0, 13.0, 16.0)


@dataclass(frozen=True)
class Body:
    """A body: sensor, how it develops, and what it writes down."""

    name: str
    sensor_mm: float
    full_well: float
    read_noise: float
    base_iso: int
    bits: int
    headroom: float
    stabilises: bool
    writes_brightness: bool
    writes_35mm: bool
    reduction: str
    reduction_strength: float
    contrast: float
    saturation: float
    sharpening: tuple[float, float]
    quality: int


BODIES = (
    Body("Body A", 36.0, 62000, 3.2, 100, 14, 1.7, True, True, True, "guided", 1.0, 0.20, 1.10, (0.9, 0.5), 94),
    Body("Body B", 36.0, 90000, 5.5, 100, 14, 1.4, False, False, True, "none", 0.0, 0.05, 1.00, (0.6, 0.3), 97),
    Body("Body C", 23.5, 40000, 2.6, 200, 12, 1.9, False, True, True, "bilateral", 1.2, 0.30, 1.20, (1.1, 0.8), 92),
    Body("Body D", 23.5, 33000, 3.0, 100, 14, 1.5, False, False, False, "guided", 0.7, 0.15, 1.05, (0.7, 0.9), 90),
    Body("Body E", 17.3, 27000, 2.2, 200, 12, 1.8, True, False, True, "bilateral", 0.8, 0.25, 1.15, (1.0, 1.1), 93),
    Body("Body F", 13.2, 18000, 2.0, 125, 12, 1.6, True, True, True, "guided", 1.4, 0.35, 1.15, (0.8, 1.3), 88),
)


@dataclass(frozen=True)
class Shot:
    """One press of the release: settings, support, and where things are and how fast they move."""

    time_s: float
    f_number: float
    iso: int
    focal_mm: float
    support: str
    stabilised: bool
    hands_rad_s: float
    subject_m: float
    focused_m: float
    background_m: float
    pace: str
    speed_m_s: float
    panning: bool
    ev: float
    pitch_mm: float

    @property
    def light_ev100(self) -> float:
        """The light for which these settings would be right, moved by the exposure error."""
        return math.log2(self.f_number**2 / self.time_s) - math.log2(self.iso / 100) + self.ev

    @property
    def unsteady_rad_s(self) -> float:
        """Angular speed that reaches the sensor."""
        return self.hands_rad_s * SUPPORTS[self.support] * (2.0**-2.5 if self.stabilised else 1.0)

    def disc_px(self, distance_m: float) -> float:
        """Diameter of the disc of confusion of a thing at that distance, pixels. Source: thin-lens equation."""
        focal = self.focal_mm / 1000
        spread = focal**2 / self.f_number * abs(distance_m - self.focused_m) / (distance_m * (self.focused_m - focal))
        return spread * 1000 / self.pitch_mm

    def streak_px(self) -> float:
        """How far the subject moves across the picture during the exposure, pixels."""
        return self.speed_m_s * self.time_s * self.focal_mm / (self.subject_m * self.pitch_mm)


def nominal_iso(iso: int) -> int:
    """The ISO that a body writes: the nearest of the usual thirds of a stop."""
    usual: list[int] = [round(base * 2.0**step) for base in (100, 125, 160) for step in range(11)]
    return min(usual, key=lambda value: float(abs(math.log2(value / iso))))


def nominal_time(time_s: float) -> float:
    """The time that a body writes: 1/125 for 2^-7 s, two significant digits."""
    usual = [value * 10**power for power in range(5) for value in (1, 1.25, 1.6, 2, 2.5, 3.2, 4, 5, 6.4, 8)]
    if time_s > 0.4:
        return float(f"{time_s:.2g}")
    return float(1 / min(usual, key=lambda value: abs(math.log2(value * time_s))))


def third_stop(value: float) -> float:
    """A value rounded to thirds of a stop."""
    return float(2.0 ** (round(3 * math.log2(value)) / 3))


def focus_for(disc_mm: float, shot_focal_mm: float, f_number: float, subject_m: float, behind: bool) -> float | None:
    """Distance focused at at which the subject's disc has that diameter, or None where optics cannot blur so much."""
    focal = shot_focal_mm / 1000
    share = disc_mm / 1000 * subject_m * f_number / focal**2
    if behind:
        return (subject_m - share * focal) / (1 - share) if share < 0.97 else None
    found = (subject_m + share * focal) / (1 + share)
    return found if found > 4 * focal else None


def _target_px(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(3.2), np.log(18))))


def _iso(body: Body, noisy: bool, rng: np.random.Generator) -> int:
    """High where noise is wanted, else often the lowest, seldom high: five stops and a half above at most."""
    quiet = float(rng.choice([0.0, rng.uniform(0, 2.5), rng.uniform(2, 5.5)], p=[0.35, 0.4, 0.25]))
    stops = float(rng.uniform(3.5, 8.0)) if noisy else quiet
    return round(third_stop(2.0**stops) * body.base_iso)


def _ev(faults: frozenset[str], rng: np.random.Generator) -> float:
    if "exposure" in faults:
        return float(rng.uniform(EV_FAULT, EV_MOST) * rng.choice([-1, 1], p=[0.55, 0.45]))
    return float(np.clip(rng.normal(0, 0.13), -EV_NONE, EV_NONE))


def draw_shot(faults: frozenset[str], style: str, body: Body, width_px: int, rng: np.random.Generator) -> Shot | None:
    """Settings that would give these faults, or None where the draw does not go together (draw again then)."""
    focal_eq = float(np.exp(rng.uniform(np.log(24), np.log(320))))
    focal = focal_eq * body.sensor_mm / 36
    support = str(rng.choice(list(SUPPORTS), p=[0.72, 0.08, 0.06, 0.14]))
    pace = str(rng.choice(list(PACES), p=[0.62, 0.1, 0.14, 0.08, 0.06]))
    if style == "long":
        support, pace = "tripod", "still"
    elif "subject_motion" in faults or style == "panning":
        pace = str(rng.choice(list(PACES)[1:]))
    if "shake" in faults and support == "tripod":
        support = "hand-held"
    subject_m = focal / 1000 * float(np.exp(rng.uniform(*np.log(SUBJECT_FOCALS[PACES[pace] > 1]))))
    unfinished = Shot(
        time_s=_steady_time(focal_eq, rng), f_number=float(rng.choice(APERTURES[: 6 if style == "shallow" else None])),
        iso=_iso(body, "noise" in faults, rng), focal_mm=focal, support=support,
        stabilised=bool(body.stabilises and support != "tripod" and rng.random() < 0.75),
        hands_rad_s=float(HANDS_RAD_S * np.exp(rng.normal(0, HANDS_SPREAD))), subject_m=subject_m, focused_m=subject_m,
        background_m=subject_m, pace=pace, speed_m_s=PACES[pace] * float(rng.uniform(0.6, 1.5)),
        panning=style == "panning", ev=_ev(faults, rng), pitch_mm=body.sensor_mm / width_px,
    )  # fmt: skip
    shot = _focused(_timed(unfinished, faults, style, rng), faults, style, rng)
    return shot if shot is not None and plausible(shot) else None


def _steady_time(focal_eq: float, rng: np.random.Generator) -> float:
    """A time faster than the rule asks for, by up to four stops."""
    return float(2.0 ** -rng.uniform(0.3, 4.0) / focal_eq)


def _timed(shot: Shot, faults: frozenset[str], style: str, rng: np.random.Generator) -> Shot:
    """The shot with the time, and with two faults of motion the distance, that blur it as wanted."""
    time_s, subject_m = shot.time_s, shot.subject_m
    if "shake" in faults:
        time_s = _target_px(rng) * shot.pitch_mm / (shot.focal_mm * shot.unsteady_rad_s)
        if "subject_motion" in faults:
            subject_m = shot.focal_mm * shot.speed_m_s * time_s / (_target_px(rng) * shot.pitch_mm)
    elif "subject_motion" in faults or style == "panning":
        length_px = float(rng.uniform(8, 45)) if style == "panning" else _target_px(rng)
        time_s = length_px * shot.pitch_mm * subject_m / (shot.focal_mm * shot.speed_m_s)
    elif style == "long":
        time_s = float(np.exp(rng.uniform(np.log(1 / 8), np.log(10))))
    elif shot.support == "tripod" and rng.random() < 0.6:
        time_s *= 2.0 ** float(rng.uniform(1, 6))
    return replace(shot, time_s=third_stop(time_s), subject_m=subject_m)


def _focused(shot: Shot, faults: frozenset[str], style: str, rng: np.random.Generator) -> Shot | None:
    """The shot focused as wanted: on the subject, past it, before it, or ("missed") on what is behind it."""
    disc_px = _target_px(rng) if "focus" in faults else float(rng.uniform(0, 0.9))
    behind = style == "missed" or bool(rng.random() < 0.6)
    focused_m = focus_for(disc_px * shot.pitch_mm, shot.focal_mm, shot.f_number, shot.subject_m, behind)
    if focused_m is None:
        return None
    background_m = shot.subject_m
    if style == "shallow":
        background_m *= float(np.exp(rng.uniform(np.log(1.2), np.log(20))))
    elif style == "missed":
        background_m = focused_m * float(np.exp(rng.normal(0, 0.1)))
    return replace(shot, focused_m=focused_m, background_m=background_m)


def plausible(shot: Shot) -> bool:
    """Whether somebody could have taken this: light between starlit streets and noon, times that bodies have."""
    near, far = SUBJECT_FOCALS[PACES[shot.pace] > 1]
    focals = 1000 * shot.subject_m / shot.focal_mm
    return -3 <= shot.light_ev100 <= 15.7 and 1 / 8000 <= shot.time_s <= 15 and near <= focals <= far
