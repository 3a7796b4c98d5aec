"""Facts that only maker notes hold: lens, stabiliser, focus distance, drive, shutter count, an old body's ISO.

exiv2 decodes them; here its keys and wordings become plain facts. What exiv2 cannot name (`(42)`, `n/a`) is
dropped. Libraries disagree about ISO in maker notes, so it is marked `makernote`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Any

import exiv2

from journal.readers.exif_facts import ISO_TOO_LARGE, Fields, real_name
from journal.readers.exif_source import Exiv2Source, clean_text

Keys = tuple[tuple[str, str], ...]

#: Stabiliser: keys per make, and the raw values that mean off or on (from exiv2's tables of tag values).
STABILISER: dict[str, tuple[Keys, frozenset[int], frozenset[int]]] = {
    "canon": ((("CanonCs", "ImageStabilization"),), frozenset({0, 256}), frozenset({1, 2, 3, 4, 257, 258, 259})),
    "nikon": ((("NikonVr", "VibrationReduction"),), frozenset({2}), frozenset({1})),
    "sony": (
        (("Sony1", "ImageStabilization"), ("Sony2", "ImageStabilization")),
        frozenset({0}),
        frozenset({1}),
    ),
    "olympus": ((("OlympusCs", "ImageStabilization"),), frozenset({0}), frozenset({1, 2, 3, 4})),
    "panasonic": ((("Panasonic", "ImageStabilization"),), frozenset({3}), frozenset({2, 4, 5, 6, 9, 10, 11})),
}
STABILISER["om digital"] = STABILISER["olympus"]
DRIVE: dict[str, Keys] = {
    "canon": (("CanonCs", "DriveMode"),),
    "nikon": (("Nikon3", "ShootingMode"),),
    "sony": (("Sony1", "ReleaseMode"), ("Sony2", "ReleaseMode")),
    "fujifilm": (("Fujifilm", "Continuous"),),
    "olympus": (("OlympusCs", "DriveMode"),),
    "om digital": (("OlympusCs", "DriveMode"),),
    "panasonic": (("Panasonic", "BurstMode"),),
    "pentax": (("Pentax", "DriveMode"), ("PentaxDng", "DriveMode")),
    "ricoh": (("Pentax", "DriveMode"), ("PentaxDng", "DriveMode")),
}
DISTANCE: dict[str, Keys] = {
    "canon": (("CanonSi", "SubjectDistance"), ("CanonFi", "FocusDistanceUpper")),
    "nikon": (("NikonLd4", "FocusDistance"), ("NikonLd3", "FocusDistance"), ("NikonLd2", "FocusDistance")),
    "olympus": (("OlympusFi", "FocusDistance"),),
    "om digital": (("OlympusFi", "FocusDistance"),),
}
SHUTTER_COUNT: dict[str, Keys] = {
    "nikon": (("Nikon3", "ShutterCount"),),
    "pentax": (("Pentax", "ShutterCount"), ("PentaxDng", "ShutterCount")),
    "ricoh": (("Pentax", "ShutterCount"), ("PentaxDng", "ShutterCount")),
}
SERIAL: dict[str, Keys] = {
    "canon": (("Canon", "SerialNumber"),),
    "nikon": (("Nikon3", "SerialNumber"), ("Nikon3", "SerialNO")),
    "sony": (("Sony1", "SerialNumber"), ("Sony2", "SerialNumber")),
    "fujifilm": (("Fujifilm", "SerialNumber"),),
    "olympus": (("OlympusEq", "SerialNumber"), ("Olympus", "SerialNumber2")),
    "om digital": (("OlympusEq", "SerialNumber"),),
    "panasonic": (("Panasonic", "InternalSerialNumber"),),
    "pentax": (("Pentax", "SerialNumber"), ("PentaxDng", "SerialNumber")),
    "ricoh": (("Pentax", "SerialNumber"), ("PentaxDng", "SerialNumber")),
    "sigma": (("Sigma", "SerialNumber"),),
}
#: Canon's "not available" in CameraSettings.
CANON_NO_ISO = 0x7FFF
#: Distances are 16-bit centimetres: the top of the range stands for "farther than that" or "not known".
FARTHEST_M = 655.0
#: 65535 in a tenth of the unit, as compact cameras write it.
UNKNOWN_DISTANCE_M = 65.53
#: Larger numbers of exposures than any shutter makes come from a wrong key to an enciphered block.
MAX_SHUTTER_COUNT = 10_000_000

_METRES = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?m")
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


def maker_note_fields(source: Exiv2Source, known: Fields) -> Fields:
    """What the maker notes add to the fields that Exif's own tags gave."""
    make = (known.get("make") or "").lower()
    brand = next((brand for brand in SERIAL if make.startswith(brand)), None)
    fields: Fields = {}
    if source.datum("Photo", "MakerNote") is None and brand is None:
        return fields
    if known.get("lens_model") is None:
        fields["lens_model"] = _lens(source)
    if known.get("iso") is None:
        fields |= _iso(source)
    if brand is None:
        return fields
    if known.get("body_serial_number") is None:
        # Panasonic's is a row of bytes, which only exiv2's interpretation turns into letters.
        serial = _words(source, SERIAL[brand], interpreted=brand == "panasonic") or ""
        fields["body_serial_number"] = real_name(" ".join(serial.removeprefix("NO= ").split())) if serial else None
    if known.get("subject_distance_m") is None:
        fields |= _distance(source, DISTANCE.get(brand, ()))
    fields["stabiliser"] = _stabiliser(source, brand)
    fields["drive_mode"] = _words(source, DRIVE.get(brand, ()), interpreted=True)
    fields["shutter_count"] = _shutter_count(source, SHUTTER_COUNT.get(brand, ()))
    return fields


def _found(source: Exiv2Source, keys: Keys) -> Iterable[Any]:
    for group, name in keys:
        datum = source.datum(group, name)
        if datum is not None:
            yield datum


def _interpreted(source: Exiv2Source, datum: Any) -> str | None:
    """exiv2's wording of a value; None where it has none."""
    try:
        words = clean_text(datum.print(source.data))
    except UnicodeDecodeError:
        return None
    return None if words is None or words.startswith("(") else real_name(words)


def _words(source: Exiv2Source, keys: Keys, *, interpreted: bool) -> str | None:
    for datum in _found(source, keys):
        words = _interpreted(source, datum) if interpreted else source.text(datum.groupName(), datum.tagName())
        if words is not None:
            return words
    return None


def _lens(source: Exiv2Source) -> str | None:
    datum = exiv2.lensName(source.data)
    if datum is None:
        return None
    words = _interpreted(source, datum)
    # A bare number is a lens id that exiv2 has no name for.
    return None if words is None or words.isdigit() else words


def _iso(source: Exiv2Source) -> Fields:
    datum = exiv2.isoSpeed(source.data)
    if datum is None or datum.groupName() in ("Photo", "Image"):
        return {}
    match = _NUMBER.search(_interpreted(source, datum) or "")
    value = 0 if match is None else round(float(match[0]))
    if not 0 < value < ISO_TOO_LARGE or value == CANON_NO_ISO:
        return {}
    return {"iso": value, "iso_source": "makernote"}


def _distance(source: Exiv2Source, keys: Keys) -> Fields:
    for datum in _found(source, keys):
        words = _interpreted(source, datum) or ""
        if words.lower().startswith("infinit"):
            return {"subject_distance_m": math.inf, "subject_distance_source": "makernote"}
        match = _METRES.match(words)
        if match is not None and 0 < float(match[1]) < FARTHEST_M and float(match[1]) != UNKNOWN_DISTANCE_M:
            return {"subject_distance_m": float(match[1]), "subject_distance_source": "makernote"}
    return {}


def _stabiliser(source: Exiv2Source, brand: str) -> bool | None:
    keys, off, on = STABILISER.get(brand, ((), frozenset(), frozenset()))
    for datum in _found(source, keys):
        if datum.count() > 0:
            value = datum.toInt64()
            if value in on or value in off:
                return value in on
    return None


def _shutter_count(source: Exiv2Source, keys: Keys) -> int | None:
    for datum in _found(source, keys):
        words = _interpreted(source, datum) or ""
        if words.isdigit() and 0 < int(words) < MAX_SHUTTER_COUNT:
            return int(words)
    return None
