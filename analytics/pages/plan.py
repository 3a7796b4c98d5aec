"""A plan in words: nominal settings, whose limits they keep, what is missing and what would help."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analytics.pages.limit_words import key_name, value_name
from analytics.planning.outing import SUPPORT_STOPS
from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from analytics.planning.outing import Outing, Plan
    from analytics.planning.own_limits import OwnLimits

#: Less than this is not said to be missing [stops].
SMALLEST_STOPS = 1 / 6
#: No lens that opens wider and no ISO that is higher is offered, for hardly any camera has them.
WIDEST_STOPS, HIGHEST_STOPS = 2 * math.log2(0.95), math.log2(102400 / 100)
_DECIDES = {
    "hands": "{whose} sets the time, with half a stop or more to spare",
    "subject": "the subject sets the time, with half a stop or more to spare",
    "light": "there is light to spare, so the time is shorter than it need be",
    "nothing": "on a tripod only the subject limits the time, and its pace is not stated",
}


def settings_name(found: Plan) -> str:
    """The settings as they stand on a camera: 1/250, f/4, ISO 800."""
    return ", ".join(
        (
            nominal_time_name(2 * round(3 * found.time_stops)),
            nominal_f_number_name(2 * round(3 * found.aperture_stops)),
            nominal_iso_name(2 * round(3 * found.iso_stops)),
        )
    )


def plan_sentence(found: Plan, own: OwnLimits) -> str:
    """What to start with, in one sentence."""
    whose = "your own hand-held limit" if own.hand_held.is_own else "the usual hand-held limit (yours is not known yet)"
    lacking = "" if found.missing_stops < SMALLEST_STOPS else f", and {found.missing_stops:.1f} stops are missing"
    return f"Start with {settings_name(found)}: {_DECIDES[found.time_limit].format(whose=whose)}{lacking}."


def limit_lines(own: OwnLimits, outing: Outing, pace: str | None) -> list[tuple[str, str, str]]:
    """(limit, value, whose it is) for the table under the sentence."""
    lines = [("highest ISO", own.highest_iso, "iso")]
    if own.freeze is not None:
        lines.insert(0, (f"slowest time for {key_name('freeze', pace)}", own.freeze, "freeze"))
    if outing.support in SUPPORT_STOPS:
        lines.insert(0, ("slowest hand-held time", own.hand_held, "hand-held"))
    return [
        (
            name,
            value_name(kind, limit.stops, outing.focal_length_35mm),
            "yours" if limit.is_own else "usual; yours is not known yet",
        )
        for name, limit, kind in lines
    ]


def ways_to_light(found: Plan, outing: Outing) -> list[str]:
    """What would give the missing stops, each with what it gives; empty where nothing is missing."""
    if found.missing_stops < SMALLEST_STOPS:
        return []
    ways = []
    if found.time_limit == "hands":
        ways.append("A monopod gives about 1.5 stops; on a tripod only the subject limits the time.")
    higher, wider = found.iso_stops + found.missing_stops, found.aperture_stops - found.missing_stops
    if wider >= WIDEST_STOPS:
        lens = nominal_f_number_name(2 * round(3 * wider))
        ways.append(f"A lens that opens to {lens} would do it, with less depth of field.")
    if higher <= HIGHEST_STOPS:
        ways.append(f"{nominal_iso_name(2 * round(3 * higher))} would do it, with more noise than you keep.")
    ways.append(
        "Flash would do it where it is allowed; not near infants, animals, drivers or people with photosensitive "
        "epilepsy."
    )
    return ways
