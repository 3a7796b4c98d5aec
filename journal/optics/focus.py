"""Depth of field of a thin lens: hyperfocal distance and the limits of focus."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from journal.optics.checks import positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Circle of confusion on 36 x 24 mm [mm]: the diagonal over 1442, as printed on depth-of-field scales.
#: Source: common practice of lens makers, Ray, Applied Photographic Optics, chapter on depth of field.
CIRCLE_OF_CONFUSION_35MM = 0.030


def hyperfocal_distance_m(
    focal_length_mm: ArrayLike, f_number: ArrayLike, circle_of_confusion_mm: ArrayLike = CIRCLE_OF_CONFUSION_35MM
) -> NDArray[np.float64]:
    """Nearest focus that keeps infinity within the circle of confusion: H = f² / (N c) + f.

    Args:
        focal_length_mm: [mm].
        f_number: [1].
        circle_of_confusion_mm: on the sensor [mm].

    Returns:
        Distance from the lens [m]. 50 mm at f/8 with 0.03 mm: 10.47 m.

    Raises:
        JournalError: a value is zero or less.

    Source: Ray, Applied Photographic Optics, chapter on depth of field.
    """
    f = positive("focal_length_mm", focal_length_mm, "mm")
    n = positive("f_number", f_number, "1")
    c = positive("circle_of_confusion_mm", circle_of_confusion_mm, "mm")
    return np.asarray((f**2 / (n * c) + f) / 1000, dtype=np.float64)


def focus_limits_m(
    focal_length_mm: ArrayLike,
    f_number: ArrayLike,
    subject_distance_m: ArrayLike,
    circle_of_confusion_mm: ArrayLike = CIRCLE_OF_CONFUSION_35MM,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Near and far limit of focus: near = s (H - f) / (H + s - 2f), far = s (H - f) / (H - s), infinite from H on.

    Args:
        focal_length_mm: [mm].
        f_number: [1].
        subject_distance_m: distance of best focus, more than the focal length; may be infinite [m].
        circle_of_confusion_mm: on the sensor [mm].

    Returns:
        (near, far) [m]; far is infinite at the hyperfocal distance and beyond, near is then at most H - f.

    Raises:
        JournalError: a value is zero or less, or the subject is not beyond the focal length.

    Source: Ray, Applied Photographic Optics, chapter on depth of field.
    """
    h = hyperfocal_distance_m(focal_length_mm, f_number, circle_of_confusion_mm)
    f = positive("focal_length_mm", focal_length_mm, "mm") / 1000
    s = positive("subject_distance_m", subject_distance_m, "m")
    positive("subject_distance_m - focal length", s - f, "m")
    # Divided through by s, so that an infinite distance has its limits too.
    near = (h - f) / ((h - 2 * f) / s + 1)
    with np.errstate(divide="ignore"):
        far = np.where(s >= h, np.inf, (h - f) / (h / s - 1))
    return np.asarray(near, dtype=np.float64), np.asarray(far, dtype=np.float64)
