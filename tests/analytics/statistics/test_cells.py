"""Cells: the same counts as the frames, whatever the order, the names or the spelling of the settings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from careers import career

from analytics.statistics.cells import FAULTS, cells_of, combine, has_any, take


@pytest.fixture(scope="module")
def frames() -> pd.DataFrame:
    return career(1, 12).frames


def test_cells_keep_every_frame_keeper_and_fault(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    assert cells.n_frames.sum() == len(frames)
    assert cells.n_keepers.sum() == frames["is_keeper"].sum()
    for fault in FAULTS:
        assert cells.count(has_any((fault,))).sum() == frames[f"fault_{fault}"].sum()


def test_a_cell_is_one_setting_of_one_burst(frames: pd.DataFrame) -> None:
    groups = frames.groupby(["session", "burst", "exposure_time_s", "f_number", "iso"])
    cells = cells_of(frames)
    assert len(cells.session) == groups.ngroups
    assert cells.n_sessions == frames["session"].nunique()
    assert sorted(cells.n_frames) == sorted(groups.size())
    assert np.all(np.diff(cells.session) >= 0)


def test_conditions_of_a_cell_are_those_of_its_frames(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    per_burst = frames.groupby("burst", sort=True)[["ev100", "day", "burst_length"]].mean()
    np.testing.assert_allclose(cells.ev100, per_burst["ev100"].to_numpy()[cells.burst])
    np.testing.assert_allclose(cells.day, per_burst["day"].to_numpy()[cells.burst])
    named = np.array(cells.subject_pace.names)[cells.subject_pace.codes]
    assert (named == frames.groupby("burst")["subject_pace"].first().to_numpy()[cells.burst]).all()


def test_the_order_of_rows_and_the_names_of_sessions_make_no_difference(frames: pd.DataFrame) -> None:
    one, other = cells_of(frames), cells_of(frames.sample(frac=1, random_state=3))
    np.testing.assert_array_equal(one.session, other.session)
    np.testing.assert_allclose(one.time_stops, other.time_stops)
    np.testing.assert_array_equal(one.count(has_any(("shake",))), other.count(has_any(("shake",))))
    renamed = cells_of(frames.assign(session=frames["session"].map(lambda number: f"outing {number:03d}")))
    np.testing.assert_array_equal(one.session, renamed.session)


def test_a_time_written_as_a_fraction_or_as_a_decimal_is_the_same_cell() -> None:
    rows = pd.DataFrame({"session": 1, "burst": 1, "exposure_time_s": [1 / 125, 0.008, 0.0080001], "is_keeper": True})
    assert cells_of(rows).n_frames.tolist() == [3.0]
    assert cells_of(rows).time_stops[0] == pytest.approx(np.log2(0.008), abs=1e-4)


def test_what_nobody_wrote_down_stays_unknown() -> None:
    rows = pd.DataFrame({"session": 1, "burst": [1, 1, 2], "iso": [100.0, np.nan, np.nan], "is_keeper": True})
    rows["lens"] = pd.Series(["50 mm", None, None], dtype="string")
    rows["used_flash"] = pd.Series([True, None, False], dtype="boolean")
    cells = cells_of(rows)
    order = np.argsort(np.nan_to_num(cells.used_flash, nan=-1))
    np.testing.assert_array_equal(cells.used_flash[order], [np.nan, 0, 1])
    np.testing.assert_array_equal(cells.iso_stops[order], [np.nan, np.nan, 0])
    assert cells.lens.codes[order].tolist() == [-1, -1, 0]
    assert np.isnan(cells.ev100).all()
    assert cells.priority.names == ()


def test_frames_without_a_verdict_are_left_out() -> None:
    rows = pd.DataFrame({"session": 1, "burst": 1, "is_keeper": pd.Series([True, None, False], dtype="boolean")})
    cells = cells_of(rows)
    assert (cells.n_frames.sum(), cells.n_keepers.sum()) == (2, 1)
    assert cells_of(rows[rows["is_keeper"].isna()]).n_sessions == 0


def test_a_keeper_has_no_fault_whatever_is_noted_about_it() -> None:
    rows = pd.DataFrame({"session": 1, "burst": 1, "is_keeper": [True, False], "fault_noise": [True, True]})
    assert cells_of(rows).count(has_any(("noise",))).sum() == 1


def test_a_fault_is_seen_only_where_no_other_hides_it() -> None:
    rows = pd.DataFrame(
        {
            "session": 1,
            "burst": 1,
            "is_keeper": [True, False, False, False],
            "fault_shake": [False, True, True, False],
            "fault_focus": [False, False, True, True],
        }
    )
    n, y = cells_of(rows).seen("shake")
    assert (n.sum(), y.sum()) == (2, 1)


def test_a_burst_without_a_session_stands_for_one() -> None:
    rows = pd.DataFrame({"session": [1.0, np.nan, np.nan], "burst": [1, 2, 3], "is_keeper": True})
    assert cells_of(rows).n_sessions == 3


def test_taking_cells_takes_their_outcomes_and_numbers_sessions_anew(frames: pd.DataFrame) -> None:
    cells = cells_of(frames)
    some = take(cells, cells.session >= 6)
    rest = cells_of(frames[frames["session"] >= 6])
    np.testing.assert_array_equal(some.session, rest.session)
    np.testing.assert_array_equal(some.burst, rest.burst)
    np.testing.assert_array_equal(some.count(has_any(("motion",))), rest.count(has_any(("motion",))))


def test_numbers_that_are_too_large_to_pack_are_packed_all_the_same() -> None:
    parts = [np.array([0, 2**40, 5]), np.array([7, -(2**40), 7]), np.array([1, 1, 2**40])]
    codes = combine(parts, renumber=True)
    assert codes.tolist() == [0, 2, 1]


def test_without_stated_light_no_frame_is_too_dark(frames: pd.DataFrame) -> None:
    told, untold = cells_of(frames), cells_of(frames.assign(is_light_stated=False))
    assert np.isfinite(told.exposure_error_stops).all()
    assert np.isnan(untold.exposure_error_stops).all()
    np.testing.assert_array_equal(untold.ev100, told.ev100)
