"""Who, where, with what: the simulated photographer, and the limits and habits planted for the analytics to find."""

from __future__ import annotations

from dataclasses import dataclass

MAKE = "Tidewell"


@dataclass(frozen=True, slots=True)
class DemoBody:
    """A simulated camera body; `iso_limit` is where a tenth of its frames are rejected for noise."""

    model: str
    serial_number: str
    sensor: tuple[float, float]
    is_stabilised: bool
    iso_limit: int


@dataclass(frozen=True, slots=True)
class DemoLens:
    """A simulated lens: focal lengths that are used [mm] and its widest aperture."""

    model: str
    focal_lengths_mm: tuple[int, ...]
    widest_f_number: float


@dataclass(frozen=True, slots=True)
class Outing:
    """A kind of session: what it is for, in which light, with which gear.

    `drift_ev` is how much lighter it gets from the first burst to the last. In `backlit` of its sessions the light
    comes from behind the subject; these are described as `light_behind`.
    """

    intent: str
    priority: str
    paces: tuple[str, ...]
    light: str
    place: str
    supports: tuple[str, ...]
    ev100: tuple[float, float]
    hour: int
    lenses: tuple[int, ...]
    body: int
    distance_m: tuple[float, float]
    planned_iso: tuple[int, int]
    depth_m: tuple[float, float]
    drift_ev: float
    backlit: float = 0.0
    light_behind: str = ""


FULL_FRAME = DemoBody("Tidewell M1", "SIM-0001", (36.0, 24.0), True, 6400)
SMALLER = DemoBody("Tidewell S2", "SIM-0002", (23.5, 15.6), False, 2500)
BODIES = (FULL_FRAME, SMALLER)

LENSES = (
    DemoLens("Tidewell 35 mm f/1.8", (35,), 1.8),
    DemoLens("Tidewell 24-70 mm f/2.8", (24, 35, 50, 70), 2.8),
    DemoLens("Tidewell 70-200 mm f/4", (70, 100, 135, 200), 4.0),
    DemoLens("Tidewell 150-500 mm f/5.6", (200, 300, 400, 500), 5.6),
)

OUTINGS = (
    Outing(
        "eights training, oars clear of the water",
        "motion",
        ("running",),
        "dawn over the river, mist",
        "Oxmere staithe",
        ("hand-held",),
        (8.0, 13.0),
        6,
        (2, 1),
        0,
        (15.0, 60.0),
        (200, 3200),
        (0.8, 1.6),
        1.5,
    ),
    Outing(
        "wading birds feeding along the tide line",
        "motion",
        ("walking",),
        "grey evening, then dusk",
        "Saltfold flats",
        ("hand-held", "hand-held", "monopod", "tripod"),
        (8.5, 13.0),
        18,
        (3,),
        1,
        (12.0, 50.0),
        (200, 1600),
        (0.15, 0.4),
        -1.5,
        0.8,
        "low sun behind the birds, then dusk",
    ),
    Outing(
        "folk dance night, faces and turns",
        "depth",
        ("slow", "still"),
        "hall lamps, warm and dim",
        "Oxmere village hall",
        ("hand-held",),
        (4.5, 7.0),
        20,
        (0, 1, 2),
        0,
        (2.0, 8.0),
        (800, 6400),
        (1.0, 2.0),
        0.0,
    ),
)

#: Slowest hand-held time [stops below the rule] at which a tenth of the frames show shake, by stabilisation.
HAND_HELD_LIMIT = {False: 0.3, True: 2.4}
#: Slowest freezing time [log2 s] at which a tenth of the frames show subject motion.
FREEZE_LIMIT = {"still": 0.0, "slow": -4.5, "walking": -6.5, "running": -8.5, "fast": -9.5}
#: Depth of field as a multiple of the subject's depth [stops] at which a tenth of the frames miss focus.
FOCUS_LIMIT = 0.0
#: A subject with the light behind it is exposed rightly at this many stops more than the light asks for.
MORE_IN_BACKLIGHT = 1.0

#: Share of the bursts in which each planted habit is acted out, where the outing gives occasion for it.
HABITS = {
    "slow_by_hand": 0.40,
    "thin_focus": 0.45,
    "under_in_backlight": 0.60,
}
#: Advice given in the middle of the year, and the share of bursts in which its habit is acted out from then.
ADVICE_HABIT, ADVICE_DAY, ADVISED_SHARE = "slow_by_hand", 190, 0.08
#: Things that vary but cost nothing here; an honest analysis leaves them alone.
NOT_HABITS = ("long_burst", "weekend", "first_bursts", "late_session", "fiddling")

PLANTED = {
    "simulated": True,
    "hand_held_limit_stops_below_rule": {"not stabilised": HAND_HELD_LIMIT[False], "stabilised": HAND_HELD_LIMIT[True]},
    "freeze_limit_log2_s": FREEZE_LIMIT,
    "focus_limit_stops": FOCUS_LIMIT,
    "highest_iso": {body.model: body.iso_limit for body in BODIES},
    "habits_share_of_bursts": HABITS,
    "advice": {"habit": ADVICE_HABIT, "given_on_day": ADVICE_DAY, "share_of_bursts_after": ADVISED_SHARE},
    "not_habits": list(NOT_HABITS),
}
