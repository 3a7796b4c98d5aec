"""Inside a session: intervals that hold its own rates, parts that are large enough, changes that are none."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.statistics.rates import wilson
from analytics.statistics.within_session import (
    BURSTS_PER_PART,
    FAULT_IN_BURST,
    KEPT_IN_BURST,
    Counts,
    Share,
    difference,
    parts,
    shares,
)


def bursts(rng: np.random.Generator, rate: float, n_bursts: int, correlation: float) -> list[Counts]:
    """Bursts of 1 to 9 frames that are alike within a burst."""
    alike = (1 - correlation) / correlation
    drawn = rng.beta(alike * rate, alike * (1 - rate), n_bursts)
    sizes = rng.integers(1, 10, n_bursts)
    return [Counts(int(n), int(rng.binomial(n, p))) for n, p in zip(sizes, drawn, strict=True)]


@pytest.mark.parametrize("correlation", [KEPT_IN_BURST, FAULT_IN_BURST])
@pytest.mark.parametrize("n_bursts", [8, 30])
@pytest.mark.parametrize("rate", [0.1, 0.5, 0.7])
def test_the_interval_holds_what_many_more_bursts_would_come_to(rate: float, n_bursts: int, correlation: float) -> None:
    rng = np.random.default_rng([n_bursts, round(100 * rate)])
    found = shares([bursts(rng, rate, n_bursts, correlation) for _ in range(600)], correlation)
    assert np.mean([share.low <= rate <= share.high for share in found]) > 0.93


def test_frames_of_one_burst_are_not_so_many_facts() -> None:
    (alone,) = shares([[Counts(1, number % 2) for number in range(40)]], KEPT_IN_BURST)
    (alike,) = shares([[Counts(10, 10 * (number % 2)) for number in range(4)]], KEPT_IN_BURST)
    assert (alone.n_frames, alike.n_frames, alone.estimate, alike.estimate) == (40, 40, 0.5, 0.5)
    assert alike.high - alike.low > 2 * (alone.high - alone.low)
    assert (alone.is_enough, alike.is_enough) == (True, False)
    low, high = wilson(0.5, 40)
    assert alone.high - alone.low == pytest.approx(high - low, rel=0.1)


def test_shares_come_in_the_order_of_their_groups_and_none_come_of_nothing() -> None:
    found = shares([[Counts(4, 1)], [Counts(2, 2), Counts(2, 1)]], KEPT_IN_BURST)
    assert [(share.n_frames, share.n_bursts, share.estimate) for share in found] == [(4, 1, 0.25), (4, 2, 0.75)]
    assert shares([], KEPT_IN_BURST) == []


@pytest.mark.parametrize("n_bursts", [0, 1, 15, 16, 17, 47, 48, 500])
def test_parts_are_all_bursts_once_and_none_is_small(n_bursts: int) -> None:
    cut = parts(n_bursts)
    assert [number for part in cut for number in range(n_bursts)[part]] == list(range(n_bursts))
    assert len(cut) == 1 or min(len(range(n_bursts)[part]) for part in cut) >= BURSTS_PER_PART
    assert len(cut) == max(1, min(6, n_bursts // BURSTS_PER_PART))


def test_the_change_from_part_to_part_is_rarely_seen_where_there_is_none() -> None:
    rng = np.random.default_rng(5)
    said = []
    for _ in range(600):
        first, last = shares([bursts(rng, 0.6, 10, KEPT_IN_BURST) for _ in range(2)], KEPT_IN_BURST)
        change, low, high = difference(first, last)
        assert low <= change <= high
        said.append(not low <= 0 <= high)
    assert np.mean(said) < 0.05


def test_a_large_change_over_many_bursts_is_seen() -> None:
    rng = np.random.default_rng(6)
    said = 0
    for _ in range(200):
        first, last = shares([bursts(rng, rate, 40, KEPT_IN_BURST) for rate in (0.3, 0.7)], KEPT_IN_BURST)
        said += difference(first, last)[1] > 0
    assert said > 180


def test_a_change_stays_within_what_is_possible() -> None:
    none, all_kept = Share(3, 2, 0.0, 0.0, 0.9, False), Share(3, 2, 1.0, 0.1, 1.0, False)
    change, low, high = difference(none, all_kept)
    assert (change, high) == (1.0, 1.0)
    assert low == pytest.approx(1 - np.hypot(0.9, 0.9))
