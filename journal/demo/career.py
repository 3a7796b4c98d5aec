"""Draws a simulated year of sessions, bursts and frames from a seed, with faults by known curves.

Dim light brings wider, slower and more sensitive settings at once, as it does outdoors; faults of a burst and of a
session are correlated. Every fault follows the settings that were chosen: shake the time against the focal length,
motion the time against the subject's pace, noise the ISO, missed focus the depth of field against the subject's depth,
exposure the light. The same seed gives the same year.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from operator import add
from statistics import NormalDist
from typing import TYPE_CHECKING

from journal.demo.scenario import (
    ADVICE_DAY,
    ADVICE_HABIT,
    ADVISED_SHARE,
    BODIES,
    FOCUS_LIMIT,
    FREEZE_LIMIT,
    HABITS,
    HAND_HELD_LIMIT,
    LENSES,
    MORE_IN_BACKLIGHT,
    OUTINGS,
    DemoBody,
    Outing,
)
from journal.optics.focus import CIRCLE_OF_CONFUSION_35MM, focus_limits_m
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    import numpy as np

N_SESSIONS = 36
FIRST_DAY = datetime(2025, 3, 1, tzinfo=UTC)
#: Slope of every fault curve [probits per stop]; steep enough to matter within a stop or two.
SLOPE = 0.8
#: Standard deviations of the effects of a session and of a burst on every fault [probits].
SESSION_SPREAD, BURST_SPREAD = 0.35, 0.45
#: A camera support is worth this many stops against shake.
STEADIER = {"hand-held": 0.0, "braced": 1.0, "monopod": 1.5, "tripod": 8.0}
#: Share of the bursts in which time and ISO are changed against each other between frames; it costs nothing.
CHANGED_WITHIN = 0.25
_NORMAL = NormalDist()
#: Over all sessions and bursts, a tenth of the frames have a fault at its limit.
_SPREAD = math.sqrt(1 + SESSION_SPREAD**2 + BURST_SPREAD**2)
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
class Scene:
    """What a session offers: `ev100` is the light in its middle, `effects` what makes each fault likelier in it."""

    outing: Outing
    support: str
    pace: str
    ev100: float
    is_backlit: bool
    subject_depth_m: float
    effects: tuple[float, ...]
    is_advised: bool

    def share(self, habit: str) -> float:
        """Share of the bursts in which a habit is acted out."""
        return ADVISED_SHARE if self.is_advised and habit == ADVICE_HABIT else HABITS[habit]


@dataclass(frozen=True, slots=True)
class DemoSession:
    """One simulated outing with its frames in bursts."""

    scene: Scene
    started_at: datetime
    ended_at: datetime
    bursts: tuple[tuple[DemoFrame, ...], ...]


@dataclass(frozen=True, slots=True)
class _Choice:
    """The settings of a frame, before the camera rounds them; `error_ev` is how much more than the light asks for."""

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
    scene = Scene(
        outing=outing,
        support=str(rng.choice(outing.supports)),
        pace=str(rng.choice(outing.paces)),
        ev100=float(rng.uniform(*outing.ev100)),
        is_backlit=bool(rng.random() < outing.backlit),
        subject_depth_m=round(float(rng.uniform(*outing.depth_m)), 2),
        effects=_effects(rng, SESSION_SPREAD),
        is_advised=day >= FIRST_DAY + timedelta(days=ADVICE_DAY),
    )
    started_at = day.replace(hour=outing.hour, minute=int(rng.integers(0, 40)))
    moment, bursts = started_at + timedelta(minutes=4), []
    n_bursts = int(rng.integers(18, 28))
    for number in range(n_bursts):
        ev100 = scene.ev100 + outing.drift_ev * (number / n_bursts - 0.5) + float(rng.normal(0, 0.25))
        burst = _draw_burst(rng, scene, ev100, moment)
        bursts.append(burst)
        moment = burst[-1].taken_at + timedelta(seconds=float(rng.uniform(40, 280)))
    return DemoSession(scene, started_at, moment + timedelta(minutes=5), tuple(bursts))


def _draw_burst(rng: np.random.Generator, scene: Scene, ev100: float, moment: datetime) -> tuple[DemoFrame, ...]:
    choice = _choose(rng, scene, ev100)
    effects = tuple(map(add, scene.effects, _effects(rng, BURST_SPREAD)))
    distance_m = round(float(rng.uniform(*scene.outing.distance_m)), 1)
    changes = rng.random() < CHANGED_WITHIN
    frames = []
    for _ in range(int(rng.integers(3, 15))):
        used = _changed(rng, choice) if changes else choice
        faults = _draw_faults(rng, used, scene, distance_m, effects)
        keeps = not faults and rng.random() < 0.92
        frames.append(
            DemoFrame(
                moment,
                scene.outing.body,
                used.lens,
                _nominal_time(used.log2_time),
                used.f_number,
                _nominal_iso(used.log2_iso),
                used.focal_length_mm,
                distance_m,
                used.error_ev - _asked_for(scene),
                faults if faults or keeps else ("framing",),
                keeps,
            )
        )
        moment += timedelta(seconds=0.25 + 2**used.log2_time)
    return tuple(frames)


def _effects(rng: np.random.Generator, spread: float) -> tuple[float, ...]:
    """One for each fault: a windy evening shakes the camera, but does not make it noisy."""
    return tuple(float(effect) for effect in rng.normal(0, spread, len(FAULTS)))


def _changed(rng: np.random.Generator, choice: _Choice) -> _Choice:
    """The same exposure with a little more or less time, where the ISO allows it."""
    step = float(rng.integers(-2, 3)) / 3
    step = min(step, choice.log2_iso)
    return replace(choice, log2_time=choice.log2_time + step, log2_iso=choice.log2_iso - step)


def _asked_for(scene: Scene) -> float:
    """The right exposure of the subject, in stops more than the light asks for."""
    return MORE_IN_BACKLIGHT if scene.is_backlit else 0.0


def _choose(rng: np.random.Generator, scene: Scene, ev100: float) -> _Choice:
    """The settings of a burst; the planted habits are acted out here."""
    outing, body = scene.outing, BODIES[scene.outing.body]
    lens_number = int(rng.choice(outing.lenses))
    lens = LENSES[lens_number]
    focal = int(rng.choice(lens.focal_lengths_mm))
    f_number = lens.widest_f_number
    if not (outing.priority == "depth" and rng.random() < scene.share("thin_focus")):
        f_number = round(max(f_number, float(rng.choice([2.8, 4.0, 5.6, 8.0]))), 1)
    freeze = FREEZE_LIMIT[scene.pace]
    safe = -math.log2(focal * 36.0 / body.sensor[0]) + HAND_HELD_LIMIT[body.is_stabilised]
    needed = min(safe + min(STEADIER[scene.support], 3.0), freeze)
    log2_time = needed - float(rng.uniform(0.2, 2.0))
    # The hands are the matter only where the subject would allow a slower time.
    if scene.support == "hand-held" and safe < freeze + 0.5 and rng.random() < scene.share("slow_by_hand"):
        log2_time = safe + float(rng.uniform(0.3, 1.6))
    error = _asked_for(scene) + float(rng.normal(0, 0.25))
    if scene.is_backlit and rng.random() < scene.share("under_in_backlight"):
        error -= 1.3
    log2_iso = 2 * math.log2(f_number) - log2_time - ev100 + error
    noisy = math.log2(body.iso_limit / 100)
    # No light left: the time gives what it has to spare, and then more, as it does in a dim hall.
    longer = min(max(log2_iso - noisy, 0.0), max(needed - 0.3 - log2_time, 0.0))
    longer = max(longer, log2_iso - noisy - 1.3) if log2_iso > 0 else log2_iso
    return _Choice(focal, lens_number, f_number, log2_time + longer, log2_iso - longer, error)


def _draw_faults(
    rng: np.random.Generator, choice: _Choice, scene: Scene, distance_m: float, effects: tuple[float, ...]
) -> tuple[str, ...]:
    body = BODIES[scene.outing.body]
    below_rule = choice.log2_time + math.log2(choice.focal_length_mm * 36.0 / body.sensor[0])
    off = choice.error_ev - _asked_for(scene)
    doses = {
        "camera shake": below_rule - HAND_HELD_LIMIT[body.is_stabilised] - STEADIER[scene.support],
        "subject motion": choice.log2_time - FREEZE_LIMIT[scene.pace],
        "noise": choice.log2_iso + max(-choice.error_ev, 0.0) - math.log2(body.iso_limit / 100),
        "missed focus": _too_thin(choice, body, scene.subject_depth_m, distance_m) - FOCUS_LIMIT,
        "overexposed": (off - 0.8) * 2,
        "underexposed": (-off - 0.8) * 2,
        "timing": -0.2,
        "framing": -0.8,
    }
    shares = {
        fault: _NORMAL.cdf((SLOPE * dose + _AT_LIMIT) * _SPREAD + effect)
        for (fault, dose), effect in zip(doses.items(), effects, strict=True)
    }
    drawn = [fault for fault, share in shares.items() if rng.random() < share]
    if "overexposed" in drawn and "underexposed" in drawn:  # nobody gives both
        drawn.remove(min("overexposed", "underexposed", key=lambda fault: shares[fault]))
    return tuple(drawn)


def _too_thin(choice: _Choice, body: DemoBody, depth_m: float, distance_m: float) -> float:
    """The subject's depth over the depth of field [stops]; at most sixteen times too deep a field counts."""
    circle = CIRCLE_OF_CONFUSION_35MM * body.sensor[0] / 36.0
    near, far = focus_limits_m(choice.focal_length_mm, choice.f_number, distance_m, circle)
    return max(math.log2(depth_m / (float(far) - float(near))), -4.0) if math.isfinite(float(far)) else -4.0


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
