"""Engraved names, derived columns and limits of focus at the edges of their range."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.errors import JournalError
from journal.optics.blur import rotation_blur_px
from journal.optics.derived import derive
from journal.optics.focus import focus_limits_m, hyperfocal_distance_m
from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

#: Shutter times in thirds of a stop as engraved. Source: the marks of shutter dials, ISO 516 for the full stops.
TIMES_IN_THIRDS = (
    "30 s", "25 s", "20 s", "15 s", "13 s", "10 s", "8 s", "6 s", "5 s", "4 s", "3.2 s", "2.5 s", "2 s",
    "1.6 s", "1.3 s", "1 s", "0.8 s", "0.6 s", "0.5 s", "0.4 s", "0.3 s", "1/4", "1/5", "1/6", "1/8", "1/10",
    "1/13", "1/15", "1/20", "1/25", "1/30", "1/40", "1/50", "1/60", "1/80", "1/100", "1/125", "1/160", "1/200",
    "1/250", "1/320", "1/400", "1/500", "1/640", "1/800", "1/1000", "1/1250", "1/1600", "1/2000", "1/2500",
    "1/3200", "1/4000", "1/5000", "1/6400", "1/8000",
)  # fmt: skip
#: F-numbers in thirds of a stop as engraved. Source: the marks of lenses, ISO 517 for the full stops.
F_NUMBERS_IN_THIRDS = (
    "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4", "4.5", "5",
    "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25", "29", "32",
)  # fmt: skip
#: Speeds in thirds of a stop. Source: ISO 12232.
ISOS_IN_THIRDS = (
    50,
    64,
    80,
    100,
    125,
    160,
    200,
    250,
    320,
    400,
    500,
    640,
    800,
    1000,
    1250,
    1600,
    2000,
    2500,
    3200,
    6400,
)


@pytest.mark.parametrize("name", TIMES_IN_THIRDS)
def test_a_frame_at_an_engraved_time_is_named_by_it(name: str) -> None:
    numerator, _, denominator = name.removesuffix(" s").partition("/")
    tv6 = derive(float(numerator) / float(denominator or 1), None, None, None).tv6
    assert tv6 is not None
    assert nominal_time_name(tv6) == name


@pytest.mark.parametrize("place", range(len(TIMES_IN_THIRDS)))
def test_a_frame_at_the_exact_third_has_the_engraved_name(place: int) -> None:
    assert nominal_time_name(30 - 2 * place) == TIMES_IN_THIRDS[place]


@pytest.mark.parametrize("place", range(len(F_NUMBERS_IN_THIRDS)))
def test_an_aperture_is_named_as_engraved_from_its_nominal_and_its_exact_number(place: int) -> None:
    engraved = F_NUMBERS_IN_THIRDS[place]
    av6 = derive(None, float(engraved), None, None).av6
    assert av6 is not None
    assert nominal_f_number_name(av6) == f"f/{engraved}"
    assert nominal_f_number_name(2 * place) == f"f/{engraved}"


@pytest.mark.parametrize("iso", ISOS_IN_THIRDS)
def test_a_speed_in_thirds_keeps_its_name(iso: int) -> None:
    sv6 = derive(None, None, iso, None).sv6
    assert sv6 is not None
    assert nominal_iso_name(sv6) == f"ISO {iso}"


@pytest.mark.parametrize("broken", [0, -1, math.nan, math.inf, -math.inf])
def test_a_broken_setting_counts_as_unknown(broken: float) -> None:
    derived = derive(broken, broken, broken, broken)
    assert set(derived.__getstate__()) == {None}  # type: ignore[attr-defined]
    assert derive(1 / 125, 8, 100, broken) == derive(1 / 125, 8, 100, None)


@given(st.floats(4, 1200), st.floats(0.7, 64))
def test_focus_at_infinity_is_sharp_from_short_of_the_hyperfocal_distance_on(f: float, n: float) -> None:
    near, far = focus_limits_m(f, n, math.inf)
    assert near == pytest.approx(float(hyperfocal_distance_m(f, n)) - f / 1000)
    assert math.isinf(far)


@given(st.floats(4, 1200), st.floats(0.7, 64), st.floats(2, 5000))
def test_both_limits_are_seen_through_the_same_blur(f: float, n: float, s: float) -> None:
    """A point at a limit, imaged by the thin lens, is a disc of just the circle of confusion."""
    near, far = (float(limit) for limit in focus_limits_m(f, n, s, 0.03))
    image_mm = 1 / (1 / f - 1 / (1000 * s))
    for limit in (near, far):
        behind_mm = f if math.isinf(limit) else 1 / (1 / f - 1 / (1000 * limit))
        blur_mm = abs(behind_mm - image_mm) / behind_mm * f / n
        assert blur_mm <= 0.03 * (1 + 1e-5)
        if not math.isinf(limit):
            assert blur_mm == pytest.approx(0.03, rel=1e-3, abs=1e-6)


@pytest.mark.parametrize("distance_m", [0.03, 0.05])
def test_a_subject_within_the_focal_length_cannot_be_focused(distance_m: float) -> None:
    with pytest.raises(JournalError, match=r"subject_distance_m - focal length is .* m; it must be more than zero"):
        focus_limits_m(50, 8, distance_m)


def test_a_quarter_turn_smears_without_end() -> None:
    assert np.isinf(rotation_blur_px(90, 1, 50, 4))
    assert np.isinf(rotation_blur_px(180, 1, 50, 4))
    assert np.isnan(rotation_blur_px(np.nan, 1, 50, 4))
