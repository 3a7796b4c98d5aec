"""Habits: planted ones are found at their cost, harmless ones are left alone, remedies are charged their price."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from careers import World, career

from analytics.statistics.cells import cells_of
from analytics.statistics.fault_curves import DESIGNS, changed, fit_fault_curve, fit_fault_curves, thinness_stops
from analytics.statistics.habit_catalogue import BY_KEY, CATALOGUE, scene_of
from analytics.statistics.habits import COLUMNS, discoveries, exposed, habits
from analytics.statistics.remedies import credit, moves, seen_beside

#: What only a journal says and the simulated frames lack.
NEEDS_MORE = {"under_in_snow", "under_at_night", "over_on_stage", "off_plan"}


@pytest.fixture(scope="module")
def simulated() -> object:
    return career(21, 80, World(habits=1.0))


@pytest.fixture(scope="module")
def frames(simulated: object) -> pd.DataFrame:
    return simulated.frames  # type: ignore[attr-defined,no-any-return]


def test_every_habit_says_what_it_is_and_what_to_do() -> None:
    for habit in CATALOGUE:
        assert habit.name
        assert habit.definition
        assert habit.advice.endswith(".")
    assert len(BY_KEY) == len(CATALOGUE)


def test_there_is_one_line_for_every_habit(frames: pd.DataFrame) -> None:
    table = habits(frames)
    assert tuple(table.columns) == COLUMNS
    assert table["key"].tolist() == [habit.key for habit in CATALOGUE]
    unknown = table.set_index("key").loc[sorted(NEEDS_MORE)]
    assert (unknown["n_frames"] == 0).all()
    assert not unknown["is_enough"].any()
    assert unknown["lost"].isna().all()


@pytest.mark.parametrize("key", ["slow_by_hand", "slow_for_subject", "thin_focus", "needlessly_fast"])
def test_a_planted_habit_is_found_at_about_its_cost(simulated: object, frames: pd.DataFrame, key: str) -> None:
    line = habits(frames).set_index("key").loc[key]
    assert line["is_flagged"]
    lost = simulated.lost(key)  # type: ignore[attr-defined]
    assert line["low"] <= lost <= line["high"]
    assert line["lost"] == pytest.approx(line["gained"] - line["price"])


def test_the_frames_of_a_habit_are_those_of_its_condition(simulated: object, frames: pd.DataFrame) -> None:
    # Conditions that hold no personal limit are the same for the simulation and the method.
    for key in (
        "stopped_down",
        "under_in_backlight",
        "long_burst",
        "first_bursts",
        "late_session",
        "weekend",
        "fiddling",
    ):
        np.testing.assert_array_equal(exposed(frames, key), simulated.exposed(key), err_msg=key)  # type: ignore[attr-defined]
    shown = exposed(frames, "slow_by_hand")
    assert (shown == simulated.exposed("slow_by_hand")).mean() > 0.97  # type: ignore[attr-defined]


def test_frames_without_a_verdict_show_nothing(frames: pd.DataFrame) -> None:
    half = frames.assign(is_keeper=frames["is_keeper"].astype("boolean").where(frames["session"] % 2 == 0))
    shown = exposed(half, "long_burst")
    assert shown.index.equals(half.index)
    assert not shown[half["is_keeper"].isna()].any()


def test_an_unknown_habit_is_refused(frames: pd.DataFrame) -> None:
    with pytest.raises(KeyError):
        exposed(frames, "no such habit")


def test_few_frames_are_not_enough(frames: pd.DataFrame) -> None:
    table = habits(frames[frames["session"] < 3])
    assert not table["is_enough"].any()
    assert not table["is_flagged"].any()


def test_without_frames_there_are_no_habits(frames: pd.DataFrame) -> None:
    assert habits(frames.iloc[:0]).empty


def test_a_condition_with_something_unknown_is_not_met(frames: pd.DataFrame) -> None:
    assert not exposed(frames.assign(subject_depth_m=np.nan), "thin_focus").any()
    assert not exposed(frames.assign(is_backlit=np.nan), "under_in_backlight").any()
    assert not exposed(frames.assign(is_stabilised=np.nan), "slow_by_hand").any()


def test_light_words_and_plans_have_their_habits(frames: pd.DataFrame) -> None:
    told = frames.assign(light_kind="snow", is_off_plan=frames["iso"] > 800)
    snow, off_plan = exposed(told, "under_in_snow"), exposed(told, "off_plan")
    error = np.log2(frames["exposure_time_s"] * frames["iso"] / 100 / frames["f_number"] ** 2) + frames["ev100"]
    assert snow.any()
    assert (error[snow] < -0.6).all()
    np.testing.assert_array_equal(off_plan, frames["iso"] > 800)


def test_a_remedy_that_changes_nothing_wins_and_costs_nothing(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    curves = fit_fault_curves(cells)
    everywhere = np.ones(len(cells.session), dtype=bool)
    found = credit(cells, everywhere, curves, (0.0, 0.0, 0.0), seen_beside(cells, curves))
    assert found.won.sum() == 0
    assert found.lost.sum() == pytest.approx(0)


def test_a_higher_iso_alone_only_costs(frames: pd.DataFrame) -> None:
    cells = cells_of(frames.assign(ev100=np.nan))
    curves = fit_fault_curves(cells)
    everywhere = np.ones(len(cells.session), dtype=bool)
    found = credit(cells, everywhere, curves, (0.0, 0.0, 2.0), seen_beside(cells, curves))
    assert found.won.sum() == 0
    assert found.lost.sum() > 0


def test_the_gradient_of_a_remedy_is_its_slope(frames: pd.DataFrame) -> None:
    from dataclasses import replace

    cells = cells_of(frames)
    curves, rows = fit_fault_curves(cells), cells.support.where("hand-held")
    seen = seen_beside(cells, curves)

    def total(fault: str, step: np.ndarray) -> float:
        moved = replace(curves[fault].fitted, theta=curves[fault].fitted.theta + step)
        others = curves | {fault: replace(curves[fault], fitted=moved)}
        found = credit(cells, rows, others, (-2.0, 0.0, 2.0), seen)
        return float(found.won.sum() - found.lost.sum())

    gradient = credit(cells, rows, curves, (-2.0, 0.0, 2.0), seen).gradient
    for fault in ("shake", "noise"):
        for place in range(3):
            step = np.eye(len(gradient[fault]))[place] * 1e-4
            slope = (total(fault, step) - total(fault, -step)) / 2e-4
            assert gradient[fault][place] == pytest.approx(slope, rel=0.02, abs=0.5)


def test_leaving_out_a_session_that_shows_nothing_moves_only_the_curves(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    curves = fit_fault_curves(cells)
    rows = BY_KEY["slow_by_hand"].condition(scene_of(cells))
    found = credit(cells, rows, curves, (-2.0, 0.0, 2.0), seen_beside(cells, curves))
    shown = np.bincount(cells.session[rows], cells.n_frames[rows], cells.n_sessions)
    change = moves(found, curves, shown)
    expected = np.zeros(cells.n_sessions)
    for fault, gradient in found.gradient.items():
        deleted = curves[fault].fitted.deleted  # ends with the last session that the curve speaks about
        expected[: len(deleted)] += deleted @ gradient
    np.testing.assert_allclose(change[shown == 0], expected[shown == 0], atol=1e-9)


@pytest.mark.parametrize("fault", DESIGNS)
def test_a_fault_curve_gives_the_share_of_faults_that_was_seen(frames: pd.DataFrame, fault: str) -> None:
    cells = cells_of(frames)
    curve = fit_fault_curve(cells, fault)
    n, y = cells.seen(fault)
    speaks = curve.design(cells)[0]
    expected = (curve.chance(cells)[0] * n)[speaks].sum()
    assert expected == pytest.approx(y[speaks].sum(), rel=0.05)


def test_other_settings_are_the_same_scene(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    other = changed(cells, time=-2, iso=2)
    np.testing.assert_allclose(other.exposure_error_stops, cells.exposure_error_stops, atol=1e-9)
    np.testing.assert_allclose(other.stops_below_rule, cells.stops_below_rule - 2)
    assert other.ev100 is cells.ev100


def test_closing_the_aperture_makes_focus_deeper(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    wide, closed = thinness_stops(cells), thinness_stops(changed(cells, aperture=2))
    assert (closed <= wide).all()
    assert (closed < wide).any()


def test_discoveries_are_those_of_a_published_example() -> None:
    # Benjamini and Hochberg 1995, the fifteen p-values of their example: four are discoveries at q = .05.
    p = np.array(
        [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
         0.7590, 1.0]
    )  # fmt: skip
    assert discoveries(p, 0.05).sum() == 4
    assert discoveries(np.zeros(0), 0.05).tolist() == []
