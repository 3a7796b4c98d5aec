"""Exposure: values, differences in stops, equivalent settings.

N is the f-number, t the exposure time, S the ISO speed; a stop is a factor of two of light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from journal.optics.checks import positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def exposure_value(f_number: ArrayLike, exposure_time_s: ArrayLike) -> NDArray[np.float64]:
    """Exposure value of an aperture and a time: EV = log2(N² / t).

    Args:
        f_number: [1], any shape.
        exposure_time_s: [s], a shape that goes with it.

    Returns:
        EV [stops], in the common shape; NaN where an argument is NaN. f/1 at 1 s is EV 0.

    Raises:
        JournalError: a value is zero or less.

    Source: CIPA DC-008 (Exif), APEX units: Ev = Av + Tv.
    """
    n = positive("f_number", f_number, "1")
    t = positive("exposure_time_s", exposure_time_s, "s")
    return np.asarray(np.log2(n**2 / t), dtype=np.float64)


def exposure_value_at_iso_100(f_number: ArrayLike, exposure_time_s: ArrayLike, iso: ArrayLike) -> NDArray[np.float64]:
    """The light that the settings suit: ev100 = log2(N² / t) - log2(S / 100).

    Args:
        f_number: [1].
        exposure_time_s: [s].
        iso: [1].

    Returns:
        EV at ISO 100 [stops]; f/16, 1/125 s at ISO 100 is about 15, full sun.

    Raises:
        JournalError: a value is zero or less.

    Source: CIPA DC-008 (Exif), APEX units; ISO 12232 for the speed.
    """
    return np.asarray(
        exposure_value(f_number, exposure_time_s) - np.log2(positive("iso", iso, "1") / 100), dtype=np.float64
    )


def exposure_stops(f_number: ArrayLike, exposure_time_s: ArrayLike, iso: ArrayLike) -> NDArray[np.float64]:
    """How bright a frame becomes in the same light, against f/1, 1 s, ISO 100: log2(t S / (100 N²)) [stops].

    Differences of this number are differences of exposure in stops; positive is brighter.

    Raises:
        JournalError: a value is zero or less.

    Source: the same relation as `exposure_value_at_iso_100`, with the sign turned.
    """
    return -exposure_value_at_iso_100(f_number, exposure_time_s, iso)


def exposure_difference_stops(
    f_number: ArrayLike,
    exposure_time_s: ArrayLike,
    iso: ArrayLike,
    other_f_number: ArrayLike,
    other_exposure_time_s: ArrayLike,
    other_iso: ArrayLike,
) -> NDArray[np.float64]:
    """How many stops brighter the other settings are in the same light; positive is brighter [stops].

    Raises:
        JournalError: a value is zero or less.

    Source: the difference of `exposure_stops`.
    """
    other = exposure_stops(other_f_number, other_exposure_time_s, other_iso)
    return np.asarray(other - exposure_stops(f_number, exposure_time_s, iso), dtype=np.float64)


def equivalent_exposures(
    f_number: float, exposure_time_s: float, iso: float, iso_step: float = 0.0
) -> NDArray[np.float64]:
    """Settings of the same exposure: apertures from f/1 to f/32 in thirds of a stop, the time follows.

    Args:
        f_number: [1].
        exposure_time_s: [s].
        iso: [1].
        iso_step: stops by which the ISO of all of them is higher.

    Returns:
        Rows of exact f-number, exposure time [s] and ISO, shape (31, 3), widest first.

    Raises:
        JournalError: a value is zero or less.

    Source: reciprocity: t S / N² stays the same.
    """
    stops = float(exposure_stops(f_number, exposure_time_s, iso))
    apertures = 2.0 ** (np.arange(31) / 6)
    speeds = np.full(31, float(iso) * 2.0**iso_step)
    times = 2.0**stops * 100 * apertures**2 / speeds
    return np.column_stack([apertures, times, speeds])
