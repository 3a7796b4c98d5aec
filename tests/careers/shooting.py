"""What is shot: sessions, bursts and frames with their light, subjects and settings, by columns."""

from __future__ import annotations

from typing import Any

import numpy as np

from careers.people import LENSES, PACES, Person, World

#: Kinds of outing: EV at ISO 100 (mean, sd), paces with weights, share of depth priority, tripod, monopod and flash,
#: share of backlit bursts, lenses, distance in focal lengths x 1 m / 50 mm.
OUTINGS: tuple[dict[str, Any], ...] = (
    {"ev": (10, 1.8), "paces": (0.05, 0.15, 0.3, 0.4, 0.1), "depth": 0.1, "tripod": 0.0, "monopod": 0.2, "flash": 0.0,
     "backlit": 0.3, "lenses": (3, 4), "distance": 5.0},
    {"ev": (8, 2.0), "paces": (0.3, 0.3, 0.3, 0.0, 0.1), "depth": 0.2, "tripod": 0.25, "monopod": 0.2, "flash": 0.0,
     "backlit": 0.25, "lenses": (4,), "distance": 3.0},
    {"ev": (5, 1.0), "paces": (0.1, 0.3, 0.4, 0.2, 0.0), "depth": 0.2, "tripod": 0.0, "monopod": 0.0, "flash": 0.2,
     "backlit": 0.2, "lenses": (0, 1, 2), "distance": 3.0},
    {"ev": (9.5, 2.0), "paces": (0.6, 0.4, 0.0, 0.0, 0.0), "depth": 0.7, "tripod": 0.05, "monopod": 0.0, "flash": 0.15,
     "backlit": 0.35, "lenses": (1, 2), "distance": 2.0},
    {"ev": (11, 2.5), "paces": (0.75, 0.25, 0.0, 0.0, 0.0), "depth": 0.9, "tripod": 0.4, "monopod": 0.0, "flash": 0.0,
     "backlit": 0.3, "lenses": (0, 1, 3), "distance": 8.0},
    {"ev": (9, 3.0), "paces": (0.2, 0.35, 0.4, 0.05, 0.0), "depth": 0.5, "tripod": 0.0, "monopod": 0.0, "flash": 0.05,
     "backlit": 0.25, "lenses": (0, 1), "distance": 4.0},
)  # fmt: skip

Table = dict[str, np.ndarray]


def sessions(rng: np.random.Generator, who: Person, world: World, n_sessions: int) -> Table:
    """One row per session."""
    day = np.sort(rng.integers(0, int(world.days), n_sessions)).astype(float) + 0.3
    day -= day[0]
    kind = rng.choice(len(OUTINGS), n_sessions, p=who.outings)
    # Easier scenes: the light grows over the career, and the subjects slow down (below, per burst).
    drift = world.easier * (day / max(day[-1], 1.0) - 0.5)
    ev = np.array([rng.normal(*OUTINGS[k]["ev"]) for k in kind]) + 4.0 * drift
    u = rng.random(n_sessions)
    tripod = np.array([OUTINGS[k]["tripod"] for k in kind])
    monopod = np.array([OUTINGS[k]["monopod"] for k in kind])
    support = np.where(u < tripod, "tripod", np.where(u < tripod + monopod, "monopod", "hand-held"))
    support = np.where((support == "hand-held") & (rng.random(n_sessions) < 0.05), "braced", support)
    flash = rng.random(n_sessions) < np.array([OUTINGS[k]["flash"] for k in kind])
    body = np.where(rng.random(n_sessions) < 0.6, 0, 1)
    return {
        "session": np.arange(n_sessions), "day": day, "kind": kind, "ev": np.clip(ev, 1, 15.5), "support": support,
        "flash": flash, "body": body, "drift": drift, "n_bursts": rng.integers(6, 13, n_sessions),
    }  # fmt: skip


def bursts(rng: np.random.Generator, who: Person, world: World, outing: Table) -> Table:
    """One row per burst with its scene and the settings it starts with [stops]."""
    row = np.repeat(np.arange(len(outing["day"])), outing["n_bursts"])
    n = len(row)
    kind = outing["kind"][row]
    first = np.concatenate([[0], np.cumsum(outing["n_bursts"])[:-1]])
    scene: Table = {name: outing[name][row] for name in ("session", "day", "support", "flash", "body")}
    scene["burst_number"] = np.arange(n) - first[row]
    scene["session_bursts"] = outing["n_bursts"][row]
    scene["ev"] = np.clip(outing["ev"][row] + rng.normal(0, 0.6, n), 0, 16)
    paces = np.array([OUTINGS[k]["paces"] for k in range(len(OUTINGS))])
    pace = (rng.random(n)[:, None] > np.cumsum(paces[kind], axis=1)).sum(axis=1).clip(0, 4)
    slower = rng.random(n) < 0.8 * np.abs(outing["drift"][row])
    scene["pace"] = np.where(slower, np.clip(pace - np.sign(outing["drift"][row]), 0, 4), pace).astype(int)
    scene["depth_first"] = rng.random(n) < np.array([OUTINGS[k]["depth"] for k in kind])
    scene["backlit"] = rng.random(n) < np.array([OUTINGS[k]["backlit"] for k in kind])
    lens = np.array([rng.choice(OUTINGS[k]["lenses"]) for k in kind])
    scene["lens"] = lens
    scene["focal"] = np.array([rng.choice(LENSES[k][2]) for k in lens], dtype=float)
    reach = np.array([OUTINGS[k]["distance"] for k in kind]) * np.exp(rng.normal(0, 0.4, n))
    scene["distance"] = np.clip(reach * scene["focal"] / 50, 0.6, 300)
    scene["depth"] = np.exp(rng.normal(np.log(0.4), 0.6, n)) * np.where(kind == 4, 8, 1)
    scene["length"] = rng.integers(5, 16, n)
    for name in who.habits:
        gone = (scene["day"] >= world.stops_at) & (world.stops_habit == name)
        scene[name] = (rng.random(n) < who.habits[name]) & ~gone
    return scene | choose(rng, who, scene)


def depth_of_field_m(focal: np.ndarray, aperture: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Depth of field on 36 x 24 mm with 0.03 mm, by the textbook formulas; infinite beyond the hyperfocal distance."""
    f = focal / 1000
    h = f**2 / (2 ** (aperture / 2) * 0.03e-3) + f
    near = distance * (h - f) / (h + distance - 2 * f)
    far = np.where(distance >= h, np.inf, distance * (h - f) / np.maximum(h - distance, 1e-9))
    return far - near


def choose(rng: np.random.Generator, who: Person, scene: Table) -> Table:
    """Time, aperture and ISO of each burst in stops; the habits are acted out here."""
    n = len(scene["ev"])
    stabilised = scene["body"] == 0
    rule = -np.log2(scene["focal"])
    hand = rule + np.where(stabilised, who.hand[True], who.hand[False]) + who.belief
    steady = np.select(
        [scene["support"] == "tripod", scene["support"] == "monopod", scene["support"] == "braced"],
        [hand + 8, hand + 1.5, hand + 1.0],
        hand,
    )
    steady = np.where(scene["flash"], -6.0, steady)
    freeze = np.array(who.freeze)[scene["pace"]] + who.belief
    widest = 2 * np.log2(np.array([LENSES[k][1] for k in scene["lens"]]))
    wanted = widest + np.where(scene["depth_first"], rng.uniform(1, 4, n), rng.uniform(0, 1.2, n))
    aperture = np.where(scene["thin_focus"] & (widest <= 3), widest, np.minimum(wanted, 7))
    aperture = np.where(scene["stopped_down"] & (rng.random(n) < 0.5), rng.uniform(6.6, 8, n), aperture)
    time = np.minimum(steady, freeze) - who.margin + rng.normal(0, 0.8, n)
    slow = scene["slow_by_hand"] & (scene["support"] == "hand-held") & ~scene["flash"]
    time = np.where(slow, np.maximum(time, hand + rng.uniform(0, 2, n)), time)
    moving = scene["slow_for_subject"] & (scene["pace"] >= 2) & ~scene["flash"]
    time = np.where(moving, np.maximum(time, freeze + rng.uniform(0, 2, n)), time)
    time = np.where(scene["needlessly_fast"] & ~slow & ~moving, time - rng.uniform(2, 4, n), time)
    error = rng.normal(0, 0.3, n) + np.where(scene["backlit"] & ~scene["under_in_backlight"], 1.0, 0.0)
    iso = aperture - time - scene["ev"] + error - np.where(scene["flash"], 3.0, 0.0)
    most = np.array([who.iso["A"], who.iso["B"]])[scene["body"]] + rng.uniform(0, 1.5, n)
    most = most + np.where(scene["needlessly_fast"], 2.0, 0.0)
    over = np.maximum(iso - most, 0)
    opened = np.minimum(over, np.maximum(aperture - widest, 0))
    aperture, iso, over = aperture - opened, iso - opened, over - opened
    time, iso = time + over, iso - over
    under = np.maximum(-iso, 0)
    time, iso = time - under, iso + under
    stuck = np.maximum(-13.0 - time, 0)
    time, aperture = time + stuck, aperture + stuck
    thirds = {"time": time, "aperture": aperture, "iso": iso}
    return {name: np.round(values * 3) / 3 for name, values in thirds.items()}


def frames(rng: np.random.Generator, scene: Table) -> Table:
    """One row per frame; `fiddling` changes the settings inside the burst and keeps the exposure."""
    row = np.repeat(np.arange(len(scene["ev"])), scene["length"])
    table = {name: values[row] for name, values in scene.items()}
    table["burst"] = row
    first = np.concatenate([[0], np.cumsum(scene["length"])[:-1]])
    table["position"] = np.arange(len(row)) - first[row]
    step = np.round(rng.normal(0, 0.8, len(row)) * 3) / 3 * table["fiddling"]
    table["time"] = table["time"] - step
    table["iso"] = np.maximum(table["iso"] + step, 0)
    table["pace_name"] = np.array(PACES)[table["pace"]]
    return table
