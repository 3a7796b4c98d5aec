"""One way to ask for a tag, whichever library holds it: exiv2 by key, or Pillow for what exiv2 refuses."""

from __future__ import annotations

import math
from functools import cache
from typing import Any, Protocol

import exiv2

#: Longest text taken from a tag; cameras write tens of characters.
MAX_TEXT = 500

#: Where Pillow keeps a group's tags.
PILLOW_GROUPS = {"Photo": 0x8769, "GPSInfo": 0x8825}
#: Types whose numbers are never negative.
UNSIGNED = (exiv2.TypeId.unsignedRational, exiv2.TypeId.unsignedLong)
#: Exif's tag numbers (CIPA DC-008), by exiv2's name of the tag.
TAG_NUMBERS = {
    "Make": 0x010F,
    "Model": 0x0110,
    "Orientation": 0x0112,
    "DateTimeOriginal": 0x9003,
    "SubSecTimeOriginal": 0x9291,
    "OffsetTimeOriginal": 0x9011,
    "ExposureTime": 0x829A,
    "ShutterSpeedValue": 0x9201,
    "FNumber": 0x829D,
    "ApertureValue": 0x9202,
    "ISOSpeedRatings": 0x8827,
    "StandardOutputSensitivity": 0x8831,
    "RecommendedExposureIndex": 0x8832,
    "ISOSpeed": 0x8833,
    "ExposureBiasValue": 0x9204,
    "ExposureProgram": 0x8822,
    "ExposureMode": 0xA402,
    "MeteringMode": 0x9207,
    "Flash": 0x9209,
    "WhiteBalance": 0xA403,
    "FocalLength": 0x920A,
    "FocalLengthIn35mmFilm": 0xA405,
    "SubjectDistance": 0x9206,
    "PixelXDimension": 0xA002,
    "PixelYDimension": 0xA003,
    "FocalPlaneXResolution": 0xA20E,
    "FocalPlaneYResolution": 0xA20F,
    "FocalPlaneResolutionUnit": 0xA210,
    "ImageUniqueID": 0xA420,
    "BodySerialNumber": 0xA431,
    "LensModel": 0xA434,
    "GPSLatitudeRef": 1,
    "GPSLatitude": 2,
    "GPSLongitudeRef": 3,
    "GPSLongitude": 4,
}


class ExifSource(Protocol):
    """Tags of one file, asked for as `group`, `name` (exiv2's words)."""

    def rationals(self, group: str, name: str) -> tuple[tuple[int, int], ...]:
        """All numbers of the tag as (numerator, denominator); empty when absent or no number."""
        ...

    def text(self, group: str, name: str) -> str | None:
        """The tag as stripped text; None when absent or empty."""
        ...


def rational(source: ExifSource, group: str, name: str) -> tuple[int, int] | None:
    """The tag's first number as written, or None; the denominator may be 0."""
    numbers = source.rationals(group, name)
    return numbers[0] if numbers else None


def number(source: ExifSource, group: str, name: str) -> float | None:
    """The tag's first number; None where absent or not finite (0/0)."""
    pair = rational(source, group, name)
    if pair is None or pair[1] == 0:
        return None
    return pair[0] / pair[1]


def integer(source: ExifSource, group: str, name: str) -> int | None:
    """The tag's first number if it is a whole one."""
    value = number(source, group, name)
    return int(value) if value is not None and value.is_integer() else None


def clean_text(text: str) -> str | None:
    """Text up to its first NUL, without the padding that cameras leave; None when nothing is left."""
    cut = text.split("\0", 1)[0].strip()[:MAX_TEXT].strip()
    return cut or None


@cache
def _key(group: str, name: str) -> Any:
    """exiv2's key object; making one costs more than looking it up, so each is made once."""
    return exiv2.ExifKey(f"Exif.{group}.{name}")


class Exiv2Source:
    """Tags as exiv2 read them, maker notes included."""

    def __init__(self, data: Any) -> None:
        self.data = data
        self._end = data.end()

    def datum(self, group: str, name: str) -> Any | None:
        """exiv2's datum, or None."""
        found = self.data.findKey(_key(group, name))
        return None if found == self._end else found

    def rationals(self, group: str, name: str) -> tuple[tuple[int, int], ...]:
        datum = self.datum(group, name)
        if datum is None:
            return ()
        value = datum.value()
        pairs = tuple(value.toRational(i) for i in range(min(value.count(), 3)))
        if datum.typeId() in UNSIGNED:
            # The binding hands unsigned numbers over as signed: 0xFFFFFFFF, "infinity", as -1.
            return tuple((top & 0xFFFFFFFF, bottom & 0xFFFFFFFF) for top, bottom in pairs)
        return pairs

    def text(self, group: str, name: str) -> str | None:
        datum = self.datum(group, name)
        return None if datum is None else clean_text(text_of(datum))


def text_of(datum: Any) -> str:
    """The raw text of an exiv2 datum; what is not UTF-8 is read as Latin-1 rather than lost."""
    try:
        return str(datum.toString())
    except UnicodeDecodeError as error:
        return bytes(error.object).decode("latin-1")


class PillowSource:
    """Tags as Pillow read them; standard groups only."""

    def __init__(self, exif: Any) -> None:
        self._groups = {"Image": dict(exif)}
        for group, number_of_group in PILLOW_GROUPS.items():
            self._groups[group] = dict(exif.get_ifd(number_of_group))

    def _value(self, group: str, name: str) -> Any:
        tag = TAG_NUMBERS.get(name)
        return None if tag is None else self._groups.get(group, {}).get(tag)

    def rationals(self, group: str, name: str) -> tuple[tuple[int, int], ...]:
        value = self._value(group, name)
        values = value if isinstance(value, tuple) else (value,)
        pairs = []
        for item in values[:3]:
            if isinstance(item, int):
                pairs.append((item, 1))
            elif hasattr(item, "numerator") and hasattr(item, "denominator"):
                top, bottom = item.numerator, item.denominator
                pairs.append((int(top), int(bottom)) if math.isfinite(top) else (0, 0))
        return tuple(pairs)

    def text(self, group: str, name: str) -> str | None:
        value = self._value(group, name)
        if isinstance(value, bytes):
            value = value.decode("latin-1")
        return clean_text(value) if isinstance(value, str) else None
