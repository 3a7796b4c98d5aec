"""The formulas as SQL functions: NULL in, NULL out; a value that a formula refuses gives NULL too.

Unlike in Python, where a value of zero or less is refused with a sentence: one bad row should not end a query.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.optics import blur, exposure, focus, sensors

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable


def near_limit_of_focus_m(focal_length_mm: float, f_number: float, distance_m: float, circle_mm: float) -> float:
    """Near limit of focus [m]; see `focus.focus_limits_m`."""
    return float(focus.focus_limits_m(focal_length_mm, f_number, distance_m, circle_mm)[0])


def far_limit_of_focus_m(focal_length_mm: float, f_number: float, distance_m: float, circle_mm: float) -> float:
    """Far limit of focus [m]; see `focus.focus_limits_m`."""
    return float(focus.focus_limits_m(focal_length_mm, f_number, distance_m, circle_mm)[1])


#: Name, formula, number of arguments; the order of arguments is the formula's.
FUNCTIONS: tuple[tuple[str, Callable[..., object], int], ...] = (
    ("exposure_value", exposure.exposure_value, 2),
    ("exposure_value_at_iso_100", exposure.exposure_value_at_iso_100, 3),
    ("exposure_stops", exposure.exposure_stops, 3),
    ("exposure_difference_stops", exposure.exposure_difference_stops, 6),
    ("stops_below_rule", blur.stops_below_rule, 2),
    ("rotation_blur_px", blur.rotation_blur_px, 4),
    ("subject_blur_px", blur.subject_blur_px, 4),
    ("diffraction_spot_um", blur.diffraction_spot_um, 1),
    ("circle_of_confusion_mm", sensors.circle_of_confusion_mm, 2),
    ("crop_factor", sensors.crop_factor, 2),
    ("hyperfocal_distance_m", focus.hyperfocal_distance_m, 3),
    ("near_limit_of_focus_m", near_limit_of_focus_m, 4),
    ("far_limit_of_focus_m", far_limit_of_focus_m, 4),
)


def register(connection: sqlite3.Connection) -> None:
    """Makes the formulas known to a connection, as deterministic functions."""
    for name, formula, n_arguments in FUNCTIONS:
        connection.create_function(name, n_arguments, _for_sql(formula), deterministic=True)


def _for_sql(formula: Callable[..., object]) -> Callable[..., float | None]:
    def call(*arguments: object) -> float | None:
        if any(not isinstance(argument, int | float) for argument in arguments):
            return None
        try:
            return float(formula(*arguments))  # type: ignore[arg-type]
        except (JournalError, OverflowError):
            return None

    return call
