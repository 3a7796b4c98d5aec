"""The short calibration: sixteen careers of sixty sessions, every question, against what the methods promise.

Bounds leave three standard errors of the number of answers, taken for half as many as they are since answers of one
career go together. The long form and its results are in DEVELOPERS.md.
"""

from __future__ import annotations

from math import sqrt

import pytest
from careers.calibration import (
    Figure,
    advice_figures,
    habit_figures,
    limit_figures,
    progress_figures,
    rate_figures,
)

N_SESSIONS, CAREERS = 60, range(700, 716)


def by_name(figures: list[Figure]) -> dict[tuple[str, str], Figure]:
    return {(figure.question, figure.figure): figure for figure in figures}


def least_coverage(figure: Figure, promised: float = 0.95) -> float:
    return promised - 3 * sqrt(promised * (1 - promised) / (figure.n / 2))


def most_false(n: int, allowed: float) -> float:
    return allowed + 3 * sqrt(allowed * (1 - allowed) / n)


def test_rates_cover_what_their_scenes_keep() -> None:
    found = by_name(rate_figures(N_SESSIONS, CAREERS))
    assert found["rates", "coverage"].value >= least_coverage(found["rates", "coverage"])
    assert abs(found["rates", "bias"].value) < 0.02
    assert found["rates", "half-width"].value <= 0.105


@pytest.mark.parametrize(("kind", "half_width"), [("hand-held", 0.65), ("freeze", 0.65), ("iso", 0.45)])
def test_limits_cover_the_truth_and_are_not_biased(kind: str, half_width: float) -> None:
    found = by_name([figure for figure in limit_figures(N_SESSIONS, CAREERS) if figure.question == kind])
    coverage = found[kind, "coverage"]
    assert coverage.n >= 20
    assert coverage.value >= least_coverage(coverage)
    assert abs(found[kind, "bias"].value) < 0.15
    assert found[kind, "half-width"].value < half_width


def test_habits_are_found_at_their_cost_and_harmless_ones_left_alone() -> None:
    found = by_name(habit_figures(N_SESSIONS, CAREERS))
    for world in ("habits", "no habits"):
        assert found[world, "coverage"].value >= least_coverage(found[world, "coverage"])
        assert abs(found[world, "bias"].value) < 0.2
        assert found[world, "false discoveries"].value <= most_false(len(CAREERS), 0.10)
    power = found["habits", "power"]
    assert power.value >= 0.90 - 3 * sqrt(0.9 * 0.1 / (power.n / 2))


def test_progress_is_no_false_alarm() -> None:
    found = by_name(progress_figures(N_SESSIONS, CAREERS))
    for name in (
        "nothing changes: said better",
        "scenes get easier: said better",
        "scenes get harder: said worse",
    ):
        assert found["progress", name].value <= most_false(len(CAREERS), 0.06)


def test_advice_is_credited_only_where_it_was_followed() -> None:
    found = by_name(advice_figures(N_SESSIONS, CAREERS))
    for name in (
        "ignored: said worked",
        "ignored, scenes get easier: said worked",
        "ignored, skill grows: said worked",
    ):
        assert found["advice", name].value <= most_false(len(CAREERS), 0.06)
    assert found["advice", "followed: said worked"].value >= 0.30
