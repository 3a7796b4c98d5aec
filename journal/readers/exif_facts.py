"""Exif tags -> fields of `FileFacts`, with the traps that real files set.

Cameras write zeros, blanks and placeholders where they know nothing (an f-number of 0 with an unchipped lens, a
date of zeros, a lens called `----`); all become None. Maker notes are another module's business.
"""

from __future__ import annotations

import math
import re
from datetime import datetime
from typing import Any

from journal.readers.exif_source import ExifSource, integer, number, rational

Fields = dict[str, Any]

#: SubjectDistance's numerator for "infinity" (CIPA DC-008).
INFINITE_DISTANCE = 0xFFFFFFFF
#: PhotographicSensitivity's way to say "more than fits": the true value is in the three longer tags (CIPA DC-008).
ISO_TOO_LARGE = 65535
#: Where a sensitivity that does not fit 16 bits is written, in the order of ISO 12232's preference for cameras.
LONG_ISO_TAGS = ("StandardOutputSensitivity", "RecommendedExposureIndex", "ISOSpeed")
#: Millimetres per FocalPlaneResolutionUnit (CIPA DC-008: 2 inch, 3 centimetre; 4 and 5 from TIFF/EP).
UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
#: Diagonal of the 36 mm × 24 mm frame, to which 35 mm-equivalent focal lengths refer.
DIAGONAL_35MM = math.hypot(36, 24)
#: Sensor diagonals that exist, from small telephones to medium format [mm].
SENSOR_DIAGONALS_MM = (3.0, 80.0)

_DATE = re.compile(r"(\d{4})[:\-/](\d\d)[:\-/](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_PLACEHOLDER = re.compile(r"[-–—.*?_\s0]+|n/?a|unknown|none|manual lens|no lens", re.IGNORECASE)


def real_name(text: str | None) -> str | None:
    """The text, unless it is a placeholder such as `----` or `n/a`."""
    return None if text is None or _PLACEHOLDER.fullmatch(text) else text


def exif_fields(source: ExifSource) -> Fields:
    """All standard fields that the tags hold."""
    fields: Fields = {
        "make": source.text("Image", "Make"),
        "model": source.text("Image", "Model"),
        "body_serial_number": real_name(source.text("Photo", "BodySerialNumber")),
        "lens_model": real_name(source.text("Photo", "LensModel")),
        "image_unique_id": real_name(source.text("Photo", "ImageUniqueID")),
        "exposure_program": integer(source, "Photo", "ExposureProgram"),
        "exposure_mode": integer(source, "Photo", "ExposureMode"),
        "metering_mode": integer(source, "Photo", "MeteringMode"),
        "flash": integer(source, "Photo", "Flash"),
        "white_balance": integer(source, "Photo", "WhiteBalance"),
        "orientation": orientation(integer(source, "Image", "Orientation")),
    }
    fields |= exposure_time_fields(source)
    fields |= f_number_fields(source)
    fields |= iso_fields(source)
    fields |= bias_fields(source)
    fields |= date_fields(
        source.text("Photo", "DateTimeOriginal"),
        source.text("Photo", "SubSecTimeOriginal"),
        source.text("Photo", "OffsetTimeOriginal"),
    )
    fields |= focal_length_fields(source)
    fields |= distance_fields(source)
    fields |= position_fields(source)
    return fields


def orientation(value: int | None) -> int | None:
    """Exif's 1 to 8; anything else says nothing."""
    return value if value is not None and 1 <= value <= 8 else None


def exposure_time_fields(source: ExifSource) -> Fields:
    """ExposureTime, else 2^-ShutterSpeedValue marked `apex`; an ExposureTime of 0 is never replaced."""
    pair = rational(source, "Photo", "ExposureTime")
    if pair is not None:
        return positive_fraction("exposure_time", "exposure_time_s", pair, "exif")
    apex = number(source, "Photo", "ShutterSpeedValue")
    if apex is None or not -12 <= apex <= 20:
        return {}
    return {"exposure_time_s": 2.0**-apex, "exposure_time_source": "apex"}


def f_number_fields(source: ExifSource) -> Fields:
    """FNumber, else 2^(ApertureValue/2) marked `apex`; an FNumber of 0 means an aperture that nobody measured."""
    pair = rational(source, "Photo", "FNumber")
    if pair is not None:
        return positive_fraction("f_number", "f_number", pair, "exif")
    apex = number(source, "Photo", "ApertureValue")
    if apex is None or not 0 < apex <= 15:
        return {}
    return {"f_number": 2.0 ** (apex / 2), "f_number_source": "apex"}


def positive_fraction(stem: str, value_name: str, pair: tuple[int, int], source: str) -> Fields:
    """Numerator, denominator, value and source of a quantity that must be above zero; else nothing."""
    num, den = pair
    if num <= 0 or den <= 0 or num == INFINITE_DISTANCE or den == INFINITE_DISTANCE:
        return {}
    return {f"{stem}_num": num, f"{stem}_den": den, value_name: num / den, f"{stem}_source": source}


def iso_fields(source: ExifSource) -> Fields:
    """PhotographicSensitivity, else the tag that holds what does not fit into it."""
    value = integer(source, "Photo", "ISOSpeedRatings")
    if value is not None and 0 < value < ISO_TOO_LARGE:
        return {"iso": value, "iso_source": "exif"}
    for name in LONG_ISO_TAGS:
        value = integer(source, "Photo", name)
        if value is not None and 0 < value < 2**31 - 1:
            return {"iso": value, "iso_source": "exif"}
    return {}


def bias_fields(source: ExifSource) -> Fields:
    """ExposureBiasValue as written, however odd; x/0 says nothing."""
    pair = rational(source, "Photo", "ExposureBiasValue")
    if pair is None or pair[1] == 0:
        return {}
    num, den = pair
    return {"exposure_bias_num": num, "exposure_bias_den": den, "exposure_bias_ev": num / den}


def date_fields(date: str | None, subsec: str | None, offset: str | None) -> Fields:
    """The body's clock as `YYYY-MM-DDTHH:MM:SS[.fff]`; blank, zero and impossible dates say nothing."""
    match = _DATE.match(date or "")
    if match is None:
        return {}
    try:
        # The clock of a camera has no zone: the offset, where there is one, is kept beside it.
        taken = datetime(*map(int, match.groups()))  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return {}
    digits = subsec if subsec and re.fullmatch(r"[0-9]{1,9}", subsec) else None
    fraction = "" if digits is None else "." + digits[:3].ljust(3, "0")
    return {
        "taken_at_local": taken.isoformat() + fraction,
        "subsec": digits,
        "offset_minutes": minutes_of_offset(offset),
    }


def minutes_of_offset(offset: str | None) -> int | None:
    """`+05:30` -> 330; None where it is blank or no zone on Earth."""
    if offset is None:
        return None
    if offset.upper() == "Z":
        return 0
    match = _OFFSET.fullmatch(offset)
    if match is None:
        return None
    minutes = int(match[2]) * 60 + int(match[3])
    if int(match[3]) > 59 or minutes > 14 * 60:
        return None
    return -minutes if match[1] == "-" else minutes


def focal_length_fields(source: ExifSource) -> Fields:
    """FocalLength, and the 35 mm-equivalent from Exif, else from the focal plane's resolution."""
    focal = number(source, "Photo", "FocalLength")
    focal = focal if focal is not None and focal > 0 else None
    equivalent = number(source, "Photo", "FocalLengthIn35mmFilm")
    if equivalent is not None and 0 < equivalent < 65535:
        return {
            "focal_length_mm": focal,
            "focal_length_35mm": equivalent,
            "focal_length_35mm_source": "exif",
        }
    diagonal = sensor_diagonal_mm(source)
    if focal is None or diagonal is None:
        return {"focal_length_mm": focal}
    return {
        "focal_length_mm": focal,
        "focal_length_35mm": focal * DIAGONAL_35MM / diagonal,
        "focal_length_35mm_source": "focal_plane",
    }


def sensor_diagonal_mm(source: ExifSource) -> float | None:
    """Diagonal of the sensor = pixels / focal-plane resolution; None where the numbers contradict each other."""
    unit = UNIT_MM.get(integer(source, "Photo", "FocalPlaneResolutionUnit") or 0)
    names = ("FocalPlaneXResolution", "FocalPlaneYResolution", "PixelXDimension", "PixelYDimension")
    values = [number(source, "Photo", name) for name in names]
    numbers = [value for value in values if value is not None and value > 0]
    if unit is None or len(numbers) < 4:
        return None
    x_resolution, y_resolution, width, height = numbers
    # Pixels are square: where the two resolutions differ, one of them is wrong and nobody knows which.
    if not 0.9 < x_resolution / y_resolution < 1.1:
        return None
    # Some bodies write sensor pixels × 1000 as the numerator; pixels of another picture make the size wrong.
    top, bottom = rational(source, "Photo", "FocalPlaneXResolution") or (0, 1)
    if top % 1000 == 0 and bottom > 1 and top != 1000 * width:
        return None
    diagonal = math.hypot(width / x_resolution, height / y_resolution) * unit
    smallest, largest = SENSOR_DIAGONALS_MM
    return diagonal if smallest <= diagonal <= largest else None


def distance_fields(source: ExifSource) -> Fields:
    """SubjectDistance; 0 means unknown, 0xFFFFFFFF means infinity (CIPA DC-008)."""
    pair = rational(source, "Photo", "SubjectDistance")
    if pair is None or pair[0] <= 0:
        return {}
    if pair[0] == INFINITE_DISTANCE:
        return {"subject_distance_m": math.inf, "subject_distance_source": "exif"}
    if pair[1] <= 0:
        return {}
    return {"subject_distance_m": pair[0] / pair[1], "subject_distance_source": "exif"}


def position_fields(source: ExifSource) -> Fields:
    """GPS position in degrees, north and east positive; both or neither."""
    latitude = _degrees(source, "GPSLatitude", "NS", 90)
    longitude = _degrees(source, "GPSLongitude", "EW", 180)
    if latitude is None or longitude is None:
        return {}
    return {"latitude": latitude, "longitude": longitude}


def _degrees(source: ExifSource, name: str, signs: str, largest: int) -> float | None:
    reference = (source.text("GPSInfo", name + "Ref") or "").upper()[:1]
    parts = source.rationals("GPSInfo", name)
    if not parts or not reference or reference not in signs or parts[0][1] == 0:
        return None
    total = 0.0
    for (num, den), divisor in zip(parts, (1, 60, 3600), strict=False):
        # Cameras without a fix write 0/0: unknown degrees spoil the position, unknown seconds are only coarse.
        if den != 0:
            total += num / den / divisor
    if not 0 <= total <= largest:
        return None
    return -total if reference in "SW" else total
