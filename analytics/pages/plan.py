"""A plan in words: nominal settings, whose limits they keep, what is missing and what would help."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.limit_words import key_name, value_name
from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from analytics.planning.outing import Outing, Plan
    from analytics.planning.own_limits import OwnLimits

#: Less than this is not said to be missing [stops].
SMALLEST_STOPS = 1 / 6
_DECIDES = {
    "hands": "{whose} sets the time, with half a stop or more to spare",
    "subject": "the subject sets the time, with half a stop or more to spare",
    "light": "there is light to spare, so the time is shorter than it need be",
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
    lines = [("slowest hand-held time", own.hand_held, "hand-held"), ("highest ISO", own.highest_iso, "iso")]
    if own.freeze is not None:
        lines.insert(1, (f"slowest time for {key_name('freeze', pace)}", own.freeze, "freeze"))
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
    higher = nominal_iso_name(2 * round(3 * (found.iso_stops + found.missing_stops)))
    wider = nominal_f_number_name(2 * round(3 * (found.aperture_stops - found.missing_stops)))
    ways.append(f"A lens that opens to {wider} would do it, with less depth of field.")
    ways.append(f"{higher} would do it, with more noise than you keep.")
    ways.append(
        "Flash would do it where it is allowed; not near infants, animals, drivers or people with photosensitive "
        "epilepsy."
    )
    return ways
