"""How settings are written and read: "1/125", "f/5.6", "ISO 400" <-> numbers.

`parse_x` and `format_x` are inverses. Nothing here rounds to a nominal value: what was written is what is kept.
Pure Python, so that quick commands may use it.
"""

from __future__ import annotations

import math
import re
from datetime import MAXYEAR, UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import tzinfo

_Number = TypeVar("_Number", int, float)
#: At most nine digits on either side of the point: numerator and denominator of a time then fit into 64-bit integers.
_NUMBER = r"([0-9]{1,9}(?:\.[0-9]{1,9})?|\.[0-9]{1,9})"
_DEGREES = r"[0-9]{1,3}(?:\.[0-9]{1,15})?"
#: The shortest exposure that is believed [s]; electronic shutters stop well above it.
SHORTEST_TIME_S = Fraction(1, 10_000_000)
#: The least spread of edges that is told [px]: below half a pixel sharpening and the pixels decide, not the lens.
SMALLEST_SPREAD_PX = 0.5
#: The faults whose names say what a frame is; the others say what it has.
EXPOSED = ("overexposed", "underexposed")
#: Nothing was photographed earlier: the oldest view that survives is dated to 1826 or 1827.
FIRST_YEAR = 1826
#: The furthest that anything is photographed at by its distance [m]; a little beyond the moon.
FURTHEST_M = 1e9
#: The hyphen before a number that stands alone; those of dates, ranges, options and names of files stay.
BELOW_NOUGHT = re.compile(r"(?<![^\s(])-(?=[0-9][0-9,]{0,12}(?:\.[0-9]{1,9})?(?![\w-]|\.\w))")
#: The longest exposure that is believed [s]; a week.
LONGEST_TIME_S = 604_800


def parse_exposure_time_fraction(text: str) -> Fraction:
    """The exposure time as an exact fraction of a second: "1/125", "0.5", "2s", '2"', "1/125 s"."""
    match = re.fullmatch(rf'{_NUMBER}(?:\s*/\s*{_NUMBER})?\s*(?:sec|s|")?', text.strip().lower())
    if match is None or float(match[2] or 1) == 0 or float(match[1]) == 0:
        raise JournalError(
            f"{text!r} is no exposure time.", "Write it as a fraction or in seconds, for example 1/125 or 2."
        )
    seconds = Fraction(match[1]) / Fraction(match[2] or 1)
    if seconds > LONGEST_TIME_S:
        raise JournalError(f"{text!r} is an exposure time of over a week.", "Write it in seconds, for example 30.")
    if seconds < SHORTEST_TIME_S:
        raise JournalError(
            f"{text!r} is an exposure time of under a ten-millionth of a second.",
            "Write it as a fraction of a second, for example 1/8000.",
        )
    return seconds


def parse_exposure_time(text: str) -> float:
    """The exposure time [s]."""
    return float(parse_exposure_time_fraction(text))


def format_exposure_time(seconds: float) -> str:
    """An exposure time as it is spoken: 1/125, 0.3 s, 0.5 s, 2 s."""
    if seconds < 0.28 or (seconds < 0.4 and abs(1 / seconds - round(1 / seconds)) < 1e-6):
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
    match = re.fullmatch(r"(?:iso\s*)?([0-9]{1,9})", text.strip().lower())
    if match is None or not 1 <= int(match[1]) <= 10_000_000:
        raise JournalError(f"{text!r} is no ISO speed.", "Write it like 400 or ISO 400.")
    return int(match[1])


def format_iso(iso: int) -> str:
    """An exposure index with its name: ISO 400."""
    return f"ISO {iso}"


def parse_range(text: str, parse: Callable[[str], _Number]) -> tuple[_Number, _Number]:
    """One value, or two with a hyphen between them, as (low, high): "1/1000-1/250", "100-3200"."""
    parts = re.split(r"\s*(?:-|–|\.\.)\s*", text.strip())
    if len(parts) > 2 or not all(parts):
        raise JournalError(f"{text!r} is no value or range.", "Write one value, or two with a hyphen: 100-3200.")
    values = sorted(parse(part) for part in parts)
    return values[0], values[-1]


def parse_focal_length(text: str) -> float:
    """The focal length [mm]: "200 mm", "200"."""
    match = re.fullmatch(rf"{_NUMBER}\s*(?:mm)?", text.strip().lower())
    if match is None or not 0.1 <= float(match[1]) <= 20_000:
        raise JournalError(f"{text!r} is no focal length.", "Write it in millimetres, for example 200.")
    return float(match[1])


def parse_distance(text: str) -> float:
    """A distance or depth [m]: "0.4", "0.4 m", "40 cm", "8 mm"."""
    match = re.fullmatch(rf"{_NUMBER}\s*(m|cm|mm)?", text.strip().lower())
    metres = float(match[1]) / {"cm": 100, "mm": 1000}.get(match[2] or "", 1) if match else 0
    if not 1e-6 <= metres <= FURTHEST_M:
        raise JournalError(f"{text!r} is no distance.", "Write it in metres, for example 0.4 or 40 cm.")
    return metres


def format_distance(metres: float) -> str:
    """A distance or depth as it is spoken: 40 cm, 12 m; what is parsed again is the same number."""
    return f"{100 * metres:.10g} cm" if metres < 1 else f"{metres:.10g} m"


def format_rounded_distance(metres: float) -> str:
    """A distance that was computed, to three digits: 4.01 m, 1,490 m, 149 km, infinity."""
    if math.isinf(metres):
        return "infinity"
    if metres >= 10_000:
        return f"{float(f'{metres / 1000:.3g}'):,.0f} km"
    return f"{metres:,.0f} m" if metres >= 1000 else f"{metres:.3g} m"


def parse_zone(text: str) -> tzinfo:
    """A time zone: an IANA name (Europe/London), an offset (+01:00), or UTC."""
    match = re.fullmatch(r"([+-])([0-9]{1,2}):?([0-5][0-9])?", text.strip())
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
    if not FIRST_YEAR <= moment.year < MAXYEAR:
        raise JournalError(
            f"{text!r} is before there were photographs, or too far ahead.", "Write it like 2026-03-01 06:40."
        )
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def format_instant(moment: datetime) -> str:
    """A moment as the journal stores it: UTC, ISO 8601 with milliseconds and a Z; as text they sort."""
    return f"{moment.astimezone(UTC).isoformat(timespec='milliseconds').removesuffix('+00:00')}Z"


def parse_position(text: str) -> tuple[float, float]:
    """Latitude and longitude [degrees]: "51.5,-0.1"."""
    match = re.fullmatch(rf"\s*(-?{_DEGREES})\s*[, ]\s*(-?{_DEGREES})\s*", text)
    if match is None or abs(float(match[1])) > 90 or abs(float(match[2])) > 180:
        raise JournalError(
            f"{text!r} is no position.", "Write latitude and longitude in degrees, for example 51.5,-0.1."
        )
    return float(match[1]), float(match[2])


def format_signed(value: float, places: int = 0) -> str:
    """A difference with its sign: "+12", "-0.3"; what is rounded to nought has none."""
    written = f"{value:+.{places}f}"
    return written.lstrip("+-") if float(written) == 0 else written


def with_minus(text: str) -> str:
    """A text as pages and charts show it: a number below nought has a minus sign, where what is typed has a hyphen."""
    return BELOW_NOUGHT.sub("\N{MINUS SIGN}", text)


def format_shares(shares: Sequence[float]) -> list[str]:
    """Shares of a whole in per cent, that add up to 100 as they are written: 34 %, 33 %, 33 %.

    All are rounded down; what is left over goes to those that lost most by it.
    """
    parts = [100 * share for share in shares]
    whole = [math.floor(part) for part in parts]
    left = round(sum(parts)) - sum(whole)
    lost_most = sorted(range(len(parts)), key=lambda place: whole[place] - parts[place])
    for place in lost_most[:left]:
        whole[place] += 1
    return [f"{part} %" for part in whole]


def format_spread(pixels: float) -> str:
    """How far edges spread: 1.7 px; what is too little to be told, or negative (steepened since), as < 0.5 px."""
    return f"< {SMALLEST_SPREAD_PX:g} px" if pixels < SMALLEST_SPREAD_PX else f"{pixels:.1f} px"


def format_direction(degrees: float) -> str:
    """The way in which something lies, to a whole degree: 14°; what lies level is 0°, never 180°."""
    return f"{round(degrees) % 180}°"


def format_faults(faults: Iterable[str]) -> str:
    """Why a frame is rejected, after that word: for camera shake and noise; as overexposed and for noise.

    What stands behind a fault's name, in brackets, is kept.
    """
    told = list(faults)
    states = [fault for fault in told if fault.startswith(EXPOSED)]
    kinds = (("as", states), ("for", [fault for fault in told if fault not in states]))
    return " and ".join(f"{before} {' and '.join(some)}" for before, some in kinds if some)


def format_count(number: int, noun: str) -> str:
    """A count as it is said: 1 frame, 1,200 frames."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def format_none_of(number: int, noun: str) -> str:
    """The subject of a sentence about none of them: None of the 1,200 frames; No frame, where there is only one."""
    return f"No {noun}" if number == 1 else f"None of the {format_count(number, noun)}"


def format_names(names: Sequence[str]) -> str:
    """Names in a row: a; a and b; a, b and c."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def capital(text: str) -> str:
    """The text with a capital to begin a sentence."""
    return text[:1].upper() + text[1:]
