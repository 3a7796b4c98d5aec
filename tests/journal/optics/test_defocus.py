"""The blur circle of a point out of focus, against the limits of focus and limiting cases."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from journal.errors import JournalError
from journal.optics.defocus import defocus_spot_um
from journal.optics.focus import focus_limits_m

lengths = st.floats(8, 600)
apertures = st.floats(1, 32)
distances = st.floats(1, 200)


@settings(deadline=None)
@given(lengths, apertures, distances)
def test_at_the_limits_of_focus_the_blur_circle_is_the_circle_of_confusion(f: float, n: float, s: float) -> None:
    near, far = focus_limits_m(f, n, s, 0.03)
    assert float(defocus_spot_um(f, n, s, near)) == pytest.approx(30, rel=1e-6)
    if math.isfinite(far):
        assert float(defocus_spot_um(f, n, s, far)) == pytest.approx(30, rel=1e-6)


@settings(deadline=None)
@given(lengths, apertures, distances)
def test_the_plane_of_focus_is_sharp_and_infinity_is_blurred_by_the_aperture_times_magnification(
    f: float, n: float, s: float
) -> None:
    assert float(defocus_spot_um(f, n, s, s)) == 0
    magnification = (f / 1000) / (s - f / 1000)
    assert float(defocus_spot_um(f, n, s, math.inf)) == pytest.approx(1000 * f / n * magnification, rel=1e-9)


def test_a_worked_example() -> None:
    # 50 mm, f/2, focused at 2.05 m: magnification 1/40, aperture 25 mm; at 4.1 m half of 625 µm
    assert float(defocus_spot_um(50, 2, 2.05, 4.1)) == pytest.approx(312.5)


def test_unknown_stays_unknown() -> None:
    assert math.isnan(float(defocus_spot_um(50, 2, math.nan, 3)))


def test_a_focus_inside_the_focal_length_is_refused() -> None:
    with pytest.raises(JournalError) as error:
        defocus_spot_um(50, 2, 0.05, 3)
    assert error.value.problem == "focus_distance_m - focal length is 0 m; it must be more than zero."
