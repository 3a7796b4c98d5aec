"""Draws a simulated year of sessions, bursts and frames from a seed, with faults by known curves.

Dim light brings wider, slower and more sensitive settings at once, as it does outdoors; faults of a burst and of a
session are correlated. The same seed gives the same year.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import NormalDist
from typing import TYPE_CHECKING

from journal.demo.scenario import BODIES, FREEZE_LIMIT, HABITS, HAND_HELD_LIMIT, LENSES, OUTINGS, DemoBody, Outing

if TYPE_CHECKING:
    import numpy as np

N_SESSIONS = 36
FIRST_DAY = datetime(2025, 3, 1, tzinfo=UTC)
#: Slope of every fault curve [probits per stop]; steep enough to matter within a stop or two.
SLOPE = 0.8
#: Standard deviations of the effects of a session and of a burst on every fault [probits].
SESSION_SPREAD, BURST_SPREAD = 0.35, 0.45
_NORMAL = NormalDist()
_AT_LIMIT = _NORMAL.inv_cdf(0.10)


@dataclass(frozen=True, slots=True)
class DemoFrame:
    """One simulated exposure: nominal settings in sixths-free numbers, and the faults it has."""

    taken_at: datetime
    body: int
    lens: int
    exposure_time: tuple[int, int]
    f_number: float
    iso: int
    focal_length_mm: int
    distance_m: float
    exposure_error_ev: float
    faults: tuple[str, ...]
    is_keeper: bool


@dataclass(frozen=True, slots=True)
class DemoSession:
    """One simulated outing with its frames in bursts."""

    outing: Outing
    support: str
    ev100: float
    started_at: datetime
    ended_at: datetime
    bursts: tuple[tuple[DemoFrame, ...], ...]


@dataclass(frozen=True, slots=True)
class _Choice:
    """The settings of a burst, before the camera rounds them."""

    focal_length_mm: int
    lens: int
    f_number: float
    log2_time: float
    log2_iso: float
    error_ev: float


def draw_year(rng: np.random.Generator, n_sessions: int = N_SESSIONS) -> list[DemoSession]:
    """The sessions of a year in order of time."""
    sessions = []
    for number in range(n_sessions):
        day = FIRST_DAY + timedelta(days=int(number * 365 / n_sessions + rng.integers(0, 5)))
        sessions.append(_draw_session(rng, OUTINGS[number % len(OUTINGS)], day))
    return sessions


def _draw_session(rng: np.random.Generator, outing: Outing, day: datetime) -> DemoSession:
    support = str(rng.choice(outing.supports))
    ev100 = float(rng.uniform(*outing.ev100))
    started_at = day.replace(hour=outing.hour, minute=int(rng.integers(0, 40)))
    session_effect = float(rng.normal(0, SESSION_SPREAD))
    moment, bursts = started_at + timedelta(minutes=4), []
    for _ in range(int(rng.integers(18, 28))):
        burst = _draw_burst(rng, outing, support, (ev100, session_effect), moment)
        bursts.append(burst)
        moment = burst[-1].taken_at + timedelta(seconds=float(rng.uniform(40, 280)))
    return DemoSession(outing, support, ev100, started_at, moment + timedelta(minutes=5), tuple(bursts))


def _draw_burst(
    rng: np.random.Generator, outing: Outing, support: str, scene: tuple[float, float], moment: datetime
) -> tuple[DemoFrame, ...]:
    ev100, session_effect = scene
    body = BODIES[outing.body]
    choice = _choose(rng, outing, support, ev100 + float(rng.normal(0, 0.5)))
    effect = session_effect + float(rng.normal(0, BURST_SPREAD))
    distance_m = round(float(rng.uniform(*outing.distance_m)), 1)
    frames = []
    for _ in range(int(rng.integers(3, 15))):
        faults = _draw_faults(rng, choice, outing, (support, body), effect)
        keeps = not faults and rng.random() < 0.92
        frames.append(
            DemoFrame(
                moment,
                outing.body,
                choice.lens,
                _nominal_time(choice.log2_time),
                choice.f_number,
                _nominal_iso(choice.log2_iso),
                choice.focal_length_mm,
                distance_m,
                choice.error_ev,
                faults if faults or keeps else ("framing",),
                keeps,
            )
        )
        moment += timedelta(seconds=0.25 + 2**choice.log2_time)
    return tuple(frames)


def _choose(rng: np.random.Generator, outing: Outing, support: str, ev100: float) -> _Choice:
    """The settings of a burst; the planted habits are acted out here."""
    body = BODIES[outing.body]
    lens_number = int(rng.choice(outing.lenses))
    lens = LENSES[lens_number]
    focal = int(rng.choice(lens.focal_lengths_mm))
    f_number = lens.widest_f_number
    if not (outing.priority == "depth" and rng.random() < HABITS["thin_focus"]):
        f_number = round(max(f_number, float(rng.choice([2.8, 4.0, 5.6, 8.0]))), 1)
    safe = -math.log2(focal * 36.0 / body.sensor[0]) + HAND_HELD_LIMIT[body.is_stabilised]
    steady = safe if support == "hand-held" else safe + 3
    log2_time = min(steady, FREEZE_LIMIT[outing.pace]) - float(rng.uniform(0.2, 2.0))
    if support == "hand-held" and rng.random() < HABITS["slow_by_hand"]:
        log2_time = safe + float(rng.uniform(0.3, 1.6))
    error = float(rng.normal(0, 0.25))
    if "sun" in outing.light and rng.random() < HABITS["under_in_backlight"]:
        error -= 1.3
    log2_iso = 2 * math.log2(f_number) - log2_time - ev100 + error
    lowest, highest = 0.0, math.log2(body.iso_limit / 100) + 1.3
    if log2_iso > highest:  # no light left: the time gives way, as it does in a dim hall
        log2_time += log2_iso - highest
    elif log2_iso < lowest:
        log2_time -= lowest - log2_iso
    return _Choice(focal, lens_number, f_number, log2_time, min(max(log2_iso, lowest), highest), error)


def _draw_faults(
    rng: np.random.Generator, choice: _Choice, outing: Outing, how: tuple[str, DemoBody], effect: float
) -> tuple[str, ...]:
    support, body = how
    below_rule = choice.log2_time + math.log2(choice.focal_length_mm * 36.0 / body.sensor[0])
    steadier = {"hand-held": 0.0, "braced": 1.0, "monopod": 1.5, "tripod": 8.0}[support]
    doses = {
        "camera shake": below_rule - HAND_HELD_LIMIT[body.is_stabilised] - steadier,
        "subject motion": choice.log2_time - FREEZE_LIMIT[outing.pace],
        "noise": choice.log2_iso - math.log2(body.iso_limit / 100),
        "missed focus": 1.2 if choice.f_number < 2.8 else -0.6,
        "overexposed": (choice.error_ev - 0.8) * 2,
        "underexposed": (-choice.error_ev - 0.8) * 2,
        "timing": -0.2,
        "framing": -0.8,
    }
    shares = {fault: _NORMAL.cdf(SLOPE * dose + _AT_LIMIT + effect) for fault, dose in doses.items()}
    return tuple(fault for fault, share in shares.items() if rng.random() < share)


def _nominal_time(log2_time: float) -> tuple[int, int]:
    """The nearest third as cameras write it: 1/125 s is 1 over 125, half a second 5 over 10."""
    from journal.optics.nominal import nominal_time_name

    name = nominal_time_name(2 * round(log2_time * 3))
    if name.startswith("1/"):
        return 1, int(name[2:])
    return round(float(name.removesuffix(" s")) * 10), 10


def _nominal_iso(log2_iso: float) -> int:
    from journal.optics.nominal import nominal_iso_name

    return int(nominal_iso_name(2 * round(log2_iso * 3)).removeprefix("ISO "))
