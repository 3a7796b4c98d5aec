"""Keeper rates: closed forms, a published example, coverage over many careers, and laws."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from analytics.statistics.rates import (
    COLUMNS,
    Clusters,
    burst_correlations,
    group_rates,
    intraclass_correlations,
    keeper_rates,
    wilson,
)

#: Standard deviations of session and burst on the probit scale in the simulated careers below.
SESSION_SD, BURST_SD, MEAN = 0.5, 0.7, -0.3


def career(seed: int, n_sessions: int) -> pd.DataFrame:
    """Frames in bursts of 5 to 15, nine bursts to a session, with correlated verdicts of known mean."""
    rng = np.random.default_rng(seed)
    rows = []
    burst = 0
    for session in range(n_sessions):
        of_session = rng.normal(0, SESSION_SD)
        for _ in range(9):
            burst += 1
            share = stats.norm.cdf(MEAN + of_session + rng.normal(0, BURST_SD))
            rows += [(session, burst, "f/4", keeps) for keeps in rng.random(rng.integers(5, 16)) < share]
    return pd.DataFrame(rows, columns=["session", "burst", "f_number", "is_keeper"])


def true_rate() -> float:
    return float(stats.norm.cdf(MEAN / np.sqrt(1 + SESSION_SD**2 + BURST_SD**2)))


def test_wilson_reproduces_a_published_interval() -> None:
    # Newcombe 1998, Statistics in Medicine 17:857, table I: 81 of 263, score method without continuity correction.
    assert wilson(81 / 263, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)


@pytest.mark.parametrize(("kept", "n"), [(0, 10), (7, 9), (50, 100), (10, 10)])
def test_wilson_agrees_with_statsmodels(kept: int, n: int) -> None:
    assert wilson(kept / n, n) == pytest.approx(proportion_confint(kept, n, method="wilson"), abs=1e-12)


def test_the_interval_covers_the_truth_as_often_as_it_says() -> None:
    n_careers, covered = 300, 0
    for seed in range(n_careers):
        rate = keeper_rates(career(seed, 15), "f_number").iloc[0]
        covered += rate["low"] <= true_rate() <= rate["high"]
    # 300 draws at 95 %: three standard errors are 3.8 points.
    assert 0.912 <= covered / n_careers <= 0.99


def test_counting_frames_as_independent_would_cover_far_less() -> None:
    covered = 0
    for seed in range(100):
        frames = career(seed, 15)
        low, high = wilson(frames["is_keeper"].mean(), len(frames))
        covered += low <= true_rate() <= high
    assert covered < 70


def test_the_order_of_rows_does_not_matter() -> None:
    frames = career(1, 6)
    pd.testing.assert_frame_equal(
        keeper_rates(frames, "f_number"), keeper_rates(frames.sample(frac=1, random_state=2), "f_number")
    )


def test_renaming_sessions_and_bursts_does_not_matter() -> None:
    frames = career(3, 6)
    renamed = frames.assign(session=100 - frames["session"], burst=5000 - frames["burst"])
    pd.testing.assert_frame_equal(keeper_rates(frames, "f_number"), keeper_rates(renamed, "f_number"))


def test_twice_the_sessions_narrow_the_interval() -> None:
    frames = career(4, 10)
    more = pd.concat([frames, frames.assign(session=frames["session"] + 100, burst=frames["burst"] + 10_000)])
    one, two = (keeper_rates(table, "f_number").iloc[0] for table in (frames, more))
    assert two["estimate"] == pytest.approx(one["estimate"])
    assert two["high"] - two["low"] < one["high"] - one["low"]


def test_more_frames_in_the_same_bursts_hardly_narrow_it() -> None:
    frames = career(5, 10)
    longer = pd.concat([frames, frames])
    one, two = (keeper_rates(table, "f_number").iloc[0] for table in (frames, longer))
    assert (two["high"] - two["low"]) > 0.75 * (one["high"] - one["low"])


def test_an_unknown_setting_is_a_line_of_its_own_and_comes_last() -> None:
    frames = career(6, 4)
    frames.loc[frames.index[:20], "f_number"] = None
    rates = keeper_rates(frames, "f_number")
    assert rates["key"].tolist() == ["f/4", None]
    assert rates["n_frames"].sum() == len(frames)


def test_frames_without_a_session_are_counted_with_their_bursts() -> None:
    frames = career(11, 5)
    frames["session"] = frames["session"].astype("Int64")
    frames.loc[frames["session"] == 2, "session"] = pd.NA
    rates = keeper_rates(frames, "f_number").iloc[0]
    assert (rates["n_frames"], rates["n_sessions"]) == (len(frames), 4 + 9)


def test_a_column_that_has_nothing_to_do_with_it_changes_nothing() -> None:
    frames = career(12, 6)
    more = frames.assign(mood=np.arange(len(frames)))
    pd.testing.assert_frame_equal(keeper_rates(frames, "f_number"), keeper_rates(more, "f_number"))


def test_splitting_bursts_makes_the_evidence_no_weaker_and_keeps_the_rate() -> None:
    frames = career(13, 12)
    frames["burst"] = frames["burst"] * 2 + frames.groupby("burst").cumcount() % 2
    whole, split = keeper_rates(career(13, 12), "f_number").iloc[0], keeper_rates(frames, "f_number").iloc[0]
    assert split["estimate"] == pytest.approx(whole["estimate"])
    assert split["high"] - split["low"] == pytest.approx(whole["high"] - whole["low"], rel=0.25)


def test_two_settings_are_crossed_and_keep_every_frame() -> None:
    frames = career(14, 6).assign(iso=lambda table: np.where(table["burst"] % 2, 400, 800))
    rates = keeper_rates(frames, ["f_number", "iso"])
    assert rates["iso"].tolist() == [400, 800]
    assert rates["n_frames"].sum() == len(frames)


def test_two_sessions_are_not_enough() -> None:
    assert not keeper_rates(career(7, 2), "f_number").iloc[0]["is_enough"]
    assert keeper_rates(career(7, 40), "f_number").iloc[0]["is_enough"]


def test_no_frames_give_an_empty_table_with_the_same_columns() -> None:
    rates = keeper_rates(career(8, 1).iloc[:0], "f_number")
    assert rates.columns.tolist() == ["key", *COLUMNS]
    assert rates.empty


def test_correlations_of_a_long_career_come_near_the_truth() -> None:
    frames = career(9, 400)
    counts = frames.groupby(["session", "burst"])["is_keeper"].agg(n_frames="size", n_keepers="sum").reset_index()
    burst, session = intraclass_correlations(counts)
    rng = np.random.default_rng(10)
    z = rng.normal(size=(3, 400_000))
    total = 1 + SESSION_SD**2 + BURST_SD**2
    p = true_rate()
    # Joint keeping of two frames that share a session, or a burst: bivariate normal at the shared variance.
    for got, shared in ((session, SESSION_SD**2), (session + burst, SESSION_SD**2 + BURST_SD**2)):
        share = stats.norm.cdf((MEAN + np.sqrt(shared) * z[0]) / np.sqrt(total - shared))
        expected = (np.mean(share**2) - p**2) / (p * (1 - p))
        assert got == pytest.approx(expected, abs=0.04)


def test_the_interval_of_chosen_frames_covers_the_truth_with_the_correlation_of_all() -> None:
    n_careers, covered, n_lines = 120, 0, 0
    for seed in range(n_careers):
        frames = career(seed, 12).assign(kind=lambda table: table["burst"] % 3)
        counts = frames.groupby(["session", "burst", "kind"])["is_keeper"].agg(n_frames="size", n_keepers="sum")
        table = counts.reset_index()
        clusters = Clusters(*(table[name].to_numpy(float) for name in ("session", "burst", "n_frames", "n_keepers")))
        chosen = np.flatnonzero(table["kind"] > 0)
        part = Clusters(
            *(column[chosen] for column in (clusters.session, clusters.burst, clusters.n_frames, clusters.n_keepers))
        )
        rates = group_rates(part, table["kind"].to_numpy()[chosen], burst_correlations(clusters))
        assert rates.index.tolist() == [1, 2]
        covered += int(((rates["low"] <= true_rate()) & (true_rate() <= rates["high"])).sum())
        n_lines += len(rates)
    assert 0.91 <= covered / n_lines <= 0.995


def test_no_rows_have_no_rates() -> None:
    nothing = np.empty(0)
    assert group_rates(Clusters(nothing, nothing, nothing, nothing), nothing, (0.2, 0.1)).empty
