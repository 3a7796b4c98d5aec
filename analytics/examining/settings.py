"""The settings of a frame under Exif's names, as the measuring wants them: what the journal knows, then what only the
file says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import exiv2

from journal.readers.content_key import UnreadableFileError, look_at
from journal.readers.exif_source import Exiv2Source
from journal.readers.reading import open_with_exiv2

if TYPE_CHECKING:
    from journal.records.measures import ToExamine

#: Exif's name by the journal's.
EXIF_NAMES = {
    "exposure_time_s": "ExposureTime",
    "f_number": "FNumber",
    "iso": "ISO",
    "focal_length_mm": "FocalLength",
    "focal_length_35mm": "FocalLengthIn35mmFilm",
    "exposure_mode": "ExposureMode",
    "flash": "Flash",
    "is_stabilised": "ImageStabilization",
    "orientation": "Orientation",
    "body": "Model",
    "lens": "LensModel",
}
#: A subject area has two to four numbers: a point, a circle, a rectangle. Source: CIPA DC-008 (Exif), SubjectArea.
MOST_NUMBERS = 4


def exif_of(frame: ToExamine) -> dict[str, Any]:
    """Settings by Exif's names; unknown ones are left out. What the photographer stated goes under its own name."""
    known = {EXIF_NAMES.get(name, name): value for name, value in frame.settings.items()}
    if frame.kind == "heif":
        known.pop("Orientation", None)  # decoding turns it upright
    return known | _only_in_the_file(frame.path)


def _only_in_the_file(path: str) -> dict[str, Any]:
    """BrightnessValue and SubjectArea, which the journal does not keep."""
    try:
        image = open_with_exiv2(look_at(path))
    except (exiv2.Exiv2Error, UnreadableFileError):
        return {}
    source = Exiv2Source(image.exifData())
    found: dict[str, Any] = {}
    brightness = source.rationals("Photo", "BrightnessValue")
    if brightness and brightness[0][1]:
        found["BrightnessValue"] = brightness[0][0] / brightness[0][1]
    area = source.datum("Photo", "SubjectArea")
    if area is not None:
        value = area.value()
        found["SubjectArea"] = [value.toInt64(number) for number in range(min(value.count(), MOST_NUMBERS))]
    return found
