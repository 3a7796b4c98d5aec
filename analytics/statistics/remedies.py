"""What a change of settings would have done to frames that were judged: rejects cured, keepers spoiled.

A reject is cured when the remedy takes away every fault it has and brings no other; a keeper is spoiled when the
remedy brings a fault. Not every fault of a reject is written down: one fault hides another, or nobody looked for a
second one. How often a second fault is written down shows in how often it is found beside others, and what is not
written down is reckoned with.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analytics.statistics.cells import FAULTS, KEEPER_BIT, N_OUTCOMES, Cells, has_any, sums, take
from analytics.statistics.fault_curves import FaultCurve, changed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats

    Booleans = NDArray[np.bool_]

#: A second fault is taken to be written down this often, with the weight of this many frames, before any was seen.
SEEN_BESIDE, SEEN_WEIGHT = 0.5, 5.0
#: Step of a chance in the differences that make gradients.
STEP = 1e-5


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of the faults in some cells, each (m,), before and after a change of settings, by fault."""

    before: dict[str, Floats]
    after: dict[str, Floats]


@dataclass(frozen=True, slots=True)
class Credit:
    """Keepers won back and lost by a change of settings, by session (G,), with the gradient of their difference.

    `gradient` has, by fault, the derivative of the total difference in the parameters of that fault's curve.
    """

    won: Floats
    lost: Floats
    gradient: dict[str, Floats]


def credit(
    cells: Cells,
    chosen: Booleans,
    curves: dict[str, FaultCurve],
    stops: tuple[float, float, float],
    seen: dict[str, float],
) -> Credit:
    """What another time, aperture and ISO [stops] would have done to the chosen cells.

    Args:
        cells: all cells; chosen: (m,) which of them change.
        curves: of every fault that settings can cure.
        stops: added to time, aperture and ISO.
        seen: how often each fault is written down beside others, as `seen_beside` says.
    """
    mine = take(cells, chosen)
    cured = changed(mine, *stops)
    now = {fault: curve.chance(mine) for fault, curve in curves.items()}
    then = {fault: curve.chance(cured) for fault, curve in curves.items()}
    timing = np.full(len(mine.session), timing_rate(cells))
    chances = Chances(
        {fault: p for fault, (p, _) in now.items()} | {"timing": timing},
        {fault: p for fault, (p, _) in then.items()} | {"timing": timing},
    )
    value = _values(mine, chances, seen)
    gradient = {}
    for fault in curves:
        d_before, d_after = (_derivative(mine, chances, seen, (side, fault)) for side in ("before", "after"))
        gradient[fault] = d_before @ now[fault][1] + d_after @ then[fault][1]
    session = cells.session[chosen][mine.outcome_cell]
    won = sums(session, np.maximum(value, 0) * mine.outcome_frames, cells.n_sessions)
    lost = sums(session, np.maximum(-value, 0) * mine.outcome_frames, cells.n_sessions)
    return Credit(won, lost, gradient)


def _derivative(mine: Cells, chances: Chances, seen: dict[str, float], which: tuple[str, str]) -> Floats:
    """Derivative of the total value in one chance, by cell (m,)."""
    side, fault = which
    found = []
    for step in (STEP, -STEP):
        moved = getattr(chances, side) | {fault: np.maximum(getattr(chances, side)[fault] + step, 0.0)}
        found.append(_values(mine, replace(chances, **{side: moved}), seen))
    by_outcome = (found[0] - found[1]) / (2 * STEP) * mine.outcome_frames
    return sums(mine.outcome_cell, by_outcome, len(mine.session))


def _values(mine: Cells, chances: Chances, seen: dict[str, float]) -> Floats:
    """Expected change of keepers per frame of each outcome, shape (k,)."""
    cell, outcome = mine.outcome_cell, mine.outcome
    is_keeper = outcome == KEEPER_BIT
    stays: Floats = np.ones(len(outcome))
    for bit, fault in enumerate(FAULTS):
        p, q = chances.before[fault][cell], chances.after[fault][cell]
        has = (outcome >> bit) & 1 == 1
        better = q < p
        with np.errstate(divide="ignore", invalid="ignore"):
            cured = np.where(better, 1 - q / p, 0.0)
            left = np.where(better, q / p, 1.0)
        hidden: Floats = np.where(is_keeper, 0.0, p * (1 - seen[fault]) / np.maximum(1 - p * seen[fault], 1e-12))
        spared = np.where(better, 1 - hidden * left, (1 - hidden) * (1 - q) / np.maximum(1 - p, 1e-12))
        stays *= np.where(has, cured, spared)
    change: Floats = np.where(is_keeper, stays - 1, np.where(outcome == 0, 0.0, stays))
    return np.asarray(change, dtype=np.float64)


def seen_beside(cells: Cells, curves: dict[str, FaultCurve]) -> dict[str, float]:
    """How often each fault is written down where it comes together with another one, in [0, 1]."""
    others = {fault: has_any([name for name in FAULTS if name != fault]) for fault in FAULTS}
    found = {}
    for fault in FAULTS:
        beside = cells.count(others[fault])
        chance = curves[fault].chance(cells)[0] if fault in curves else np.full(len(beside), timing_rate(cells))
        expected = float((chance * beside).sum())
        written = float(cells.count(others[fault] & has_any((fault,))).sum())
        found[fault] = min((written + SEEN_BESIDE * SEEN_WEIGHT) / (expected + SEEN_WEIGHT), 1.0)
    return found


def timing_rate(cells: Cells) -> float:
    """Share of frames with the fault that no setting cures, among those that have no other."""
    clear = ~has_any(FAULTS[:-1]) & (np.arange(N_OUTCOMES) != 0)
    n = float(cells.count(clear).sum())
    return float(cells.count(clear & has_any(("timing",))).sum()) / n if n else 0.0


def moves(found: Credit, curves: dict[str, FaultCurve], session_frames: Floats) -> Floats:
    """Change of the total (won - lost) when one session is left out, shape (G,).

    Leaving a session out takes its own frames (the rest stands for them in proportion) and moves every curve.
    """
    by_session = found.won - found.lost
    total, frames = by_session.sum(), session_frames.sum()
    rest = np.maximum(frames - session_frames, 1e-12)
    change = frames * (total - by_session) / rest - total
    for fault, gradient in found.gradient.items():
        deleted = curves[fault].fitted.deleted
        change[: len(deleted)] += deleted @ gradient
    return np.asarray(change, dtype=np.float64)
