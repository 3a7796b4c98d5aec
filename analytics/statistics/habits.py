"""What each habit costs: keepers lost, with an interval, and which habits stand out of chance.

For a setting habit, every reject among its frames is credited with the chance that the remedy would have cured all of
its faults, and every keeper is charged with the chance that the remedy would have spoiled it. For a label habit it is
the difference in keepers at equal conditions. Sessions are left out one at a time to learn how much of that is chance.
Among all habits that could be tested, false discoveries are held to the share `q`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import logit

from analytics.statistics.cells import Cells, cells_of, collapse, sums
from analytics.statistics.conditions import condition_columns, matrix
from analytics.statistics.engine import EDGE, Fit, Interval, fit, jackknife, logistic, standardised_change
from analytics.statistics.fault_curves import FaultCurve, fit_fault_curves, survival
from analytics.statistics.habit_catalogue import BY_KEY, CATALOGUE, Habit, scene_of
from analytics.statistics.remedies import credit, moves, seen_beside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats

    Booleans = NDArray[np.bool_]

#: Below this many frames, or sessions with such frames, there is not enough to say.
ENOUGH_FRAMES, ENOUGH_SESSIONS = 30, 5
#: Spread of the effects of conditions and of a label on keeping [logits].
CONDITION_SD, LABEL_SD = 1.0, 3.0
#: Added to the degrees of freedom that the evenness of the sessions shows.
EXTRA_DF = 2.0

COLUMNS = (
    "key", "n_frames", "n_bursts", "n_sessions", "lost", "low", "high", "lost_per_100", "low_per_100", "high_per_100",
    "gained", "price", "p_value", "is_flagged", "is_enough",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cost:
    """What a habit lost in this journal: keepers gained by the remedy less its price, with the interval."""

    gained: float
    price: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class Labels:
    """One logistic model of keeping: conditions, how well the settings suited them, and every label habit at once.

    The labels are held against each other, for a session whose last quarter is bad makes its first frames look good.
    `design` is (m, P), `column` says which column is whose.
    """

    design: Floats
    column: dict[str, int]
    fitted: Fit


def fit_labels(cells: Cells, curves: dict[str, FaultCurve], shown: dict[str, Booleans]) -> Labels:
    """Fits the model with the label habits that are shown by the cells of `shown`, by key."""
    settings = logit(np.clip(survival(cells, curves), EDGE, 1 - EDGE))
    columns = condition_columns(cells) | {"settings": settings - settings.mean()}
    design = np.column_stack(
        [matrix(columns, len(cells.session)), *(rows.astype(np.float64) for rows in shown.values())]
    )
    n_conditions = 1 + len(columns)
    sd = np.full(design.shape[1], CONDITION_SD)
    sd[0], sd[n_conditions:] = LABEL_SD, LABEL_SD
    fitted = fit(logistic(design), (cells.n_frames, cells.n_keepers), cells.session, (np.zeros(len(sd)), sd))
    return Labels(design, {key: n_conditions + place for place, key in enumerate(shown)}, fitted)


def habits(frames: pd.DataFrame, q: float = 0.10, level: float = 0.95) -> pd.DataFrame:
    """The habits of the catalogue with the keepers they lost.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        q: share of false discoveries among the habits that are said to cost keepers.
        level: coverage of the intervals.

    Returns:
        One row per habit: `key`, `n_frames`, `n_bursts`, `n_sessions` that show it, keepers `lost` in this journal with
        `low` and `high`, the same per 100 judged frames, keepers `gained` by the remedy before its `price` on other
        faults, one-sided `p_value`, `is_flagged`, `is_enough`. What cannot be said is NaN.

    Source: Benjamini and Hochberg 1995; MacKinnon, Nielsen and Webb 2024 for the jackknife.
    """
    return habits_from_cells(cells_of(frames), q, level)


def habits_from_cells(cells: Cells, q: float = 0.10, level: float = 0.95) -> pd.DataFrame:
    """The same from cells."""
    if not len(cells.session):
        return pd.DataFrame(columns=list(COLUMNS))
    scene = scene_of(cells)
    shown = {habit.key: habit.condition(scene) for habit in CATALOGUE}
    counts = {key: _counts(cells, rows) for key, rows in shown.items()}
    others = {key: _counts(cells, ~rows) for key, rows in shown.items()}
    tested = [key for key in counts if _is_enough(counts[key]) and _is_enough(others[key], BY_KEY[key].kind)]
    costs = costs_of(cells, {key: shown[key] for key in tested}, level)
    n_frames = float(cells.n_frames.sum())
    table = pd.DataFrame([_row(key, counts[key], costs.get(key), n_frames) for key in shown], columns=list(COLUMNS))
    is_tested = table["is_enough"].to_numpy(dtype=bool)
    table.loc[is_tested, "is_flagged"] = discoveries(table.loc[is_tested, "p_value"].to_numpy(np.float64), q)
    return table


def costs_of(cells: Cells, shown: dict[str, Booleans], level: float = 0.95) -> dict[str, Cost]:
    """What the habits of these keys lost in the cells that show them."""
    curves = fit_fault_curves(cells)
    seen = seen_beside(cells, curves)
    labels = fit_labels(cells, curves, {key: rows for key, rows in shown.items() if BY_KEY[key].kind == "label"})
    costs = {}
    for key, rows in shown.items():
        habit = BY_KEY[key]
        if habit.kind == "label":
            costs[key] = _label_cost(key, rows, cells, labels, level)
        else:
            costs[key] = _setting_cost(habit, rows, cells, (curves, seen), level)
    return costs


def _is_enough(counts: tuple[int, int, int], kind: str = "label") -> bool:
    """Whether so much is enough; a remedy in stops is compared with itself, and needs no frames without the habit."""
    n_frames, _, n_sessions = counts
    return kind == "setting" or (n_frames >= ENOUGH_FRAMES and n_sessions >= ENOUGH_SESSIONS)


def _counts(cells: Cells, rows: Booleans) -> tuple[int, int, int]:
    """Frames, bursts and sessions that show a habit."""
    places = [len(np.unique(codes[rows])) for codes in (cells.burst, cells.session)]
    return int(cells.n_frames[rows].sum()), places[0], places[1]


def discoveries(p_values: Floats, q: float) -> Booleans:
    """Which of the tests are discoveries with at most a share `q` of false ones expected, shape (k,).

    Source: Benjamini and Hochberg 1995.
    """
    if not len(p_values):
        return np.zeros(0, dtype=bool)
    return np.asarray(stats.false_discovery_control(p_values, method="bh") <= q)


def exposed(frames: pd.DataFrame, key: str) -> pd.Series:
    """Which frames show a habit, aligned to `frames`; its rejects are the evidence, its keepers the counter-examples.

    Raises:
        KeyError: no habit of the catalogue has this key.
    """
    habit = BY_KEY[key]
    cells, places = collapse(frames)
    shown = np.append(habit.condition(scene_of(cells)), False)  # the last place stands for frames without a verdict
    return pd.Series(shown[places], index=frames.index, dtype=bool)


def _setting_cost(
    habit: Habit, rows: Booleans, cells: Cells, chances: tuple[dict[str, FaultCurve], dict[str, float]], level: float
) -> Cost:
    """What the remedy would have won in these cells, less what it would have spoiled."""
    curves, seen = chances
    found = credit(cells, rows, curves, (habit.time, habit.aperture, habit.iso), seen)
    session_frames = sums(cells.session[rows], cells.n_frames[rows], cells.n_sessions)
    change = moves(found, curves, session_frames)
    won, lost = float(found.won.sum()), float(found.lost.sum())
    return Cost(won, lost, jackknife(change, won - lost, level, EXTRA_DF))


def _label_cost(key: str, rows: Booleans, cells: Cells, labels: Labels, level: float) -> Cost:
    """Keepers fewer in these cells than like conditions and settings give without the label."""
    n = cells.n_frames[rows]
    change, gradient = standardised_change(labels.fitted, labels.design[rows], n, labels.column[key])
    lost, gradient = -change * float(n.sum()), -gradient * float(n.sum())
    return Cost(lost, 0.0, jackknife(labels.fitted.deleted @ gradient, lost, level, EXTRA_DF))


def _row(key: str, counts: tuple[int, int, int], cost: Cost | None, n_frames: float) -> tuple[object, ...]:
    if cost is None:
        return (key, *counts, *[np.nan] * 9, False, False)
    found = cost.interval
    lost = (found.estimate, found.low, found.high)
    per_100 = tuple(100 * value / n_frames for value in lost)
    return (key, *counts, *lost, *per_100, cost.gained, cost.price, found.p_value(), False, True)
