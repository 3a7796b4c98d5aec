"""How wide a point becomes that lies before or behind the plane of focus."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from journal.optics.checks import positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def defocus_spot_um(
    focal_length_mm: ArrayLike, f_number: ArrayLike, focus_distance_m: ArrayLike, point_distance_m: ArrayLike
) -> NDArray[np.float64]:
    """Diameter of the blur circle of a point out of focus: f² |x - s| / (N (s - f) x).

    Args:
        focal_length_mm: true, not equivalent [mm].
        f_number: [1].
        focus_distance_m: s, distance of best focus, more than the focal length and finite [m].
        point_distance_m: x, distance of the point; may be infinite [m].

    Returns:
        Diameter on the sensor [µm]; 0 in the plane of focus. At the limits of focus it is the circle of confusion.

    Raises:
        JournalError: a value is zero or less, or the focus is not beyond the focal length.

    Source: thin lens, similar triangles at the aperture; Ray, Applied Photographic Optics, chapter on depth of field.
    """
    f = positive("focal_length_mm", focal_length_mm, "mm") / 1000
    n = positive("f_number", f_number, "1")
    s = positive("focus_distance_m", focus_distance_m, "m")
    x = positive("point_distance_m", point_distance_m, "m")
    beyond = positive("focus_distance_m - focal length", s - f, "m")
    # |x - s| / x, written so that an infinitely far point has its circle too
    return np.asarray(1e6 * f**2 / (n * beyond) * np.abs(1 - s / x), dtype=np.float64)
