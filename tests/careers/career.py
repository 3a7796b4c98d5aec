"""Faults by known curves, an imperfect judge, and the truth that the statistics must find."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from careers.people import FAULTS, LENSES, PACES, Person, World, person
from careers.shooting import Table, bursts, depth_of_field_m, frames, sessions

#: Which fault hides which in the record, when both are there.
HIDES = {"focus": ("shake", "motion", "noise"), "shake": ("noise",), "motion": ("noise",), "exposure": ("noise",)}


@dataclass
class Career:
    """The frames as the statistics see them, the photographer, and the columns of the simulation."""

    frames: pd.DataFrame
    who: Person
    world: World
    table: Table
    effects: dict[str, np.ndarray]

    def keep_probability(self, table: Table | None = None, day: float | None = None) -> np.ndarray:
        """Chance of each frame to be kept, given the session and burst it belongs to; with other settings if given."""
        table = self.table if table is None else table
        if day is not None:
            table = table | {"day": np.full(len(table["day"]), day)}
        keep = np.full(len(table["time"]), 1 - self.who.other)
        for fault in FAULTS:
            keep *= 1 - noticed(self.who, chances(self.who, self.world, table, self.effects, fault))
        return keep

    def limit(self, kind: str, key: object) -> float:
        """The true limit at one miss in ten."""
        if kind == "hand-held":
            return self.who.hand[bool(key)]
        return self.who.freeze[PACES.index(str(key))] if kind == "freeze" else self.who.iso[str(key)]

    def exposed(self, habit: str) -> np.ndarray:
        """Frames that meet the condition of a habit, with the true limits."""
        return conditions(self.who, self.table)[habit]

    def lost(self, habit: str) -> float:
        """Keepers lost to a habit: expected with its remedy on exactly the exposed frames, less expected without."""
        exposed = self.exposed(habit)
        changed = {name: values.copy() for name, values in self.table.items()}
        for name, stops in REMEDIES.get(habit, {}).items():
            changed[name] = changed[name] + stops * exposed
        pays = {"fiddling": self.who.pays_for_fiddling, "late_session": self.who.habits["late_session"] > 0}
        if pays.get(habit, False):
            changed["costly"] = changed["costly"] - exposed * self.world.label_cost
        return float((self.keep_probability(changed) - self.keep_probability())[exposed].sum())


REMEDIES: dict[str, dict[str, float]] = {
    "slow_by_hand": {"time": -2, "iso": 2},
    "thin_focus": {"aperture": 2, "iso": 2},
    "needlessly_fast": {"time": 2, "iso": -2},
    "under_in_backlight": {"iso": 1},
    "slow_for_subject": {"time": -2, "iso": 2},
    "stopped_down": {"aperture": -2, "iso": -2},
}


def career(seed: int, n_sessions: int, world: World | None = None, who: Person | None = None) -> Career:
    """Draws a photographer (unless given) and everything they shot in `n_sessions` sessions."""
    world = world or World()
    rng = np.random.default_rng(seed)
    drawn = person(rng, world)
    who = who or drawn
    scene = bursts(rng, who, world, sessions(rng, who, world, n_sessions))
    table = frames(rng, scene)
    n = len(table["time"])
    changes = pd.Series(table["time"] * 1000 + table["iso"]).groupby(table["burst"]).transform("nunique") > 1
    table["changed"] = changes.to_numpy()
    late = table["burst_number"] >= 0.75 * table["session_bursts"]
    table["costly"] = world.label_cost * (
        (late & (who.habits["late_session"] > 0)).astype(float) + (table["changed"] & who.pays_for_fiddling)
    )
    effects = {}
    for fault in FAULTS:
        of_session = rng.normal(0, who.session_sd[fault], n_sessions)[table["session"]]
        effects[fault] = of_session + rng.normal(0, who.burst_sd[fault], int(table["burst"][-1]) + 1)[table["burst"]]
    seen = {fault: rng.random(n) < noticed(who, chances(who, world, table, effects, fault)) for fault in FAULTS}
    is_keeper = (rng.random(n) >= who.other) & ~np.any(list(seen.values()), axis=0)
    return Career(as_frames(table, recorded(rng, world, seen), is_keeper), who, world, table, effects)


def noticed(who: Person, chance: np.ndarray) -> np.ndarray:
    """Chance that the judge sees the fault: some are overlooked, a few are imagined."""
    return chance * (1 - who.overlooks) + (1 - chance) * who.invents


def doses(who: Person, table: Table, fault: str) -> np.ndarray:
    """Stops beyond the photographer's limit for a fault; at 0 a tenth of the frames have it."""
    stabilised = table["body"] == 0
    if fault == "shake":
        steadier = np.select(
            [table["support"] == "tripod", table["support"] == "monopod", table["support"] == "braced"],
            [6.0, 1.5, 1.0],
            0.0,
        )
        beyond = table["time"] + np.log2(table["focal"]) - np.where(stabilised, who.hand[True], who.hand[False])
        return np.where(table["flash"], -6.0, beyond - steadier)
    if fault == "motion":
        return np.where(table["flash"], -6.0, table["time"] - np.array(who.freeze)[table["pace"]])
    error = table["time"] + table["iso"] - table["aperture"] + table["ev"] + np.where(table["flash"], 3.0, 0.0)
    if fault == "noise":
        return table["iso"] + np.maximum(-error, 0) - np.where(stabilised, who.iso["A"], who.iso["B"])
    if fault == "focus":
        sharp = depth_of_field_m(table["focal"], table["aperture"], table["distance"])
        thin = np.log2(table["depth"]) - np.log2(np.maximum(sharp, 1e-3))
        return np.maximum(thin, -4) - who.focus + 0.25 * table["pace"] + 0.08 * np.maximum(8 - table["ev"], 0) - 0.5
    middle = error - 0.8 * table["backlit"]
    return np.abs(middle) * 2.2 - 1.6 + np.where(table["backlit"] & (middle < 0), 0.3, 0.0)


def chances(who: Person, world: World, table: Table, effects: dict[str, np.ndarray], fault: str) -> np.ndarray:
    """Chance of a true fault in each frame, given the effects of its session and burst."""
    spread = np.sqrt(1 + who.session_sd[fault] ** 2 + who.burst_sd[fault] ** 2)
    better = world.skill * table["day"] / 365
    if fault == "timing":
        harder = 0.15 * (table["pace"] - 1) + table["costly"] - better
        return ndtr((ndtri(who.timing) + harder) * spread + effects[fault])
    base = who.base[fault]
    at_limit = ndtri((0.10 - base) / (1 - base))
    marginal = who.slopes[fault] * doses(who, table, fault) + at_limit - better
    return base + (1 - base) * ndtr(marginal * spread + effects[fault])


def recorded(rng: np.random.Generator, world: World, seen: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What is written down: hidden faults are not, shake and motion hide each other, further ones now and then not."""
    n = len(seen["shake"])
    shown = {fault: values.copy() for fault, values in seen.items()}
    for hiding, hidden in HIDES.items():
        for fault in hidden:
            shown[fault] &= ~(seen[hiding] & (rng.random(n) < 0.9))
    both = shown["shake"] & shown["motion"]
    loses = rng.random(n) < 0.5
    shown["shake"] &= ~(both & loses)
    shown["motion"] &= ~(both & ~loses)
    order = np.argsort(rng.random((n, len(FAULTS))), axis=1)
    matrix = np.stack([shown[fault] for fault in FAULTS], axis=1)
    turn = np.take_along_axis(matrix, order, axis=1)
    kept = turn & ((np.cumsum(turn, axis=1) == 1) | (rng.random(turn.shape) < world.completeness))
    np.put_along_axis(matrix, order, kept, axis=1)
    return {fault: matrix[:, column] for column, fault in enumerate(FAULTS)}


def conditions(who: Person, table: Table) -> dict[str, np.ndarray]:
    """Frames exposed to each habit by its definition, with the true limits."""
    ceiling = np.where(table["body"] == 0, who.iso["A"], who.iso["B"])
    hand = np.where(table["body"] == 0, who.hand[True], who.hand[False])
    below = table["time"] + np.log2(table["focal"])
    freeze = np.array(who.freeze)[table["pace"]]
    by_hand = table["support"] == "hand-held"
    spare = table["iso"] <= ceiling - 2
    thin = depth_of_field_m(table["focal"], table["aperture"], table["distance"]) < table["depth"]
    error = table["time"] + table["iso"] - table["aperture"] + table["ev"]
    need = np.where(by_hand, np.minimum(hand - np.log2(table["focal"]), freeze), freeze)
    return {
        "slow_by_hand": by_hand & ~table["flash"] & (below > hand) & spare,
        "thin_focus": (table["aperture"] <= 2 * np.log2(2.8) + 0.1) & thin & spare,
        "needlessly_fast": (table["time"] < need - 2) & (table["iso"] > ceiling),
        "under_in_backlight": table["backlit"] & (error < 0.5) & (table["iso"] <= 8),
        "slow_for_subject": (table["pace"] >= 2) & ~table["flash"] & (table["time"] > freeze) & spare,
        "stopped_down": (table["aperture"] >= 2 * np.log2(9.5) - 0.1) & (table["iso"] >= 2),
        "long_burst": table["length"] >= 13,
        "first_bursts": table["burst_number"] < 2,
        "late_session": table["burst_number"] >= 0.75 * table["session_bursts"],
        "weekend": np.floor(table["day"]) % 7 < 2,
        "fiddling": table["changed"],
    }


def as_frames(table: Table, faults: dict[str, np.ndarray], is_keeper: np.ndarray) -> pd.DataFrame:
    """The frames table of the statistics."""
    return pd.DataFrame(
        {
            "session": table["session"],
            "burst": table["burst"],
            "position": table["position"],
            "day": table["day"],
            "exposure_time_s": 2.0 ** table["time"],
            "f_number": 2.0 ** (table["aperture"] / 2),
            "iso": 100 * 2.0 ** table["iso"],
            "focal_length_35mm": table["focal"],
            "body": np.where(table["body"] == 0, "A", "B"),
            "lens": np.array([lens[0] for lens in LENSES])[table["lens"]],
            "support": table["support"],
            "is_stabilised": table["body"] == 0,
            "used_flash": table["flash"],
            "priority": np.where(table["depth_first"], "depth", "motion"),
            "ev100": table["ev"],
            "subject_pace": table["pace_name"],
            "is_backlit": table["backlit"],
            "subject_distance_m": table["distance"],
            "subject_depth_m": table["depth"],
            "burst_number": table["burst_number"],
            "session_bursts": table["session_bursts"],
            "burst_length": table["length"],
            "is_keeper": is_keeper,
            **{f"fault_{fault}": faults[fault] & ~is_keeper for fault in FAULTS},
        }
    )
