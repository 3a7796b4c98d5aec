"""Optics by its laws, by reference values, and by what it refuses."""

from __future__ import annotations

import csv
import math
import sqlite3
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.errors import JournalError
from journal.optics import blur, exposure, focus, sensors
from journal.optics.derived import derive
from journal.optics.nominal import scale_in_thirds
from journal.optics.sensors import circle_of_confusion_mm, crop_factor, focal_length_35mm_of_sensor
from journal.optics.sql_functions import FUNCTIONS, register

REFERENCE = Path(__file__).resolve().parents[2] / "reference" / "optics.csv"
f_numbers = st.floats(0.7, 64)
times_s = st.floats(1e-5, 3600)
isos = st.floats(6, 1e6)
focal_lengths_mm = st.floats(4, 1200)
distances_m = st.floats(2, 5000)


def reference_rows() -> list[dict[str, str]]:
    with REFERENCE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", reference_rows(), ids=lambda row: f"{row['quantity']} {row['arguments']}")
def test_reference_values_are_met(row: dict[str, str]) -> None:
    module = next(module for module in (exposure, focus, blur, sensors) if hasattr(module, row["quantity"]))
    got = getattr(module, row["quantity"])(*map(float, row["arguments"].split()))
    assert float(got) == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


@given(f_numbers, times_s)
def test_closing_one_stop_and_doubling_the_time_is_the_same_exposure(n: float, t: float) -> None:
    assert exposure.exposure_value(n * math.sqrt(2), 2 * t) == pytest.approx(exposure.exposure_value(n, t))


@given(f_numbers, times_s, isos)
def test_doubling_the_iso_suits_one_stop_less_light(n: float, t: float, iso: float) -> None:
    one, two = (float(exposure.exposure_value_at_iso_100(n, t, value)) for value in (iso, 2 * iso))
    assert one - two == pytest.approx(1)


@given(f_numbers, times_s, isos, focal_lengths_mm)
def test_derived_columns_are_the_same_arithmetic(n: float, t: float, iso: float, f: float) -> None:
    derived = derive(t, n, iso, f)
    assert derived.ev100 == pytest.approx(float(exposure.exposure_value_at_iso_100(n, t, iso)))
    assert derived.stops_below_rule == pytest.approx(float(blur.stops_below_rule(t, f)))
    assert derived.tv6 == round(6 * math.log2(t))


def test_an_unknown_setting_leaves_what_follows_from_it_unknown() -> None:
    derived = derive(1 / 125, None, 400, None)
    assert (derived.ev100, derived.stops_below_rule, derived.av6, derived.tv6) == (None, None, None, -42)


@given(focal_lengths_mm, f_numbers, distances_m)
def test_the_subject_lies_between_the_limits_of_focus(f: float, n: float, s: float) -> None:
    near, far = focus.focus_limits_m(f, n, s)
    assert near <= s * (1 + 1e-12)
    assert far >= s * (1 - 1e-12)


@given(focal_lengths_mm, f_numbers)
def test_focus_at_the_hyperfocal_distance_reaches_from_half_of_it_to_infinity(f: float, n: float) -> None:
    h = float(focus.hyperfocal_distance_m(f, n))
    near, far = focus.focus_limits_m(f, n, h)
    assert near == pytest.approx(h / 2, rel=1e-9)
    assert math.isinf(far)


@given(focal_lengths_mm, f_numbers, distances_m)
def test_stopping_down_never_makes_the_depth_thinner(f: float, n: float, s: float) -> None:
    wide, closed = focus.focus_limits_m(f, n, s), focus.focus_limits_m(f, 2 * n, s)
    assert closed[0] <= wide[0]
    assert closed[1] >= wide[1]


@given(st.floats(1e-4, 1), distances_m, st.floats(4, 1200))
def test_a_subject_twice_as_fast_smears_twice_as_far(path: float, s: float, f: float) -> None:
    assert blur.subject_blur_px(2 * path, s, f, 4) == pytest.approx(2 * blur.subject_blur_px(path, s, f, 4))


def test_a_small_turn_smears_by_focal_length_times_angle() -> None:
    got = float(blur.rotation_blur_px(0.5, 1 / 50, 100, 5))
    assert got == pytest.approx(100_000 * math.radians(0.01) / 5, rel=1e-6)


@given(f_numbers, times_s, isos)
def test_equivalent_exposures_are_equally_bright(n: float, t: float, iso: float) -> None:
    rows = exposure.equivalent_exposures(n, t, iso, iso_step=1)
    differences = exposure.exposure_difference_stops(n, t, iso, rows[:, 0], rows[:, 1], rows[:, 2])
    assert np.allclose(differences, 0, atol=1e-9)


def test_the_circle_of_confusion_is_in_proportion_to_the_diagonal() -> None:
    assert circle_of_confusion_mm(36, 24) == pytest.approx(0.030)
    assert circle_of_confusion_mm(18, 12) == pytest.approx(0.015)


def test_sql_knows_every_formula_and_answers_null_for_null_and_for_nonsense() -> None:
    connection = sqlite3.connect(":memory:")
    register(connection)
    rows = connection.execute(
        "select exposure_value(8, 0.01), exposure_value(null, 1), exposure_value(8, 0)"
    ).fetchone()
    assert rows == (pytest.approx(math.log2(6400)), None, None)
    for name, _formula, n_arguments in FUNCTIONS:
        value = connection.execute(f"select {name}({', '.join(['2'] * n_arguments)})").fetchone()[0]
        assert value is not None, name
    connection.close()


@pytest.mark.parametrize(
    ("quantity", "name", "exact"),
    [("f_number", "f/5.6", 2**2.5), ("exposure_time", "1/60", 1 / 64), ("iso", "ISO 1250", 100 * 2 ** (22 / 6))],
)
def test_an_engraved_value_stands_for_an_exact_one(quantity: str, name: str, exact: float) -> None:
    assert dict(scale_in_thirds(quantity))[name] == pytest.approx(exact)


@pytest.mark.parametrize("quantity", ["f_number", "exposure_time", "iso"])
def test_a_scale_rises_by_a_third_of_a_stop_and_its_names_are_near_what_they_stand_for(quantity: str) -> None:
    scale = scale_in_thirds(quantity)
    light = [2 * math.log2(exact) if quantity == "f_number" else math.log2(exact) for _name, exact in scale]
    steps = np.diff(light)
    assert np.allclose(steps[np.array(light[1:]) < 10], 1 / 3) or quantity == "iso"
    for name, exact in scale:
        number = float(Fraction(name.removeprefix("f/").removeprefix("ISO ").removesuffix(" s")))
        assert abs(math.log2(number / exact)) < 0.15, name


def test_nan_goes_in_and_comes_out() -> None:
    assert np.isnan(exposure.exposure_value(np.nan, 1))
    assert np.isnan(focus.focus_limits_m(50, np.nan, 3)).all()


def test_zero_is_refused_by_name_and_unit() -> None:
    with pytest.raises(JournalError, match=r"exposure_time_s is 0 s; it must be more than zero\."):
        exposure.exposure_value(8, 0)


def test_the_crop_factor_goes_by_the_diagonals() -> None:
    assert crop_factor(36, 24) == pytest.approx(1)
    assert focal_length_35mm_of_sensor(50, 23.5, 15.6) == pytest.approx(76.7, abs=0.05)
