"""What a camera wrote down becomes numbers; what it did not write stays unknown."""

from __future__ import annotations

import math
from dataclasses import fields
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from analytics.pixels.settings import Settings, settings_of


@pytest.mark.parametrize("brightness_value", [-0.1, 13.7, 20.4])
def test_a_meter_that_is_farther_off_than_a_picture_could_be_is_not_believed(brightness_value: float) -> None:
    exif = {"ExposureTime": 1 / 400, "FNumber": 4.0, "ISO": 100, "BrightnessValue": brightness_value}
    assert math.isnan(settings_of(exif).metered_error_ev)
    near = settings_of(exif | {"BrightnessValue": 10.2})
    assert near.metered_error_ev == pytest.approx(10.2 + 5 - math.log2(16 * 400))


def test_nothing_written_is_nothing_known() -> None:
    none = settings_of({})
    assert none.subject_area == () and none.orientation == 1
    numbers = {field.name for field in fields(Settings)} - {"subject_area", "orientation"}
    assert all(math.isnan(getattr(none, name)) for name in numbers)


@pytest.mark.parametrize("written", [0.008, "1/125", " 1 / 125 s", "0.008", (1, 125), Fraction(1, 125)])
def test_times_come_in_many_ways(written: Any) -> None:
    assert settings_of({"ExposureTime": written}).exposure_time_s == 0.008


@pytest.mark.parametrize("written", ["soon", "", "1/0", 0, -1, None, math.inf, "8 apples"])
def test_what_is_no_time_is_not_known(written: Any) -> None:
    assert math.isnan(settings_of({"ExposureTime": written}).exposure_time_s)


@pytest.mark.parametrize("f_number", ["f/2.8", "F/2.8", "f2.8", "F2.8", "2.8", 2.8, (28, 10)])
def test_units_and_marks_beside_a_number_do_no_harm(f_number: Any) -> None:
    found = settings_of({"FNumber": f_number, "ISO": "ISO 400", "FocalLength": "85.0 mm"})
    assert (found.f_number, found.iso, found.focal_length_mm) == (2.8, 400, 85)


def test_the_pupil_is_the_focal_length_over_the_f_number() -> None:
    assert settings_of({"FNumber": 2, "FocalLength": 85}).pupil_mm == 42.5
    assert math.isnan(settings_of({"FocalLength": 85}).pupil_mm)
    assert math.isnan(settings_of({"FNumber": 2}).pupil_mm)


@pytest.mark.parametrize("written", [1, 9, 25, True, "Fired", "On, Fired", "Auto, Fired, Red-eye reduction"])
def test_a_flash_that_fired_is_told_by_its_code_or_in_words(written: Any) -> None:
    assert settings_of({"Flash": written}).is_flash == 1


@pytest.mark.parametrize(
    "written", [0, 16, 24, "No Flash", "Off, Did not fire", "Auto, Did not fire", "On, Did not fire"]
)
def test_a_flash_that_did_not_fire_is_told_likewise(written: Any) -> None:
    assert settings_of({"Flash": written}).is_flash == 0


@pytest.mark.parametrize("written", [None, "", "Unknown (88)"])
def test_of_any_other_flash_nothing_is_known(written: Any) -> None:
    assert math.isnan(settings_of({"Flash": written}).is_flash)


@pytest.mark.parametrize(
    ("written", "by_hand"), [(1, 1), (0, 0), ("Manual", 1), ("Auto", 0), ("Auto bracket", 0), (None, math.nan)]
)
def test_exposure_by_hand_is_told_by_its_code_or_in_words(written: Any, by_hand: float) -> None:
    assert settings_of({"ExposureMode": written}).is_manual == pytest.approx(by_hand, nan_ok=True)


@pytest.mark.parametrize(
    ("written", "steadied"),
    [
        ("on", 1),
        ("On (1)", 1),
        ("Off", 0),
        (True, 1),
        (np.True_, 1),
        (0, 0),
        ("None", 0),
        (None, math.nan),
        ("perhaps", math.nan),
    ],
)
def test_stabilisation_that_nobody_wrote_down_is_not_known(written: Any, steadied: float) -> None:
    assert settings_of({"ImageStabilization": written}).is_steadied == pytest.approx(steadied, nan_ok=True)
