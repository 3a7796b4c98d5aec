"""Milder, stricter or neither: closed forms, published methods, and judges whose noise and drift are known."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.proportion import confint_proportions_2indep

from analytics.statistics.strictness import JudgedAgain, mid_p, since, strictness

LARGE = 10**9


def of_equal_shares(n_keepers_rejected: int, n_rejects_kept: int, n: int = 60, pool: int = LARGE) -> JudgedAgain:
    return JudgedAgain(pool, pool, n, n_keepers_rejected, n, n_rejects_kept)


def test_where_half_of_the_frames_are_keepers_it_is_mcnemars_test() -> None:
    for lost, kept in ((5, 20), (0, 6), (9, 10), (20, 3)):
        table = [[60 - lost, lost], [kept, 60 - kept]]
        exact = mcnemar(table, exact=True).pvalue
        itself = binom.pmf(min(lost, kept), lost + kept, 0.5)
        assert strictness(of_equal_shares(lost, kept)).p_value == pytest.approx(exact - itself, abs=1e-9)


def test_a_sample_that_holds_both_verdicts_as_they_are_gives_mcnemars_test_at_any_keeper_rate() -> None:
    found = strictness(JudgedAgain(900, 100, 90, 4, 10, 5))
    assert found.p_value == pytest.approx(mcnemar([[86, 4], [5, 5]], exact=True).pvalue - binom.pmf(4, 9, 0.5))


@pytest.mark.parametrize(("n_hits", "n_tries", "share"), [(0, 0, 0.3), (3, 3, 0.5), (7, 40, 0.1), (30, 31, 0.9)])
def test_mid_p_is_twice_the_smaller_tail_with_half_of_the_outcome(n_hits: int, n_tries: int, share: float) -> None:
    below = binom.cdf(n_hits, n_tries, share) - binom.pmf(n_hits, n_tries, share) / 2
    assert mid_p(n_hits, n_tries, share) == pytest.approx(min(1, 2 * min(below, 1 - below)))


def test_the_interval_is_newcombes_where_the_shares_are_equal() -> None:
    found = strictness(of_equal_shares(5, 20))
    low, high = confint_proportions_2indep(20, 60, 5, 60, method="newcomb", compare="diff")
    assert (2 * found.low, 2 * found.high) == pytest.approx((low, high), abs=1e-4)
    assert found.change == pytest.approx(0.125)
    assert (found.verdict, found.n_same, found.n_judged) == ("milder", 95, 120)


def test_keepers_and_rejects_change_places_with_the_sign() -> None:
    one, other = strictness(JudgedAgain(300, 100, 50, 9, 40, 22)), strictness(JudgedAgain(100, 300, 40, 22, 50, 9))
    assert (one.change, one.low, one.high) == pytest.approx((-other.change, -other.high, -other.low))
    assert one.p_value == pytest.approx(other.p_value)


def test_too_few_of_either_say_nothing_however_clear_they_look() -> None:
    assert strictness(of_equal_shares(0, 14, n=14)).verdict == "not enough"
    assert strictness(of_equal_shares(0, 15, n=15)).verdict == "milder"
    nothing = strictness(JudgedAgain(20, 30, 0, 0, 20, 3))
    assert (nothing.verdict, nothing.is_enough) == ("not enough", False)
    assert all(math.isnan(number) for number in (nothing.change, nothing.low, nothing.high, nothing.p_value))


def test_who_says_the_same_of_every_frame_did_not_change() -> None:
    found = strictness(of_equal_shares(0, 0))
    assert (found.verdict, found.change, found.p_value, found.n_same) == ("no evidence", 0.0, 1.0, 120)
    assert -0.05 < found.low < 0 < found.high < 0.05


def test_one_in_ten_kept_makes_keepers_flip_nine_times_as_often_and_still_nobody_changed() -> None:
    found = strictness(JudgedAgain(100, 900, 60, 27, 60, 3))
    assert found.change == pytest.approx(0)
    assert found.verdict == "no evidence"
    assert mcnemar([[33, 27], [3, 57]], exact=True).pvalue < 1e-4  # equal numbers of each, counted as equal


def test_two_rounds_differ_by_the_limits_of_both() -> None:
    one, other = strictness(of_equal_shares(5, 5)), strictness(of_equal_shares(5, 25))
    change, low, high = since(one, other)
    assert change == pytest.approx(other.change - one.change)
    assert low == pytest.approx(change - math.hypot(other.change - other.low, one.high - one.change))
    assert low < change < high


class Judge:
    """Frames of a spread of 1; a verdict is the frame plus noise against a border, which may drift.

    Frames near the border flip and others do not, so noise depends on the frame. A mood shifts a whole session.
    """

    def __init__(self, rate: float, noise: float, seed: int, mood: float = 0.0) -> None:
        self.noise, self.mood, self.rng = noise, mood, np.random.default_rng(seed)
        self.whole = math.sqrt(1 + noise**2 + mood**2)
        self.rate, self.border = rate, NormalDist().inv_cdf(1 - rate) * self.whole

    def again(self, n_each: int, drift: float = 0.0, n_frames: int = 700, n_sessions: int = 30) -> JudgedAgain:
        """One round: so many of each, drawn by their old verdicts."""
        frames = self.rng.normal(size=n_frames)
        moods = self.mood * self.rng.normal(size=n_sessions)[np.arange(n_frames) % n_sessions]
        old = frames + moods + self.noise * self.rng.normal(size=n_frames) > self.border
        spread = math.hypot(self.noise, self.mood)
        new = frames + spread * self.rng.normal(size=n_frames) > self.border - drift
        keepers, rejects = np.flatnonzero(old), np.flatnonzero(~old)
        n = min(n_each, len(keepers), len(rejects))
        chosen = self.rng.choice(keepers, n, replace=False), self.rng.choice(rejects, n, replace=False)
        return JudgedAgain(len(keepers), len(rejects), n, int((~new[chosen[0]]).sum()), n, int(new[chosen[1]].sum()))

    def gain(self, drift: float) -> float:
        """The true change of the keeper rate."""
        return 1 - NormalDist().cdf((self.border - drift) / self.whole) - self.rate


@pytest.mark.parametrize("rate", [0.15, 0.35, 0.65, 0.85])
@pytest.mark.parametrize("noise", [0.3, 1.0])
@pytest.mark.parametrize("n_frames", [130, 700])
def test_a_noisy_judge_who_does_not_drift_is_seldom_called_changed(rate: float, noise: float, n_frames: int) -> None:
    judge = Judge(rate, noise, seed=1)
    found = [strictness(judge.again(60, n_frames=n_frames)) for _ in range(500)]
    assert sum(each.verdict in ("milder", "stricter") for each in found) <= 0.05 * 500
    assert sum(each.low <= 0 <= each.high for each in found) >= 0.925 * 500


def test_counting_flips_as_equal_would_call_that_judge_changed() -> None:
    judge, n_wrong = Judge(0.65, 0.5, seed=2), 0
    for _ in range(200):
        counts = judge.again(60)
        flips = [[0, counts.n_keepers_rejected], [counts.n_rejects_kept, 0]]
        n_wrong += mcnemar(flips, exact=True).pvalue <= 0.05
    assert n_wrong > 0.15 * 200


def test_moods_of_the_old_sessions_do_not_look_like_drift() -> None:
    judge = Judge(0.6, 0.5, seed=3, mood=0.2)
    assert sum(strictness(judge.again(60)).verdict != "no evidence" for _ in range(500)) <= 0.05 * 500


#: Keeper rate, drift as a part of the spread between frames, of each verdict, and the least share that is found.
POWER = ((0.5, 0.25, 15, 0.05), (0.5, 0.25, 30, 0.2), (0.5, 0.25, 60, 0.5), (0.65, 0.25, 60, 0.4), (0.5, 0.5, 60, 0.97))


@pytest.mark.parametrize(("rate", "drift", "n_each", "least"), POWER)
def test_a_milder_judge_is_found_the_surer_the_more_is_judged_again(
    rate: float, drift: float, n_each: int, least: float
) -> None:
    judge = Judge(rate, 0.5, seed=4)
    found = [strictness(judge.again(n_each, drift)) for _ in range(400)]
    said = [each.verdict for each in found]
    assert said.count("milder") >= least * 400
    assert said.count("stricter") <= 0.01 * 400
    assert sum(each.low <= judge.gain(drift) <= each.high for each in found) >= 0.92 * 400
    assert np.mean([each.change for each in found]) == pytest.approx(judge.gain(drift), abs=0.01)


def best_of_bursts(rng: np.random.Generator, most: int) -> JudgedAgain:
    """A round of somebody who never drifts, but kept at most so many of eight alike frames, as nobody can blind."""
    frames = 0.7 * rng.normal(size=(150, 1)) + 0.7 * rng.normal(size=(150, 8))
    seen = frames + 0.5 * rng.normal(size=frames.shape)
    kept = (seen > -0.2) & ((-seen).argsort(axis=1).argsort(axis=1) < most)
    drawn = np.array([rng.choice(8, 2, replace=False) for _ in range(150)])
    frames, old = (np.take_along_axis(each, drawn, axis=1).ravel() for each in (frames, kept))
    new = frames + 0.5 * rng.normal(size=frames.shape) > -0.2
    keepers, rejects = np.flatnonzero(old)[:60], np.flatnonzero(~old)[:60]
    counts = len(keepers), int((~new[keepers]).sum()), len(rejects), int(new[rejects].sum())
    return JudgedAgain(int(old.sum()), int((~old).sum()), *counts)


def test_the_best_of_a_burst_looks_milder_in_a_first_round_but_not_between_two() -> None:
    rng = np.random.default_rng(6)
    found = [strictness(best_of_bursts(rng, most=3)) for _ in range(400)]
    assert sum(each.verdict == "milder" for each in found) > 0.9 * 400
    changes = [since(one, other) for one, other in zip(found[::2], found[1::2], strict=True)]
    assert sum(not low <= 0 <= high for _, low, high in changes) <= 0.08 * 200  # 0.05 and its own chance
