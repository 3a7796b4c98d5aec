"""A photographer with a body and a lens in some light: which settings he chooses, above `bodies`.

The only thing he knows of the frame that it will become is what he is out for: a shallow depth, a panned subject, a
tripod.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pocketcamera.bodies import BODIES, SHARES, Body

#: Stops between EV at ISO 10000, in which the levels of light below are round, and EV at ISO 100.
ISO_10000_STOPS = math.log2(100)
#: Light: its share, then mean and spread of its exposure value at ISO 100 (7.6, 4.9, 0.4 and -3.0).
#: Source: own choice; a photographer of rooms, evenings and nights.
LIGHTS = {
    "bright room": (0.34, 14.2 - ISO_10000_STOPS, 0.8),
    "lamplight": (0.27, 11.5 - ISO_10000_STOPS, 1.1),
    "late dusk": (0.26, 7.0 - ISO_10000_STOPS, 1.3),
    "night": (0.13, 3.6 - ISO_10000_STOPS, 1.5),
}
#: Light from which the aperture is closed for depth (EV 2.4 at ISO 100). Source: own choice.
BRIGHT_EV = 9 - ISO_10000_STOPS
#: Shares of wide, middle and deep apertures where it is bright, and where it is not. Source: own choice.
APERTURE_SHARES = {True: (0.4, 0.42, 0.18), False: (0.7, 0.25, 0.05)}
#: Light above which a tripod has this share (EV 3.4 and -0.6 at ISO 100), and its share below both.
#: Source: own choice.
TRIPOD_SHARES = ((10 - ISO_10000_STOPS, 0.03), (6 - ISO_10000_STOPS, 0.06))
TRIPOD_SHARE_AT_NIGHT = 0.16
#: Share of settings made by hand, with a camera and with a phone. Source: own choice.
MANUAL_SHARE, MANUAL_SHARE_OF_PHONES = 0.10, 0.03
#: How ISO and time are chosen: as an automatic does, at an ISO that stays, for fast things, or slower than is safe.
#: Source: own choice.
STYLES = {"auto": 0.55, "fixed": 0.15, "fast": 0.16, "slow": 0.14}
#: Stabilisation is on where there is some. Source: own choice.
STABILISED_SHARE = 0.85
#: The longest time that an automatic likes, whatever the focal length [s]. Source: own choice.
LONGEST_LIKED_S = 1 / 40
#: Exponents of two that a panned frame's time lies between [log2 s]. Source: own choice; 1/194 to 1/37 s.
PANNED_TIME = (-7.6, -5.2)


@dataclass(frozen=True)
class Settings:
    """What a camera was set to, in which light."""

    body: Body
    light_ev: float  # at ISO 100
    focal_length_35mm: float
    f_number: float
    exposure_time_s: float
    iso: float
    is_stabilised: bool
    stabilisation_stops: float  # what this hand gains from it, 0 where it is off
    is_on_tripod: bool
    is_manual: bool

    @property
    def stops_beyond_rule(self) -> float:
        """Time beyond one over the focal length, less what stabilisation gains [stops]."""
        return math.log2(self.exposure_time_s * self.focal_length_35mm) - self.stabilisation_stops


def in_thirds(value: float, start: float = 1.0) -> float:
    """The nearest third of a stop from `start`."""
    return float(start * 2 ** (round(3 * math.log2(value / start)) / 3))


def choose_settings(kind: str, rng: np.random.Generator) -> Settings | None:
    """Settings that suit the light, or None where the camera has no ISO for them."""
    body = BODIES[int(rng.choice(len(BODIES), p=SHARES))]
    light = str(rng.choice(list(LIGHTS), p=[share for share, _, _ in LIGHTS.values()]))
    light_ev = float(rng.normal(*LIGHTS[light][1:]))
    shortest, longest = body.focal_35mm
    focal = shortest * (longest / shortest) ** (rng.random() ** 1.1)
    f_number = _choose_f_number(body, focal, light_ev, kind, rng)
    is_stabilised = body.stabilisation_stops > 0 and rng.random() < STABILISED_SHARE
    stops = body.stabilisation_stops * rng.uniform(0.6, 1.0) if is_stabilised else 0.0
    tripod_share = next((share for ev, share in TRIPOD_SHARES if light_ev > ev), TRIPOD_SHARE_AT_NIGHT)
    is_on_tripod = (rng.random() < tripod_share or kind == "good_tripod") and kind != "good_pan"
    is_manual = rng.random() < (MANUAL_SHARE_OF_PHONES if body.is_aperture_fixed else MANUAL_SHARE)
    style = str(rng.choice(list(STYLES), p=list(STYLES.values())))
    time_at_100 = f_number * f_number / 2**light_ev
    if kind == "good_pan":
        time = 2 ** rng.uniform(*PANNED_TIME)
        iso = time_at_100 * 100 / time
    elif is_on_tripod:
        iso = body.base_iso * 2.0 ** rng.choice([0, 0, 0, 1, 2])
        time = time_at_100 * 100 / iso
    else:
        longest_time = _longest_time(focal, is_stabilised, style, rng)
        time, iso = _by_hand(body, time_at_100, longest_time, style, rng)
    iso = in_thirds(max(iso, 1), 100.0)
    if not body.base_iso * 0.99 <= iso <= body.highest_iso * 1.01:
        return None
    return Settings(body, light_ev, focal, f_number, float(time), iso, is_stabilised, stops, is_on_tripod, is_manual)


def _choose_f_number(body: Body, focal: float, light_ev: float, kind: str, rng: np.random.Generator) -> float:
    """Wide, middle or deep, in thirds of a stop within what the lens has at this focal length."""
    widest, widest_at_longest = body.widest_f_number
    if body.is_aperture_fixed:
        return widest
    shortest, longest = body.focal_35mm
    zoomed = 0 if longest == shortest else math.log(focal / shortest) / math.log(longest / shortest)
    widest = widest * (widest_at_longest / widest) ** zoomed
    wanted = str(rng.choice(["wide", "middle", "deep"], p=APERTURE_SHARES[light_ev > BRIGHT_EV]))
    if kind == "good_shallow":
        wanted = "wide" if rng.random() < 0.85 else "middle"
    choices = {"wide": widest * 2 ** rng.uniform(0, 0.6), "middle": rng.uniform(5, 8.5), "deep": rng.uniform(9, 17)}
    chosen = min(max(choices[wanted], widest), body.narrowest_f_number)
    return round(max(in_thirds(chosen), widest), 1)


def _longest_time(focal: float, is_stabilised: bool, style: str, rng: np.random.Generator) -> float:
    """The longest time that this photographer wants to hold this focal length for [s]."""
    longest = 1 / focal * 2 ** rng.normal(0.6 if is_stabilised else 0, 0.6)
    longest = min(longest, LONGEST_LIKED_S * 2 ** rng.normal(0, 0.5))
    if style == "fast":
        longest = 2 ** rng.uniform(-10.5, -8)
    if style == "slow":
        longest = longest * 2 ** rng.uniform(1, 3.5)
    return float(longest)


def _by_hand(
    body: Body, time_at_100: float, longest_time: float, style: str, rng: np.random.Generator
) -> tuple[float, float]:
    """Time [s] and ISO: the base ISO until the time is too long, then a higher one up to a limit of one's own."""
    iso = float(body.base_iso if style != "fixed" else body.base_iso * 2.0 ** rng.choice([0, 1, 2, 3, 4]))
    time = time_at_100 * 100 / iso
    if time > longest_time and style != "fixed":
        limit = body.highest_iso * 2.0 ** -rng.choice([0, 1, 2, 2, 3])
        iso = float(min(iso * time / longest_time, max(limit, body.base_iso)))
        time = time_at_100 * 100 / iso
    return time, iso
