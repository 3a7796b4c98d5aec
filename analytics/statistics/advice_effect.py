"""Did a piece of advice work? Three separate answers: was it followed, did its fault fall, what did it gain.

The gain is what the photographer's own curves say of the settings before and after, so it does not move with luck or
with learning of another kind; it is held at equal conditions. Sessions that gave rise to the advice were picked for
being bad, so whatever follows looks better; they are left out. There is no control: only the faults that the advice is
not about can serve as a weak one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.statistics.cells import Cells, cells_of, has_any
from analytics.statistics.conditions import condition_columns, matrix
from analytics.statistics.engine import Fit, Interval, fit, fit_linear, jackknife, logistic, standardised_change
from analytics.statistics.fault_curves import FaultCurve, changed, fit_fault_curves
from analytics.statistics.habit_catalogue import BY_KEY, Habit, scene_of
from analytics.statistics.habits import costs_of
from analytics.statistics.results import AdviceEffect, Line

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats

    Booleans = NDArray[np.bool_]

#: Below this many sessions on either side there is not enough to say.
ENOUGH_SESSIONS = 5
#: Spread of effects on keeping [logits], and of effects on a share [in its own standard deviations].
CONDITION_SD, CHANGE_SD, INTERCEPT_SD, LINEAR_SD = 0.5, 2.0, 3.0, 3.0
EXTRA_DF = 1.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Frames before and after the advice: which cells count, which are after, and the conditions as a design."""

    cells: Cells
    counts: Booleans
    is_after: Floats
    design: Floats

    @classmethod
    def of(cls, cells: Cells, day: float, evidence_from: float | None) -> Comparison:
        """Leaves out the days that gave rise to the advice."""
        left_out = np.zeros(len(cells.day), dtype=bool)
        if evidence_from is not None:
            left_out = (cells.day >= evidence_from) & (cells.day < day)
        is_after = (cells.day >= day).astype(np.float64)
        design = np.column_stack([matrix(condition_columns(cells), len(cells.session)), is_after])
        return cls(cells, ~left_out, is_after, design)

    def sessions(self) -> tuple[int, int]:
        """(sessions before, sessions after)."""
        counted, after = self.cells.session[self.counts], self.is_after[self.counts] > 0
        return len(np.unique(counted[~after])), len(np.unique(counted[after]))

    def frames_and_bursts(self) -> tuple[int, int]:
        """(judged frames that count, their bursts)."""
        return int(self.cells.n_frames[self.counts].sum()), len(np.unique(self.cells.burst[self.counts]))


def advice_effect(
    frames: pd.DataFrame, day: float, habit: str, level: float = 0.95, evidence_from: float | None = None
) -> AdviceEffect:
    """What followed a piece of advice against a habit.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        day: of the advice, in days of the frames' `day`; sessions from this day on are after it.
        habit: key of the catalogue.
        level: coverage of the intervals.
        evidence_from: first day of the sessions that gave rise to the advice; they are left out of the comparison.

    Returns:
        Keepers gained per frame after the advice by the change of settings, and the verdict: 'worked', 'worse', 'no
        clear effect', 'not enough'; beside it whether the habit became rarer and whether its fault fell.

    Raises:
        KeyError: no habit of the catalogue has this key.
    """
    chosen, cells = BY_KEY[habit], cells_of(frames)
    if not len(cells.session):
        return AdviceEffect.unknown(0, 0)
    comparison = Comparison.of(cells, day, evidence_from)
    n_before, n_after = comparison.sessions()
    if min(n_before, n_after) < ENOUGH_SESSIONS:
        return AdviceEffect.unknown(n_before, n_after, *comparison.frames_and_bursts())
    shown = chosen.condition(scene_of(cells))
    gain = _gain(chosen, shown, comparison, level)
    return AdviceEffect(
        gain.estimate,
        gain.low,
        gain.high,
        _verdict(gain, ("worked", "worse", "no clear effect")),
        _followed(shown, comparison, level),
        _target_fault(chosen, comparison, level),
        n_before,
        n_after,
        *comparison.frames_and_bursts(),
    )


def _verdict(found: Interval, words: tuple[str, str, str]) -> str:
    if found.low > 0:
        return words[0]
    return words[1] if found.high < 0 else words[2]


def _gain(habit: Habit, shown: Booleans, comparison: Comparison, level: float) -> Interval:
    """Fall of the expected loss per frame, by least squares on the conditions; curves and sessions both move it."""
    loss, gradients, curves = _expected_loss(habit, shown, comparison.cells)
    fitted, of_rows = _before_and_after(loss, comparison)
    moves = -fitted.deleted[:, -1]
    for fault, gradient in gradients.items():
        deleted = curves[fault].deleted
        moves[: len(deleted)] -= deleted @ (of_rows @ gradient)
    return jackknife(moves, -float(fitted.theta[-1]), level, EXTRA_DF)


def _before_and_after(values: Floats, comparison: Comparison) -> tuple[Fit, Floats]:
    """(the fit, whose last parameter is the change from before to after; its derivative in each value (m,))."""
    cells = comparison.cells
    n = cells.n_frames * comparison.counts
    design = comparison.design
    sd = np.full(design.shape[1], LINEAR_SD)
    sd[0] = sd[-1] = 1e3
    fitted = fit_linear(design, n, values, cells.session, sd)
    return fitted, np.linalg.solve(fitted.information, (design * n[:, None]).T)[-1]


def _expected_loss(habit: Habit, shown: Booleans, cells: Cells) -> tuple[Floats, dict[str, Floats], dict[str, Fit]]:
    """Keepers per frame that the habit is expected to lose by the photographer's curves, 0 where it is not shown.

    Returns:
        (loss (m,), its gradient (m, P) in the parameters of each curve, the fits of these curves).
    """
    if habit.kind == "label":
        cost = costs_of(cells, {habit.key: shown})[habit.key]
        per_frame = cost.gained / max(float(cells.n_frames[shown].sum()), 1.0)
        return np.where(shown, per_frame, 0.0), {}, {}
    curves = fit_fault_curves(cells)
    now, before = _spared(cells, curves)
    then, after = _spared(changed(cells, habit.time, habit.aperture, habit.iso), curves)
    rest = float(cells.n_keepers.sum() / (cells.n_frames * now).sum())
    scale = rest * shown
    gradients = {fault: (after[fault] - before[fault]) * scale[:, None] for fault in curves}
    return (then - now) * scale, gradients, {fault: curve.fitted for fault, curve in curves.items()}


def _spared(cells: Cells, curves: dict[str, FaultCurve]) -> tuple[Floats, dict[str, Floats]]:
    """(chance that settings spoil a frame in no way (m,), its gradient in the parameters of each curve (m, P))."""
    chances = {fault: curve.chance(cells) for fault, curve in curves.items()}
    spared = np.prod([1 - p for p, _ in chances.values()], axis=0)
    gradients = {
        fault: -gradient * (spared / np.maximum(1 - p, 1e-9))[:, None] for fault, (p, gradient) in chances.items()
    }
    return spared, gradients


def _followed(shown: Booleans, comparison: Comparison, level: float) -> Line:
    """Change of the share of frames that show the habit."""
    fitted, _ = _before_and_after(shown.astype(np.float64), comparison)
    found = jackknife(fitted.deleted[:, -1], float(fitted.theta[-1]), level, EXTRA_DF)
    verdict = _verdict(found, ("shown more", "followed", "no clear change"))
    return Line(found.estimate, found.low, found.high, verdict)


def _target_fault(habit: Habit, comparison: Comparison, level: float) -> Line:
    """Change of the share of frames with the fault that the advice is against; of rejects where it is against none."""
    cells, design = comparison.cells, comparison.design
    n = cells.n_frames * comparison.counts
    y = cells.count(has_any((habit.fault,))) if habit.fault else cells.n_frames - cells.n_keepers
    sd = np.full(design.shape[1], CONDITION_SD)
    sd[0], sd[-1] = INTERCEPT_SD, CHANGE_SD
    fitted = fit(logistic(design), (n, y * comparison.counts), cells.session, (np.zeros(len(sd)), sd))
    change, gradient = standardised_change(fitted, design, n)
    found = jackknife(fitted.deleted @ gradient, change, level, EXTRA_DF)
    return Line(found.estimate, found.low, found.high, _verdict(found, ("rose", "fell", "no clear change")))
