"""Laws that every method obeys: what is only bookkeeping changes no answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from careers import World, career

from analytics.statistics.advice_effect import advice_effect
from analytics.statistics.habits import habits
from analytics.statistics.limits import limits
from analytics.statistics.progress import progress
from analytics.statistics.rates import keeper_rates


def _numbers(result: Any) -> np.ndarray:
    if isinstance(result, pd.DataFrame):
        return result.select_dtypes("number").to_numpy(float).ravel()
    return np.array([result[name] for name in dict(result) if isinstance(result[name], float | int)], dtype=float)


METHODS: dict[str, Callable[[pd.DataFrame], Any]] = {
    "rates": lambda frames: keeper_rates(frames, "lens"),
    "hand-held": lambda frames: limits(frames, "hand-held"),
    "freeze": lambda frames: limits(frames, "freeze"),
    "iso": lambda frames: limits(frames, "iso"),
    "habits": habits,
    "progress": progress,
    "advice": lambda frames: advice_effect(frames, 150.0, "slow_by_hand"),
}


@pytest.fixture(scope="module")
def frames() -> pd.DataFrame:
    return career(51, 30, World(habits=1.0)).frames


@pytest.mark.parametrize("name", METHODS)
def test_the_order_of_rows_makes_no_difference(frames: pd.DataFrame, name: str) -> None:
    method = METHODS[name]
    shuffled = frames.sample(frac=1, random_state=7)
    np.testing.assert_allclose(_numbers(method(shuffled)), _numbers(method(frames)), rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("name", METHODS)
def test_the_numbers_of_sessions_and_bursts_are_only_names(frames: pd.DataFrame, name: str) -> None:
    method = METHODS[name]
    renamed = frames.assign(session=frames["session"] * 7 + 1000, burst=frames["burst"] * 3 + 5)
    np.testing.assert_allclose(_numbers(method(renamed)), _numbers(method(frames)), rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("name", METHODS)
def test_a_column_that_nobody_asked_for_makes_no_difference(frames: pd.DataFrame, name: str) -> None:
    method = METHODS[name]
    more = frames.assign(mood="fine", moon=np.arange(len(frames)))
    np.testing.assert_array_equal(_numbers(method(more)), _numbers(method(frames)))


@pytest.mark.parametrize("name", METHODS)
def test_a_125th_is_eight_milliseconds(frames: pd.DataFrame, name: str) -> None:
    method = METHODS[name]
    spelled = frames.assign(exposure_time_s=frames["exposure_time_s"].map(lambda time: float(f"{time:.12g}")))
    np.testing.assert_allclose(_numbers(method(spelled)), _numbers(method(frames)), rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("name", ["hand-held", "freeze", "iso"])
def test_the_same_sessions_twice_are_the_same_limit_surer(frames: pd.DataFrame, name: str) -> None:
    twice = pd.concat(
        [frames, frames.assign(session=frames["session"] + 10_000, burst=frames["burst"] + 10_000)], ignore_index=True
    )
    one, two = METHODS[name](frames).set_index("key"), METHODS[name](twice).set_index("key")
    answered = one["n_near"] >= 5
    width, width_twice = (table["high"] - table["low"] for table in (one, two))
    assert (width_twice[answered] < width[answered]).all()
    # Priors pull a limit half as hard when there is twice the evidence.
    assert ((two["estimate"] - one["estimate"]).abs()[answered] < width[answered] / 4).all()


def test_the_same_sessions_twice_are_the_same_rate(frames: pd.DataFrame) -> None:
    twice = pd.concat([frames, frames.assign(session=frames["session"] + 10_000, burst=frames["burst"] + 10_000)])
    one, two = (keeper_rates(table, "lens") for table in (frames, twice))
    np.testing.assert_allclose(one["estimate"], two["estimate"])
    assert (two["high"] - two["low"] < one["high"] - one["low"]).all()


@pytest.mark.parametrize("name", ["rates", "hand-held", "freeze", "iso"])
def test_a_burst_that_is_split_says_about_the_same(frames: pd.DataFrame, name: str) -> None:
    """A burst that a pause cut in two is the same evidence, for the session is its unit."""
    split = frames.assign(burst=frames["burst"] * 2 + (frames["position"] >= 5))
    one, two = METHODS[name](frames), METHODS[name](split)
    np.testing.assert_allclose(two["estimate"], one["estimate"], atol=1e-6)
    np.testing.assert_allclose(two["high"] - two["low"], one["high"] - one["low"], rtol=0.25)
