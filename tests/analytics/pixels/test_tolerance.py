"""What a photographer tolerates, and how far suggestions and verdicts agree."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.pixels.references import WORDS
from analytics.pixels.tolerance import Judged, Tolerance, agreement, fitted_tolerance

NOTHING = dict.fromkeys(WORDS, -3.0)


def judged(rng: np.random.Generator, tolerance: float, n: int) -> list[Judged]:
    """Frames of all degrees of noise, judged by someone who tolerates it by so much."""
    found = []
    for odds in rng.normal(0, 2, n):
        given = rng.uniform() < 1 / (1 + math.exp(-(odds + tolerance)))
        found.append(Judged({**NOTHING, "noise": float(odds)}, frozenset({"noise"} if given else ())))
    return found


@pytest.mark.parametrize("tolerance", [-1.5, 0.0, 1.0])
def test_a_planted_tolerance_is_found_again(tolerance: float) -> None:
    found = fitted_tolerance(judged(np.random.default_rng(3), tolerance, 2000))
    assert found.noise == pytest.approx(tolerance, abs=0.2)
    assert found.n_frames == 2000


def test_few_verdicts_move_little() -> None:
    one = fitted_tolerance([Judged({**NOTHING, "noise": 2.0}, frozenset())])
    assert -0.8 < one.noise < 0
    assert fitted_tolerance([]) == Tolerance()


def test_keeping_soft_frames_tolerates_softness_much_more_than_noise() -> None:
    soft = [Judged({**NOTHING, "missed focus": 1.5, "camera shake": 0.2}, frozenset()) for _ in range(50)]
    found = fitted_tolerance(soft)
    assert found.softness < -1
    assert found.shift("camera shake") == found.softness
    assert found.shift("overexposed") == 0.0
    assert found.noise > found.softness + 2


def test_agreement_of_what_is_always_the_same_is_whole() -> None:
    given = [frozenset({"noise"}), frozenset(), frozenset({"camera shake"})] * 20
    found = agreement(["noise", None, "camera shake"] * 20, given, range(60))
    assert (found.share, found.kappa, found.n_frames, found.n_bursts) == (1.0, 1.0, 60, 60)
    assert 0.9 < found.share_low < 1.0


def test_where_all_agree_each_burst_counts_once() -> None:
    two = agreement(["noise"] * 200, [frozenset({"noise"})] * 200, [index // 100 for index in range(200)])
    many = agreement(["noise"] * 200, [frozenset({"noise"})] * 200, range(200))
    assert two.share_low < 0.4
    assert many.share_low > 0.95


def test_many_verdicts_that_all_speak_against_a_sure_suggestion_turn_it_round_and_no_more() -> None:
    kept = [Judged({**NOTHING, "noise": 3.0}, frozenset())] * 2000
    assert fitted_tolerance(kept).noise == -5.0


def test_a_suggestion_that_is_among_several_faults_agrees() -> None:
    found = agreement(["noise"], [frozenset({"framing", "noise", "camera shake"})], [1])
    assert found.share == 1.0
    assert math.isnan(found.share_low)


def test_faults_that_no_picture_shows_do_not_count_as_missed() -> None:
    assert agreement([None], [frozenset({"timing"})], [1]).share == 1.0


def test_guessing_agrees_no_more_than_chance() -> None:
    rng = np.random.default_rng(5)
    said = [str(word) for word in rng.choice(["noise", "camera shake"], 600)]
    given = [frozenset({str(word)}) for word in rng.choice(["noise", "camera shake"], 600)]
    found = agreement(said, given, range(600))
    assert found.kappa_low < 0 < found.kappa_high
    assert found.share_low < 0.5 < found.share_high


def test_frames_of_one_burst_are_worth_less_than_single_frames() -> None:
    rng = np.random.default_rng(6)
    right = np.repeat(rng.uniform(size=40) < 0.7, 10)
    said = ["noise" if each else "camera shake" for each in right]
    given = [frozenset({"noise"})] * 400
    single = agreement(said, given, range(400))
    bursts = agreement(said, given, [index // 10 for index in range(400)])
    assert bursts.share_high - bursts.share_low > 2 * (single.share_high - single.share_low)


def test_nothing_to_compare_is_not_a_number() -> None:
    assert math.isnan(agreement([], [], []).share)


def test_the_interval_of_the_share_covers_the_truth() -> None:
    rng = np.random.default_rng(7)
    covered = 0
    for _ in range(200):
        right = rng.uniform(size=60) < 0.8
        found = agreement(["noise" if r else None for r in right], [frozenset({"noise"})] * 60, range(60))
        covered += found.share_low <= 0.8 <= found.share_high
    assert covered >= 180
