"""Sensor formats and what follows from their size.

Sizes are nominal; makers differ by tenths of a millimetre. Source: CIPA DCG-001 (equivalent focal length) for the
diagonal of 43.27 mm that "35 mm" stands for.
"""

from __future__ import annotations

import math

import numpy as np

from journal.optics.checks import positive

#: Width and height by format [mm].
SENSOR_FORMATS: dict[str, tuple[float, float]] = {
    "medium-format": (43.8, 32.9),
    "full-frame": (36.0, 24.0),
    "aps-c": (23.5, 15.6),
    "aps-c-small": (22.3, 14.9),
    "four-thirds": (17.3, 13.0),
    "one-inch": (13.2, 8.8),
}
#: Diagonal of 36 x 24 mm [mm].
DIAGONAL_35MM = math.hypot(36.0, 24.0)


def crop_factor(sensor_width_mm: float, sensor_height_mm: float | None = None) -> float:
    """Ratio of the 36 x 24 mm diagonal to this sensor's; by the widths where the height is unknown [1].

    Args:
        sensor_width_mm: [mm].
        sensor_height_mm: [mm], or None where nobody stated it.

    Raises:
        JournalError: a side is zero or less.

    Source: CIPA DCG-001, by the diagonals.
    """
    width = float(positive("sensor_width_mm", sensor_width_mm, "mm"))
    if sensor_height_mm is None:
        return 36.0 / width
    return DIAGONAL_35MM / math.hypot(width, float(positive("sensor_height_mm", sensor_height_mm, "mm")))


def focal_length_35mm_of_sensor(
    focal_length_mm: float, sensor_width_mm: float, sensor_height_mm: float | None = None
) -> float:
    """Focal length of the same angle of view on 36 x 24 mm [mm], rounded to a tenth.

    Args:
        focal_length_mm: [mm].
        sensor_width_mm: [mm].
        sensor_height_mm: [mm], or None where nobody stated it.

    Raises:
        JournalError: a value is zero or less.

    Source: CIPA DCG-001, by the diagonals.
    """
    length = float(positive("focal_length_mm", focal_length_mm, "mm"))
    return round(length * crop_factor(sensor_width_mm, sensor_height_mm), 1)


def circle_of_confusion_mm(sensor_width_mm: float, sensor_height_mm: float) -> float:
    """The blur that still passes for a point: 0.030 mm on 36 x 24 mm, in proportion to the diagonal elsewhere [mm].

    Args:
        sensor_width_mm: [mm].
        sensor_height_mm: [mm].

    Raises:
        JournalError: a side is zero or less.

    Source: the scale engraved on 35 mm lenses; Ray, Applied Photographic Optics, chapter on depth of field.
    """
    width = positive("sensor_width_mm", sensor_width_mm, "mm")
    height = positive("sensor_height_mm", sensor_height_mm, "mm")
    return float(0.030 * np.hypot(width, height) / DIAGONAL_35MM)
