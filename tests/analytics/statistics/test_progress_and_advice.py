"""Progress at equal scenes, and what advice did: learning is told from easier scenes, following from gaining."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from careers import World, career
from numpy.typing import NDArray
from scipy.special import expit

from analytics.statistics.advice_effect import advice_effect
from analytics.statistics.cells import cells_of
from analytics.statistics.conditions import condition_columns
from analytics.statistics.progress import progress, session_weights, timeline
from analytics.statistics.series import series_limit


def test_easier_scenes_are_not_progress() -> None:
    found = progress(career(31, 150, World(easier=1.0)).frames)
    assert found.raw_change > 0.1
    assert abs(found.change) < 0.1
    assert found.verdict == "no clear change"
    assert {driver.name for driver in found.drivers[:3]} & {"light", "pace"}


def test_learning_is_progress_also_where_scenes_become_harder() -> None:
    found = progress(career(32, 300, World(skill=0.5, easier=-1.0)).frames)
    assert found.raw_change < 0
    assert found.change > 0
    assert found.verdict == "better"
    assert found["change"] == found.change


def test_forgetting_is_told_too() -> None:
    assert progress(career(33, 300, World(skill=-0.5)).frames).verdict == "worse"


def test_a_short_log_says_not_enough() -> None:
    assert progress(career(34, 8).frames).verdict == "not enough"
    one_day = career(34, 20).frames.assign(day=3.0)
    assert progress(one_day).verdict == "not enough"
    assert progress(one_day.iloc[:0]).verdict == "not enough"


def test_copies_of_one_session_give_no_interval_and_so_say_nothing() -> None:
    frames = career(3, 4).frames
    one = frames[frames["session"] == frames["session"].iloc[0]]
    apart = 10 * len(frames)
    copies = [one.assign(session=n, day=10.0 * n, burst=one["burst"] + apart * n) for n in range(15)]
    found = progress(pd.concat(copies, ignore_index=True))
    assert np.isnan([found.low, found.high]).all()
    assert found.verdict == "not enough"


def test_a_session_of_many_frames_does_not_count_in_proportion() -> None:
    cells = cells_of(career(35, 30).frames)
    weight = session_weights(cells)
    assert (weight * cells.n_frames).sum() == pytest.approx(cells.n_frames.sum())
    size = np.bincount(cells.session, cells.n_frames)[cells.session]
    assert weight[size.argmax()] < weight[size.argmin()]


def test_the_timeline_has_one_line_per_session_and_their_raw_rates() -> None:
    frames = career(36, 40).frames
    lines = timeline(frames)
    raw = frames.groupby("session")["is_keeper"].mean()
    np.testing.assert_allclose(lines.set_index("session")["raw"], raw)
    assert lines["adjusted"].between(0, 1).all()
    assert lines["n_frames"].sum() == len(frames)


def sessions_of_known_rate(seed: int, loss: float) -> tuple[pd.DataFrame, NDArray[np.float64]]:
    """Frames of 40 sessions in bursts that are alike, half of fast subjects that cost `loss` logits; and what each
    session would keep, in truth, if it had the journal's share of fast ones."""
    rng = np.random.default_rng(seed)
    talent, is_fast = rng.normal(0, 0.8, 40), rng.random(40) < 0.5
    rate = expit(talent - loss * is_fast)
    rows = []
    for session in range(40):
        for burst in range(int(rng.integers(4, 14))):
            of_burst = rng.beta(3 * rate[session], 3 * (1 - rate[session]))
            kept = rng.random(int(rng.integers(2, 14))) < of_burst
            rows += [(session, 100 * session + burst, float(session), bool(frame)) for frame in kept]
    frames = pd.DataFrame(rows, columns=["session", "burst", "day", "is_keeper"])
    frames["subject_pace"] = np.where(is_fast, "fast", "slow")[frames["session"]]
    many = rng.normal(0, 0.8, 100_000)
    usual = np.where(is_fast, expit(many - loss).mean(), expit(many).mean())
    return frames, np.clip(usual[frames["session"]].mean() + rate - usual, 0, 1)


@pytest.mark.parametrize("loss", [0.0, 1.0])
def test_the_interval_of_a_session_holds_what_it_would_keep_at_equal_scenes(loss: float) -> None:
    is_held, half_width = [], []
    for seed in range(12):
        frames, truth = sessions_of_known_rate(seed, loss)
        lines = timeline(frames)
        is_held += list((lines["low"] <= truth) & (truth <= lines["high"]))
        half_width += list((lines["high"] - lines["low"]) / 2)
    assert np.mean(is_held) > 0.94
    # wide enough is not too wide: some sixty frames of ten bursts say something
    assert np.mean(half_width) < 0.24


def test_scenes_that_are_easier_are_lowered_by_the_adjustment() -> None:
    simulated = career(37, 150, World(easier=1.0))
    lines = timeline(simulated.frames)
    late, early = lines["day"] > lines["day"].median(), lines["day"] <= lines["day"].median()
    raw = lines.loc[late, "raw"].mean() - lines.loc[early, "raw"].mean()
    adjusted = lines.loc[late, "adjusted"].mean() - lines.loc[early, "adjusted"].mean()
    assert adjusted < raw / 2


def test_settings_are_no_condition() -> None:
    frames = career(38, 20).frames
    other = frames.assign(exposure_time_s=frames["exposure_time_s"] / 4, iso=frames["iso"] * 4, f_number=8.0)
    # Cells are put in order by their settings, so the values are compared, not their order.
    for (name, one), (same_name, two) in zip(
        condition_columns(cells_of(frames)).items(), condition_columns(cells_of(other)).items(), strict=True
    ):
        assert name == same_name
        assert set(np.round(one, 9)) == set(np.round(two, 9))


@pytest.fixture(scope="module")
def followed() -> pd.DataFrame:
    world = World(starts_with=("slow_by_hand",), stops_habit="slow_by_hand", stops_at=182.0)
    return career(41, 160, world).frames


def test_advice_that_was_followed_worked(followed: pd.DataFrame) -> None:
    found = advice_effect(followed, 182.0, "slow_by_hand")
    assert found.verdict == "worked"
    assert found.followed.verdict == "followed"
    assert found.followed.change < 0
    assert found.target_fault.change < 0
    assert min(found.n_before, found.n_after) > 40


def test_advice_that_nobody_followed_did_nothing() -> None:
    frames = career(42, 160, World(starts_with=("slow_by_hand",))).frames
    found = advice_effect(frames, 182.0, "slow_by_hand")
    assert found.verdict == "no clear effect"
    assert found.followed.verdict == "no clear change"


def test_the_sessions_that_gave_rise_to_the_advice_are_left_out(followed: pd.DataFrame) -> None:
    found = advice_effect(followed, 182.0, "slow_by_hand", evidence_from=100.0)
    everything = advice_effect(followed, 182.0, "slow_by_hand")
    left_out = followed.loc[followed["day"].between(100, 182, inclusive="left"), "session"].nunique()
    assert found.n_before == everything.n_before - left_out
    assert found.n_after == everything.n_after


def test_too_few_sessions_on_either_side_are_not_enough(followed: pd.DataFrame) -> None:
    for day in (followed["day"].quantile(0.01), followed["day"].max()):
        found = advice_effect(followed, day, "slow_by_hand")
        assert (found.verdict, found.followed.verdict, found.target_fault.verdict) == ("not enough",) * 3
        assert np.isnan(found.gain)
    assert advice_effect(followed.iloc[:0], 182.0, "slow_by_hand").verdict == "not enough"


def test_a_label_habit_can_be_advised_against_too(followed: pd.DataFrame) -> None:
    found = advice_effect(followed, 182.0, "long_burst")
    assert found.verdict == "no clear effect"


def test_advice_against_an_unknown_habit_is_refused(followed: pd.DataFrame) -> None:
    with pytest.raises(KeyError):
        advice_effect(followed, 182.0, "no such habit")


def shot(rng: np.random.Generator, limit: float, n_days: int, per_dose: int) -> pd.DataFrame:
    """A test series at eight times around the limit, with days that differ by half a stop."""
    from scipy.stats import norm

    rows = []
    for day in range(n_days):
        shift = rng.normal(0, 0.5)
        for dose in np.linspace(-2, 3, 8) + limit:
            share = 0.01 + 0.89 * norm.cdf(0.85 * (dose - limit - shift) + norm.ppf(0.09 / 0.89))
            rows += [(day, dose, shaken) for shaken in rng.random(per_dose) < share]
    return pd.DataFrame(rows, columns=["day", "dose", "has_fault"])


def test_a_test_series_finds_the_limit_within_its_interval() -> None:
    rng = np.random.default_rng(5)
    covered, errors = 0, []
    for _ in range(60):
        limit = rng.normal(1.2, 1.2)
        found = series_limit(shot(rng, limit, 6, 4))
        covered += found.low <= limit <= found.high
        errors.append(found.estimate - limit)
    assert covered >= 52  # 95 % of 60 less three standard errors
    assert np.median(np.abs(errors)) < 0.35


def test_more_frames_on_one_day_help_less_than_more_days() -> None:
    rng = np.random.default_rng(6)
    widths = {}
    for days, per_dose in ((1, 24), (6, 4)):
        series = [series_limit(shot(rng, 1.0, days, per_dose)) for _ in range(10)]
        widths[days] = np.median([found.high - found.low for found in series])
        assert all(found.n_frames == 192 and found.n_days == days for found in series)
    assert widths[6] < 0.7 * widths[1]


def test_an_empty_series_says_nothing() -> None:
    found = series_limit(pd.DataFrame({"day": [], "dose": [], "has_fault": []}))
    assert (found.n_frames, found.is_enough) == (0, False)
    assert np.isnan(found.estimate)
