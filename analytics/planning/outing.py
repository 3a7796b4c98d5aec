"""Starting settings for an outing: within one's own limits, with what is still missing in stops."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import parse_distance, parse_f_number, parse_focal_length, parse_iso
from journal.optics.focus import focus_limits_m
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    from analytics.planning.own_limits import OwnLimits

#: At a limit a tenth of the frames is lost; a plan keeps this far away from it [stops].
MARGIN_STOPS = 0.5
#: What each support gives over the hands alone; on a tripod hands set no limit [stops]. Source: common experience, and
#: only a start: your own frames say more.
SUPPORT_STOPS = {"hand-held": 0.0, "braced": 1.0, "monopod": 1.5}
#: Apertures that a plan may close down to before diffraction takes what depth gives.
SMALLEST_F_NUMBER = 16.0
#: Slower than this asks for a caution where one stands [log2 s].
LONG_TIME = 0.0
#: The slowest time that cameras have without holding the release down, 30 s [log2 s].
SLOWEST_TIME = 5.0
#: The light that anybody photographs in, EV at ISO 100.
DARKEST_EV100, BRIGHTEST_EV100 = -12.0, 24.0


@dataclass(frozen=True, slots=True)
class Outing:
    """What is known beforehand; `None` where nobody knows it.

    `focal_length_mm` and `focal_length_35mm` [mm], `widest_f_number` of the lens, distances [m], `base_iso` [ISO].
    """

    ev100: float
    focal_length_mm: float
    focal_length_35mm: float
    widest_f_number: float
    support: str = "hand-held"
    priority: str | None = None
    subject_distance_m: float | None = None
    subject_depth_m: float | None = None
    base_iso: float = 100.0


@dataclass(frozen=True, slots=True)
class AskedOuting:
    """An outing as somebody writes it down: settings and distances as text, `None` where nobody knows them."""

    ev100: float
    focal_length: str = "50 mm"
    widest: str = "f/2.8"
    pace: str | None = None
    support: str = "hand-held"
    priority: str | None = None
    distance: str | None = None
    depth: str | None = None
    base_iso: str = "100"

    def outing(self) -> Outing:
        """The outing in numbers.

        Raises:
            JournalError: a word or a number that is none.
        """
        for word, words, name in (
            (self.pace, PACES, "pace"),
            (self.support, SUPPORTS, "support"),
            (self.priority, PRIORITIES, "priority"),
        ):
            if word is not None and word not in words:
                raise JournalError(f"{word!r} is no {name} this journal knows.", f"Use one of: {', '.join(words)}.")
        if not DARKEST_EV100 <= self.ev100 <= BRIGHTEST_EV100:
            raise JournalError(
                f"EV {self.ev100:g} at ISO 100 is no light on earth.",
                f"Give a value between {DARKEST_EV100:g} and {BRIGHTEST_EV100:g}.",
            )
        focal = parse_focal_length(self.focal_length)
        return Outing(
            ev100=self.ev100,
            focal_length_mm=focal,
            focal_length_35mm=focal,
            widest_f_number=parse_f_number(self.widest),
            support=self.support,
            priority=self.priority,
            subject_distance_m=None if self.distance is None else parse_distance(self.distance),
            subject_depth_m=None if self.depth is None else parse_distance(self.depth),
            base_iso=parse_iso(self.base_iso),
        )


@dataclass(frozen=True, slots=True)
class Plan:
    """Starting settings in stops (log2 s, 2 log2 N, log2 ISO/100), what limited the time, and what is missing.

    `time_limit` is 'hands', 'subject', 'both' (their times are the same third of a stop), 'light' (bright enough that
    the lowest ISO decides) or 'nothing' (on a tripod, of a subject whose pace nobody stated). `missing_stops` is how
    far the ISO that is needed lies above the highest that is kept, 0 where nothing is missing. `is_deep_enough` is
    whether the subject is within the depth of field, `None` where distance or depth is unknown.
    """

    time_stops: float
    aperture_stops: float
    iso_stops: float
    time_limit: str
    missing_stops: float
    is_deep_enough: bool | None
    cautions: tuple[str, ...]


def plan(outing: Outing, own: OwnLimits) -> Plan:
    """Starting settings for an outing.

    The aperture serves the subject's depth where that comes first, else it is the widest; the time is the slowest third
    of a stop that hands and subject allow with a margin, as a camera has it; the ISO is what the light then asks for.
    With light to spare the time gets shorter; with too little the ISO stays at the highest that is kept, as it is told
    in thirds of a stop, and the rest is missing.
    """
    slowest, time_limit = slowest_time(outing, own)
    aperture, is_deep = _aperture(outing)
    time = _third(slowest) / 3
    iso = round(3 * aperture) / 3 - time - outing.ev100
    base = math.log2(outing.base_iso / 100)
    if iso < base:
        time, iso = time - (base - iso), base
        time_limit = "nothing" if time_limit == "nothing" else "light"
    highest = round(3 * own.highest_iso.stops) / 3
    missing = max(iso - highest, 0.0)
    return Plan(time, round(3 * aperture) / 3, min(iso, highest), time_limit, missing, is_deep, _cautions(outing, time))


def slowest_time(outing: Outing, own: OwnLimits) -> tuple[float, str]:
    """The slowest time that hands and subject allow with a margin [log2 s], and which of them decides, as of `Plan`."""
    by_subject = own.freeze.stops if own.freeze is not None else math.inf
    by_hands = math.inf
    if outing.support in SUPPORT_STOPS:
        by_hands = own.hand_held.stops - math.log2(outing.focal_length_35mm) + SUPPORT_STOPS[outing.support]
    if math.isinf(by_hands) and math.isinf(by_subject):
        return SLOWEST_TIME, "nothing"
    slowest = min(by_hands, by_subject) - MARGIN_STOPS
    if math.isfinite(by_hands) and math.isfinite(by_subject):
        others = max(by_hands, by_subject) - MARGIN_STOPS
        if _third(others) == _third(slowest):
            return slowest, "both"
    return slowest, "hands" if by_hands <= by_subject else "subject"


def _third(stops: float) -> int:
    """The number of the third of a stop that a camera has at a time or faster."""
    return math.floor(3 * stops + 1e-9)


def _aperture(outing: Outing) -> tuple[float, bool | None]:
    """(2 log2 N, whether the depth of field holds the subject): the widest that does where depth comes first."""
    widest = 2 * math.log2(outing.widest_f_number)
    distance, depth = outing.subject_distance_m, outing.subject_depth_m
    if distance is None or depth is None or distance <= outing.focal_length_mm / 1000:
        return widest, None
    if outing.priority != "depth":
        return widest, _is_deep(outing, widest)
    thirds = [widest]
    while thirds[-1] < 2 * math.log2(SMALLEST_F_NUMBER) - 1e-9:
        thirds.append(thirds[-1] + 1 / 3)
    deep = [aperture for aperture in thirds if _is_deep(outing, aperture)]
    return (deep[0], True) if deep else (thirds[-1], False)


def _is_deep(outing: Outing, aperture_stops: float) -> bool:
    circle = 0.030 * outing.focal_length_mm / outing.focal_length_35mm
    near, far = focus_limits_m(
        outing.focal_length_mm, 2 ** (aperture_stops / 2), outing.subject_distance_m or 1.0, circle
    )
    return bool(float(far) - float(near) >= (outing.subject_depth_m or 0.0))


def _cautions(outing: Outing, time_stops: float) -> tuple[str, ...]:
    found = []
    if time_stops >= LONG_TIME:
        found.append("Long exposures: stand only where you would stand without a camera; local rules come first.")
    if outing.ev100 >= 15 and outing.focal_length_35mm >= 135:
        found.append("Mind your eyes: never look at the sun through an optical finder; use a solar filter.")
    return tuple(found)
