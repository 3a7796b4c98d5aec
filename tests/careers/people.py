"""Who photographs: limits, slopes, gear, habits and a judge, drawn at random; and the world they live in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

PACES = ("still", "slow", "walking", "running", "fast")
FAULTS = ("exposure", "focus", "shake", "motion", "noise", "timing")
HABITS = (
    "slow_by_hand",
    "thin_focus",
    "needlessly_fast",
    "under_in_backlight",
    "slow_for_subject",
    "stopped_down",
    "fiddling",
    "late_session",
)
#: Where the average photographer freezes a subject of each pace at one miss in ten [log2 s].
FREEZE = (-0.5, -4.0, -6.3, -8.6, -10.2)
#: Widest f-number and 35 mm-equivalent focal lengths [mm] of lenses.
LENSES = (
    ("wide", 2.8, (20, 24, 28, 35)),
    ("short", 1.8, (50,)),
    ("portrait", 1.8, (85,)),
    ("zoom", 4.0, (70, 100, 135, 200)),
    ("long", 5.6, (300, 400, 500)),
)


@dataclass(frozen=True)
class World:
    """What is the same for all photographers of a simulation.

    `habits` is the share of photographers that have each habit. `skill` is the change of every fault's threshold
    [probits a year], `easier` the drift of the scenes towards bright light and still subjects over the career [0 to 1,
    negative is harder], `completeness` the chance that a further fault is written down beside the first.
    `stops_at` ends the habit `stops_habit` on that day. `label_cost` is what a label habit adds to timing [probits].
    """

    habits: float = 0.5
    skill: float = 0.0
    easier: float = 0.0
    completeness: float = 0.9
    label_cost: float = 0.0
    stops_habit: str = ""
    stops_at: float = np.inf
    starts_with: tuple[str, ...] = ()
    days: float = 365.0


@dataclass(frozen=True)
class Person:
    """One photographer; limits are where one frame in ten is missed, on average over sessions and bursts."""

    hand: dict[bool, float]
    freeze: tuple[float, ...]
    iso: dict[str, float]
    focus: float
    slopes: dict[str, float]
    base: dict[str, float]
    session_sd: dict[str, float]
    burst_sd: dict[str, float]
    timing: float
    other: float
    overlooks: float
    invents: float
    habits: dict[str, float]
    outings: tuple[float, ...]
    pays_for_fiddling: bool
    belief: float
    margin: float
    bodies: tuple[tuple[str, bool], ...] = field(default=(("A", True), ("B", False)))


def person(rng: np.random.Generator, world: World) -> Person:
    """Draws a photographer."""
    unaided = rng.normal(0.1, 0.9)
    log_slopes = {"shake": 0.85, "motion": 0.85, "noise": 1.0, "focus": 0.8, "exposure": 1.1}
    habits = {}
    for name in HABITS:
        has = rng.random() < world.habits
        share = rng.uniform(0.15, 0.5)
        habits[name] = share if has or name in world.starts_with else 0.0
    # Everybody changes settings inside some bursts; for some it costs frames.
    pays_for_fiddling, habits["fiddling"] = habits["fiddling"] > 0, float(rng.uniform(0.1, 0.4))
    shared_freeze, shared_iso = rng.normal(0, 0.6), rng.normal(0, 0.5)
    return Person(
        hand={False: unaided, True: unaided + rng.normal(2.4, 0.7)},
        freeze=tuple(mean + shared_freeze + rng.normal(0, 0.7) for mean in FREEZE),
        iso={name: 5.5 + shared_iso + rng.normal(0, 0.7) for name in ("A", "B")},
        focus=rng.normal(0.8, 0.5),
        slopes={fault: float(np.exp(rng.normal(np.log(mean), 0.25))) for fault, mean in log_slopes.items()},
        base={fault: float(rng.uniform(0.002, 0.02)) for fault in FAULTS},
        session_sd={fault: float(rng.uniform(0.2, 0.5)) for fault in FAULTS},
        burst_sd={fault: float(rng.uniform(0.3, 0.8)) for fault in FAULTS},
        timing=float(rng.uniform(0.04, 0.14)),
        other=float(rng.uniform(0.02, 0.08)),
        overlooks=float(rng.uniform(0.02, 0.12)),
        invents=float(rng.uniform(0.0, 0.006)),
        habits=habits,
        outings=tuple(rng.dirichlet(np.full(6, 1.5))),
        pays_for_fiddling=pays_for_fiddling,
        belief=float(rng.normal(0, 0.4)),
        margin=float(rng.uniform(0.8, 1.6)),
    )
