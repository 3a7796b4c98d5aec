"""The functions by which everything else asks, taken from the package itself."""

from __future__ import annotations

import pandas as pd
import pytest
from careers import career

import analytics.statistics as statistics


@pytest.fixture(scope="module")
def frames() -> pd.DataFrame:
    return career(71, 25).frames


def test_every_question_has_a_function_that_can_be_called() -> None:
    for name in statistics.__all__:
        assert callable(getattr(statistics, name)), name


def test_rates_are_by_key(frames: pd.DataFrame) -> None:
    rates = statistics.keeper_rates(frames, "lens")
    assert list(rates.columns) == [
        "key", "n_frames", "n_bursts", "n_sessions", "estimate", "low", "high", "is_enough",
    ]  # fmt: skip
    assert rates["key"].tolist() == sorted(frames["lens"].unique())


@pytest.mark.parametrize(("kind", "keys"), [("hand-held", {False, True}), ("iso", {"A", "B"})])
def test_limits_are_by_key(frames: pd.DataFrame, kind: str, keys: set[object]) -> None:
    found = statistics.limits(frames, kind)
    assert {"key", "estimate", "low", "high", "is_enough"} <= set(found.columns)
    assert set(found["key"]) == keys
    assert statistics.more_sessions(frames, kind, next(iter(keys)), 0.3) > 0


def test_habits_are_by_key(frames: pd.DataFrame) -> None:
    found = statistics.habits(frames)
    assert {"key", "n_frames", "n_sessions", "lost", "low", "high", "is_flagged", "is_enough"} <= set(found.columns)
    assert "slow_by_hand" in set(found["key"])


def test_changes_are_results_with_a_verdict(frames: pd.DataFrame) -> None:
    assert statistics.progress(frames)["verdict"] in ("better", "worse", "no clear change", "not enough")
    effect = statistics.advice_effect(frames, 150.0, "slow_by_hand")
    assert effect.verdict in ("worked", "worse", "no clear effect", "not enough")
    assert effect.n_sessions == 25
    assert effect["gain"] == pytest.approx(effect.gain, nan_ok=True)
    with pytest.raises(KeyError):
        effect["no such field"]
