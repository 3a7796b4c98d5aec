"""How far two people agree: the published example, the laws of kappa, and when nothing is said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.statistics.agreement import agreement


def told(table: tuple[int, int, int, int]) -> tuple[list[bool], list[bool]]:
    """Verdicts from counts of (both keep, only the first, only the second, neither)."""
    pairs = [(True, True), (True, False), (False, True), (False, False)]
    both = [pair for pair, n in zip(pairs, table, strict=True) for _ in range(n)]
    return [pair[0] for pair in both], [pair[1] for pair in both]


def test_fifty_frames_with_thirty_five_the_same_are_four_tenths_beyond_chance() -> None:
    own, other = told((20, 5, 10, 15))
    found = agreement(own, other, range(50))
    assert found.kappa == pytest.approx((0.7 - 0.5) / (1 - 0.5))
    # The large-sample variance of Fleiss, Cohen and Everitt (1969), reckoned by hand for this table.
    assert (found.low, found.high) == (
        pytest.approx(0.4 - 1.96 * 0.127, abs=5e-4),
        pytest.approx(0.4 + 1.96 * 0.127, abs=5e-4),
    )
    assert (found.n_same, found.n_frames, found.n_bursts, found.is_enough) == (35, 50, 50, True)


def test_where_one_of_them_always_says_one_thing_nothing_is_said() -> None:
    found = agreement([True] * 40, [True] * 40, range(40))
    assert math.isnan(found.kappa) and not found.is_enough
    assert math.isnan(agreement([True] * 40, [True, False] * 20, range(40)).kappa)
    assert not agreement([], [], []).is_enough


def test_full_agreement_has_no_interval() -> None:
    own, _ = told((20, 0, 0, 20))
    found = agreement(own, own, range(40))
    assert found.kappa == pytest.approx(1)
    assert math.isnan(found.low) and math.isnan(found.high) and found.is_enough


def test_few_frames_or_few_bursts_are_not_enough() -> None:
    own, other = told((20, 5, 10, 15))
    assert not agreement(own[:29], other[:29], range(29)).is_enough
    assert not agreement(own, other, [number % 9 for number in range(50)]).is_enough


def test_lists_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        agreement([True], [True, False], [1])


@settings(deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=4, max_size=60))
def test_it_does_not_matter_who_is_who_and_keepers_may_be_called_rejects(pairs: list[tuple[bool, bool]]) -> None:
    own, other = np.array(pairs).T
    bursts = range(len(pairs))
    found, swapped = agreement(own, other, bursts).kappa, agreement(other, own, bursts).kappa
    turned = agreement(~own, ~other, bursts).kappa
    assert found == pytest.approx(swapped, nan_ok=True)
    assert found == pytest.approx(turned, nan_ok=True)
    assert math.isnan(found) or -1 - 1e-9 <= found <= 1 + 1e-9
