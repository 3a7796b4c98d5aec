"""A plan in words: nominal settings, whose limits they keep, what is missing and what would help."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.pages.limit_words import key_name, value_name
from analytics.planning.outing import MARGIN_STOPS, SUPPORT_STOPS, plan, slowest_time
from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from analytics.planning.outing import Outing, Plan
    from analytics.planning.own_limits import OwnLimits

#: Less than this is not said to be missing [stops].
SMALLEST_STOPS = 1 / 6
#: No ISO that is higher is offered, for hardly any camera has it.
HIGHEST_STOPS = math.log2(102400 / 100)
#: No lens that opens wider is offered: (focal length up to which it is made [mm], its f-number). Source: what is sold.
WIDEST_MADE = ((60, 0.95), (105, 1.4), (135, 1.8), (200, 2.0), (300, 2.8), (math.inf, 4.0))
_DECIDES = {
    "hands": "{whose} sets the time, with half a stop or more to spare",
    "subject": "the subject sets the time, with half a stop or more to spare",
    "both": "{whose} and the subject set the same time, with half a stop or more to spare",
    "light": "there is light to spare, so the time is shorter than it need be",
    "nothing": "on a tripod only the subject limits the time, and its pace is not stated",
}
#: The same where light is missing.
_DARK = {
    "hands": "the time is half a stop or more faster than {whose}",
    "subject": "the time is half a stop or more faster than the subject's limit",
    "both": "the time is half a stop or more faster than {whose} and the subject's",
    "nothing": _DECIDES["nothing"],
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
    if found.missing_stops < SMALLEST_STOPS:
        return f"Start with {settings_name(found)}: {_DECIDES[found.time_limit].format(whose=whose)}."
    return (
        f"Not enough light: at {settings_name(found)} the frame is {found.missing_stops:.1f} stops too dark; "
        f"{_DARK[found.time_limit].format(whose=whose)}."
    )


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


def ways_to_light(found: Plan, outing: Outing, own: OwnLimits) -> list[str]:
    """What would give the missing stops, each with what it gives; empty where nothing is missing."""
    if found.missing_stops < SMALLEST_STOPS:
        return []
    ways = [*_slower(found, outing, own), *_steadier(found, outing, own)]
    higher, wider = found.iso_stops + found.missing_stops, found.aperture_stops - found.missing_stops
    is_open = found.aperture_stops <= 2 * math.log2(outing.widest_f_number) + SMALLEST_STOPS
    if is_open and wider >= 2 * math.log2(_widest_made(outing.focal_length_35mm)) - SMALLEST_STOPS:
        lens = nominal_f_number_name(2 * round(3 * wider))
        ways.append(f"A lens that opens to {lens} would do it, with less depth of field.")
    kept = " than you keep" if own.highest_iso.is_own else ""
    if higher <= HIGHEST_STOPS + SMALLEST_STOPS:
        ways.append(f"{nominal_iso_name(2 * round(3 * higher))} would do it, with more noise{kept}.")
    ways.append(
        "Flash can do it as far as it reaches, where it is allowed; not near infants, animals, drivers or people with "
        "photosensitive epilepsy."
    )
    return ways


def _slower(found: Plan, outing: Outing, own: OwnLimits) -> list[str]:
    """A time at the limit itself, where that is enough."""
    slowest, limited_by = slowest_time(outing, own)
    if limited_by == "nothing" or found.missing_stops > slowest + MARGIN_STOPS - found.time_stops + SMALLEST_STOPS:
        return []
    time = nominal_time_name(2 * round(3 * (found.time_stops + found.missing_stops)))
    of_subject = own.freeze or own.hand_held
    limits = {"hands": [own.hand_held], "both": [own.hand_held, of_subject]}.get(limited_by, [of_subject])
    if not all(limit.is_own for limit in limits):
        return [f"{time} would do it, with nothing to spare of the usual limit; yours is not known yet."]
    return [f"{time} would do it, with nothing to spare: at the limit a tenth of the frames is lost."]


def depth_words(found: Plan, outing: Outing) -> list[str]:
    """What the aperture makes of the subject's depth; empty where that is not asked or needs no word."""
    if found.is_deep_enough is False:
        return ["The depth of field does not hold the subject; focus on what matters most."]
    if found.is_deep_enough and found.aperture_stops > 2 * math.log2(outing.widest_f_number) + SMALLEST_STOPS:
        return [f"{nominal_f_number_name(2 * round(3 * found.aperture_stops))} is the widest that holds the subject."]
    return []


def _steadier(found: Plan, outing: Outing, own: OwnLimits) -> list[str]:
    """What a monopod and a tripod give; a tripod is not named where it gives no more than a monopod."""
    if found.time_limit != "hands":
        return []
    ways, most = [], SMALLEST_STOPS
    for support in ("monopod", "tripod"):
        steadier = plan(replace(outing, support=support), own)
        if steadier.time_limit == "nothing":
            ways.append("On a tripod only the subject limits the time, and its pace is not stated.")
            continue
        given = found.missing_stops - steadier.missing_stops
        if given < most:
            continue
        most = given + SMALLEST_STOPS
        is_all = steadier.missing_stops < SMALLEST_STOPS
        much = (
            f"all of the {found.missing_stops:.1f}" if is_all else f"about {given:.1f} of the {found.missing_stops:.1f}"
        )
        time = nominal_time_name(2 * round(3 * steadier.time_stops))
        is_stopped = steadier.time_limit == "subject" and not is_all
        until = f"; at {time} the subject sets the time" if is_stopped else ""
        ways.append(f"A {support} gives {much} stops{until}.")
    return ways


def _widest_made(focal_length: float) -> float:
    return next(widest for longest, widest in WIDEST_MADE if focal_length <= longest)
