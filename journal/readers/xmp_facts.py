"""XMP properties -> fields of `FileFacts`.

Properties arrive as plain text, `{"Xmp.xmp.Rating": ("5.0",)}`, whoever read them. Exposure data in XMP only
fills what Exif left open, and is marked `xmp`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from journal.readers.exif_facts import Fields, date_fields, orientation, positive_fraction, real_name
from journal.readers.exif_source import MAX_TEXT, clean_text

Properties = Mapping[str, tuple[str, ...]]

#: The properties asked for; exif: and tiff: are Exif's tags in XMP (XMP specification part 2).
XMP_KEYS = (
    "Xmp.xmp.Rating",
    "Xmp.xmp.Label",
    "Xmp.dc.subject",
    "Xmp.exif.ExposureTime",
    "Xmp.exif.FNumber",
    "Xmp.exif.ISOSpeedRatings",
    "Xmp.exif.FocalLength",
    "Xmp.exif.DateTimeOriginal",
    "Xmp.tiff.Make",
    "Xmp.tiff.Model",
    "Xmp.tiff.Orientation",
    "Xmp.aux.Lens",
)
#: Keywords kept of one file.
MAX_KEYWORDS = 500

_FRACTION = re.compile(r"(\d{1,10})(?:/(\d{1,10}))?")
_ISO_DATE = re.compile(r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)(?:\.(\d{1,9}))?(Z|[+-]\d\d:\d\d)?")


def properties_of(data: Any) -> dict[str, tuple[str, ...]]:
    """The wanted properties of an exiv2 XmpData."""
    wanted = frozenset(XMP_KEYS)
    found = {}
    for datum in data:
        key = datum.key()
        if key in wanted:
            value = datum.value()
            found[key] = tuple(value.toString(i) for i in range(min(value.count(), MAX_KEYWORDS)))
    return found


def xmp_fields(properties: Properties) -> Fields:
    """Rating, label and keywords, and the exposure data that XMP repeats."""
    fields: Fields = {
        "rating": rating(_first(properties, "Xmp.xmp.Rating")),
        "label": _first(properties, "Xmp.xmp.Label"),
        "keywords": _keywords(properties.get("Xmp.dc.subject", ())),
        "make": _first(properties, "Xmp.tiff.Make"),
        "model": _first(properties, "Xmp.tiff.Model"),
        "lens_model": real_name(_first(properties, "Xmp.aux.Lens")),
    }
    fields |= _exposure_fields(properties)
    return fields


def rating(text: str | None) -> float | None:
    """xmp:Rating, which programs write as `5`, `5.0` or `-1` (rejected)."""
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _exposure_fields(properties: Properties) -> Fields:
    fields: Fields = {}
    exposure_time = _fraction(_first(properties, "Xmp.exif.ExposureTime"))
    if exposure_time is not None:
        fields |= positive_fraction("exposure_time", "exposure_time_s", exposure_time, "xmp")
    f_number = _fraction(_first(properties, "Xmp.exif.FNumber"))
    if f_number is not None:
        fields |= positive_fraction("f_number", "f_number", f_number, "xmp")
    iso = _fraction(_first(properties, "Xmp.exif.ISOSpeedRatings"))
    if iso is not None and iso[1] == 1 and 0 < iso[0] != 65535:
        fields |= {"iso": iso[0], "iso_source": "xmp"}
    focal = _fraction(_first(properties, "Xmp.exif.FocalLength"))
    if focal is not None and focal[0] > 0 and focal[1] > 0:
        fields["focal_length_mm"] = focal[0] / focal[1]
    turned = _fraction(_first(properties, "Xmp.tiff.Orientation"))
    if turned is not None:
        fields["orientation"] = orientation(turned[0])
    date = _ISO_DATE.fullmatch(_first(properties, "Xmp.exif.DateTimeOriginal") or "")
    if date is not None:
        fields |= date_fields(date[1], date[2], date[3])
    return fields


def _first(properties: Properties, key: str) -> str | None:
    values = properties.get(key, ())
    return clean_text(values[0]) if values else None


def _fraction(text: str | None) -> tuple[int, int] | None:
    match = _FRACTION.fullmatch(text or "")
    return None if match is None else (int(match[1]), int(match[2] or 1))


def _keywords(values: tuple[str, ...]) -> tuple[str, ...]:
    cleaned = (value.strip()[:MAX_TEXT] for value in values[:MAX_KEYWORDS])
    return tuple(dict.fromkeys(value for value in cleaned if value))
