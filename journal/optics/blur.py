"""How much a picture smears: by the hands, by the subject, by diffraction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from journal.optics.checks import positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Wavelength that stands for daylight [µm]; the eye's greatest sensitivity. Source: CIE 1924 luminosity function.
WAVELENGTH_UM = 0.555


def stops_below_rule(exposure_time_s: ArrayLike, focal_length_35mm: ArrayLike) -> NDArray[np.float64]:
    """Stops slower than the 1/focal-length rule: log2(t · f35). 1/50 s at 50 mm is 0, positive is slower.

    Args:
        exposure_time_s: [s].
        focal_length_35mm: focal length of the same angle of view on 36 x 24 mm [mm].

    Raises:
        JournalError: a value is zero or less.

    Source: the rule of thumb of hand-holding.
    """
    t = positive("exposure_time_s", exposure_time_s, "s")
    return np.asarray(np.log2(t * positive("focal_length_35mm", focal_length_35mm, "mm")), dtype=np.float64)


def rotation_blur_px(
    rotation_deg_s: ArrayLike, exposure_time_s: ArrayLike, focal_length_mm: ArrayLike, pixel_pitch_um: ArrayLike
) -> NDArray[np.float64]:
    """Smear by turning the camera steadily: f tan(ω t) / pitch.

    Args:
        rotation_deg_s: angular speed [°/s].
        exposure_time_s: [s].
        focal_length_mm: true, not equivalent [mm].
        pixel_pitch_um: distance of two pixels on the sensor [µm].

    Returns:
        Length of the smear at the centre of the picture [px]; infinite from a quarter turn on.

    Raises:
        JournalError: a value is zero or less.

    Source: central projection.
    """
    angle = np.radians(
        positive("rotation_deg_s", rotation_deg_s, "°/s") * positive("exposure_time_s", exposure_time_s, "s")
    )
    tangent = np.where(angle >= np.pi / 2, np.inf, np.tan(angle))
    on_sensor_um = 1000 * positive("focal_length_mm", focal_length_mm, "mm") * tangent
    return np.asarray(on_sensor_um / positive("pixel_pitch_um", pixel_pitch_um, "µm"), dtype=np.float64)


def subject_blur_px(
    path_m: ArrayLike, subject_distance_m: ArrayLike, focal_length_mm: ArrayLike, pixel_pitch_um: ArrayLike
) -> NDArray[np.float64]:
    """Smear of a subject that moves across the frame: path · m / pitch, with m = f / (s - f).

    Args:
        path_m: way during the exposure, speed times exposure time [m].
        subject_distance_m: [m], more than the focal length.
        focal_length_mm: true, not equivalent [mm].
        pixel_pitch_um: distance of two pixels on the sensor [µm].

    Returns:
        Length of the smear [px].

    Raises:
        JournalError: a value is zero or less, or the subject is nearer than the focal length.

    Source: magnification of a thin lens.
    """
    f = positive("focal_length_mm", focal_length_mm, "mm") / 1000
    beyond = positive(
        "subject_distance_m - focal length", positive("subject_distance_m", subject_distance_m, "m") - f, "m"
    )
    on_sensor_m = positive("path_m", path_m, "m") * f / beyond
    return np.asarray(on_sensor_m * 1e6 / positive("pixel_pitch_um", pixel_pitch_um, "µm"), dtype=np.float64)


def diffraction_spot_um(f_number: ArrayLike, wavelength_um: float = WAVELENGTH_UM) -> NDArray[np.float64]:
    """Diameter of the Airy disc to its first dark ring: 2.44 λ N.

    Args:
        f_number: [1].
        wavelength_um: [µm].

    Returns:
        Diameter [µm]; at f/8 about 10.8.

    Raises:
        JournalError: a value is zero or less.

    Source: Born and Wolf, Principles of Optics, diffraction at a circular aperture.
    """
    n = positive("f_number", f_number, "1")
    return np.asarray(2.44 * positive("wavelength_um", wavelength_um, "µm") * n, dtype=np.float64)
