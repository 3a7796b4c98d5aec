"""How settings are written and read: "1/125", "f/5.6", "ISO 400" <-> numbers.

`parse_x` and `format_x` are inverses. Nothing here rounds to a nominal value: what was written is what is kept.
Pure Python, so that quick commands may use it.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import tzinfo

_Number = TypeVar("_Number", int, float)
_NUMBER = r"(\d+(?:\.\d+)?|\.\d+)"
#: The longest exposure that is believed [s]; a week.
LONGEST_TIME_S = 604_800


def parse_exposure_time_fraction(text: str) -> Fraction:
    """The exposure time as an exact fraction of a second: "1/125", "0.5", "2s", '2"', "1/125 s"."""
    bare = text.strip().lower().removesuffix("sec").removesuffix("s").removesuffix('"').strip()
    match = re.fullmatch(rf"{_NUMBER}(?:\s*/\s*{_NUMBER})?", bare)
    if match is None or float(match[2] or 1) == 0 or float(match[1]) == 0:
        raise JournalError(
            f"{text!r} is no exposure time.", "Write it as a fraction or in seconds, for example 1/125 or 2."
        )
    seconds = Fraction(match[1]) / Fraction(match[2] or 1)
    if seconds > LONGEST_TIME_S:
        raise JournalError(f"{text!r} is an exposure time of over a week.", "Write it in seconds, for example 30.")
    return seconds


def parse_exposure_time(text: str) -> float:
    """The exposure time [s]."""
    return float(parse_exposure_time_fraction(text))


def format_exposure_time(seconds: float) -> str:
    """An exposure time as it is spoken: 1/125, 0.3 s, 2 s."""
    if seconds < 0.28 or (seconds < 0.6 and abs(1 / seconds - round(1 / seconds)) < 1e-6):
        denominator = 1 / seconds
        whole = round(denominator)
        return f"1/{whole}" if abs(denominator - whole) < 0.05 or denominator > 50 else f"1/{denominator:.1f}"
    return f"{seconds:g} s" if seconds == float(f"{seconds:g}") else f"{seconds:.2f} s"


def parse_f_number(text: str) -> float:
    """The f-number [1]: "f/5.6", "F5.6", "5.6"."""
    match = re.fullmatch(rf"(?:f\s*/?\s*)?{_NUMBER}", text.strip().lower())
    if match is None or not 0.3 <= float(match[1]) <= 512:
        raise JournalError(f"{text!r} is no f-number.", "Write it like f/5.6 or 5.6.")
    return float(match[1])


def format_f_number(f_number: float) -> str:
    """An f-number as it is engraved: f/5.6."""
    return f"f/{f_number:.4g}"


def parse_iso(text: str) -> int:
    """The exposure index [1]: "ISO 400", "400"."""
    match = re.fullmatch(r"(?:iso\s*)?(\d+)", text.strip().lower())
    if match is None or not 1 <= int(match[1]) <= 10_000_000:
        raise JournalError(f"{text!r} is no ISO speed.", "Write it like 400 or ISO 400.")
    return int(match[1])


def format_iso(iso: int) -> str:
    """An exposure index with its name: ISO 400."""
    return f"ISO {iso}"


def parse_range(text: str, parse: Callable[[str], _Number]) -> tuple[_Number, _Number]:
    """One value, or two with a hyphen between them, as (low, high): "1/1000-1/250", "100-3200"."""
    parts = [part for part in re.split(r"\s*(?:-|–|\.\.)\s*", text.strip()) if part]
    if not 1 <= len(parts) <= 2:
        raise JournalError(f"{text!r} is no value or range.", "Write one value, or two with a hyphen: 100-3200.")
    values = sorted(parse(part) for part in parts)
    return values[0], values[-1]


def parse_focal_length(text: str) -> float:
    """The focal length [mm]: "200 mm", "200"."""
    match = re.fullmatch(rf"{_NUMBER}\s*(?:mm)?", text.strip().lower())
    if match is None or not 0.1 <= float(match[1]) <= 20_000:
        raise JournalError(f"{text!r} is no focal length.", "Write it in millimetres, for example 200.")
    return float(match[1])


def parse_zone(text: str) -> tzinfo:
    """A time zone: an IANA name (Europe/London), an offset (+01:00), or UTC."""
    match = re.fullmatch(r"([+-])(\d{1,2}):?(\d{2})?", text.strip())
    if match:
        offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
        if offset <= timedelta(hours=15):
            return timezone(-offset if match[1] == "-" else offset)
    try:
        return UTC if text.strip().upper() in ("UTC", "Z") else ZoneInfo(text.strip())
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise JournalError(
            f"{text!r} is no time zone.", "Write an offset like +01:00, or a name like Europe/Lisbon."
        ) from error


def parse_instant(text: str, zone: tzinfo) -> datetime:
    """A moment with its zone: "2026-03-01 06:40"; a zone in the text wins over `zone`."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise JournalError(f"{text!r} is no date and time.", "Write it like 2026-03-01 06:40.") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def format_instant(moment: datetime) -> str:
    """A moment as the journal stores it: UTC, ISO 8601, with a Z."""
    text = moment.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00")
    return f"{text.removesuffix('.000')}Z"


def parse_position(text: str) -> tuple[float, float]:
    """Latitude and longitude [degrees]: "51.5,-0.1"."""
    match = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*[, ]\s*(-?\d+(?:\.\d+)?)\s*", text)
    if match is None or abs(float(match[1])) > 90 or abs(float(match[2])) > 180:
        raise JournalError(
            f"{text!r} is no position.", "Write latitude and longitude in degrees, for example 51.5,-0.1."
        )
    return float(match[1]), float(match[2])
