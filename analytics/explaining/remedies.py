"""What would have fixed it: other settings for the same light, each with its gain and its price.

Every alternative keeps the exposure (but for the ones that mend the exposure itself), stays inside what lens and body
can be set to, and lies on the engraved scale in thirds of a stop. How far to go follows from what was measured, else
from the photographer's own limit, else from the rule of thumb, else one stop is taken as an example, and that is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.explaining.blur_budget import DEFOCUS, HAND_HELD, SUBJECT
from analytics.explaining.effects import Effect, effects_of, size_words, stops_words, subject_fits
from analytics.explaining.missing import for_what_pixels_tell
from analytics.explaining.noise import INVISIBLE_LEVELS, levels_words, noise_estimate
from analytics.explaining.own_limits import NAMES, known, to_spare
from analytics.explaining.settings import SMALLEST_F_NUMBER, Move, Room, moved, room, settings_name
from journal.optics.focus import focus_limits_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.explaining.blur_budget import BlurBudget
    from analytics.explaining.facts import FrameFacts
    from analytics.explaining.own_limits import Limits

#: Blur of this extent no longer shows at full size [px]; our own convention, half of what examining surely finds.
HARMLESS_PX = 2.0
#: The ground of a fault that nobody has seen and nothing has measured.
ONLY_POSSIBLE = "the blur budget alone; nobody has judged it, so it may be sharp all the same"
#: How the ground ends where discs were measured, and from where on [stops] that is no work for the aperture.
BY_APERTURE, TOO_MUCH_FOR_APERTURE = "by the aperture alone", 2.0
#: More than this is not proposed at once [thirds of a stop].
LARGEST_NEED = 15
#: A suggestion is acted on from this probability on.
SURE_ENOUGH = 0.5
#: One whole stop, as an example where nothing says how far to go [thirds].
ONE_STOP = 3
#: An error against the stated light that is worth a word [stops]: light is stated by eye and does not stay the same.
WORTH_A_WORD = 0.5
#: What follows where settings do not explain a fault.
ANOTHER_CAUSE = "so look for another cause"
#: What a picture that was not examined may show all the same.
UNSEEN = "its picture has not been examined"
#: A frame that is nearer to a limit than this is at it [stops].
AT_LIMIT = 1 / 6
#: What a need begins with that follows from the stated light alone.
BY_STATED_LIGHT = "by the stated light"
#: Why nobody knows how far the exposure is off, where the picture has not been examined.
NOT_EXAMINED = "how far it is off is not known until its picture is examined"

EXPOSURE_FAULTS = ("overexposed", "underexposed")
#: Faults that settings can mend, in the order in which they are looked at.
FIXABLE = (*EXPOSURE_FAULTS, "camera shake", "subject motion", "missed focus", "noise")
#: The part of the blur budget behind each fault.
PART_OF_FAULT = {"camera shake": HAND_HELD, "subject motion": SUBJECT, "missed focus": DEFOCUS}
#: Faults whose blur grows with time.
SMEARS = ("camera shake", "subject motion")


@dataclass(frozen=True, slots=True)
class Remedy:
    """Other settings: what they gain, what they cost in the other faults, and what speaks against them.

    `moved_stops` says how much light each setting adds; `stops_given_up` is the sum of what is paid elsewhere;
    `crosses_limit` says that the photographer's own limits speak against it, so it comes last.
    """

    settings: str
    exposure_time_s: float | None
    f_number: float | None
    iso: float | None
    is_on_tripod: bool
    moved_stops: dict[str, float]
    gains: tuple[str, ...]
    prices: tuple[str, ...]
    stops_given_up: float
    cautions: tuple[str, ...]
    crosses_limit: bool
    effects: tuple[Effect, ...]


@dataclass(frozen=True, slots=True)
class Fixes:
    """The fault that is mended, why that one, how far the settings would have to move, and the ways to do it.

    `need_stops` is not known where only the direction is; the ways are then a first step of one stop, and `need_basis`
    says why.
    """

    fault: str | None
    basis: str
    need_stops: float | None
    need_basis: str
    remedies: tuple[Remedy, ...]


def fixes(facts: FrameFacts, budget: BlurBudget, limits: Limits) -> Fixes:
    """Two to four alternative settings that would have mended the frame's main fault; none where settings cannot."""
    fault, basis = main_fault(facts, budget)
    if fault is None or fault not in FIXABLE:
        return Fixes(fault, basis, None, "", ())
    if facts.exposure_time_s is None or facts.f_number is None or facts.iso is None:
        return Fixes(fault, basis, None, "exposure time, f-number or ISO of this frame is not known", ())
    needed, need_basis = _need(facts, fault, budget, limits)
    need, left = needed or ONE_STOP, room(facts)
    moves = dict.fromkeys(_moves(fault, need, left, facts))
    if sum(not move.on_tripod for move in moves) == 1 and need > 1:  # no other way to pay: half the way costs half
        moves |= dict.fromkeys(_moves(fault, need // 2, left, facts))
    ways = [_remedy(facts, move, fault, limits, budget.measured_blur_px) for move in list(moves)[:4]]
    is_thin = subject_fits(facts) is False
    ways.sort(key=lambda way: (way.crosses_limit, is_thin and way.moved_stops["aperture"] > 0, _smears_anew(way)))
    found = tuple(ways)
    if not found:
        need_basis = "lens and body leave no way to go there"
    return Fixes(fault, basis, None if needed is None else needed / 3, need_basis, found)


def main_fault(facts: FrameFacts, budget: BlurBudget) -> tuple[str | None, str]:
    """The fault to mend and where it comes from: the verdict, else a sure suggestion, else the blur budget."""
    suggested = facts.suggestion
    if facts.verdict == "reject" and facts.faults:
        named = suggested.fault if suggested else None
        fixable = [fault for fault in FIXABLE if fault in facts.faults]
        fault = named if named in fixable else fixable[0] if fixable else facts.faults[0]
        return fault, "your verdict"
    if facts.verdict == "keeper":
        return None, "it is a keeper"
    if suggested and suggested.fault and not suggested.is_unsure and (suggested.probability or 0) >= SURE_ENOUGH:
        return suggested.fault, f"suggested with probability {suggested.probability:.2f}, not judged"
    circle = facts.circle_of_confusion_um
    wide = [
        (part.spread_um or 0.0, fault)
        for fault, part in ((fault, budget.part(name)) for fault, name in PART_OF_FAULT.items())
        if part.bound == "about" and part.extent_um is not None and circle is not None and part.extent_um > circle
    ]
    if wide:
        return max(wide)[1], ONLY_POSSIBLE
    if suggested and suggested.fault:
        return None, f"{suggested.fault} is suggested, but not surely enough"
    known = "in" if all(part.has_size for part in budget.parts) else "that is known of"
    return None, f"no fault is named, and nothing {known} the blur budget stands out"


def _need(facts: FrameFacts, fault: str, budget: BlurBudget, limits: Limits) -> tuple[int | None, str]:
    """How far the main setting should move [thirds], and what says so; None where only the direction is known."""
    if fault in EXPOSURE_FAULTS:
        return _exposure_need(facts, fault)
    if fault == "noise":
        return _noise_need(facts, budget.is_small, limits)
    if fault == "missed focus":
        return _depth_need(facts, budget.measured_blur_px)
    blur = budget.measured_blur_px
    if blur is not None and blur > HARMLESS_PX:
        stops = math.log2(blur / HARMLESS_PX)
        return _thirds(stops), f"{_from(stops)}{blur:.1f} px of measured blur to {HARMLESS_PX:g} px"
    part = budget.part(PART_OF_FAULT[fault])
    circle = facts.circle_of_confusion_um
    if part.extent_um and circle and part.extent_um > circle:
        less = "; less may do" if part.bound == "at most" else ""
        return _thirds(math.log2(part.extent_um / circle)), f"to a smear that passes for a point, by {part.basis}{less}"
    if part.extent_um is not None:
        return ONE_STOP, f"an example: {part.name} of {size_words(part)} hardly shows, {ANOTHER_CAUSE}"
    if part.against:
        return None, f"{part.against}, {ANOTHER_CAUSE}"
    return ONE_STOP, "an example: nothing says how far"


def _noise_need(facts: FrameFacts, is_small: bool, limits: Limits) -> tuple[int, str]:
    """As far as this body's own limit; an example where the frame is there already or noise should not show at all."""
    own = known(limits, "iso", facts.gear.body)
    above = math.log2((facts.iso or 100) / 100) - own if own is not None else -math.inf
    if above > AT_LIMIT:
        return _thirds(above), "to the highest ISO you keep with this body"
    expected = noise_estimate(facts).expected_sigma
    if expected is not None and expected < INVISIBLE_LEVELS and facts.measured is None:
        small = " of this small picture" if is_small else ""
        noise = f"by the settings, noise of {levels_words(expected)}{small} should hardly show"
        return ONE_STOP, f"an example: {noise}; {UNSEEN}"
    if above > -AT_LIMIT:
        return ONE_STOP, "an example: the frame is at the highest ISO you keep with this body"
    return ONE_STOP, "an example: nothing says how far"


def _exposure_need(facts: FrameFacts, fault: str) -> tuple[int | None, str]:
    """As measured, else by the stated light where that says more than eyes and a burst leave open."""
    sign, side = (1, "bright") if fault == "overexposed" else (-1, "dark")
    error = facts.measured.ev if facts.measured else None
    if error is not None and error * sign > 0:
        return _thirds(abs(error)), f"measured: {stops_words(abs(error))} too {side}"
    if error is not None:
        return None, f"how far it is off is not known, for the picture as measured is not too {side}"
    light, suits = facts.light_ev100, facts.ev100
    if light is not None and suits is not None and (light - suits) * sign >= WORTH_A_WORD:
        off = abs(light - suits)
        return _thirds(off), f"{BY_STATED_LIGHT}, EV {light:g}, for the settings suit EV {suits:.1f}"
    if facts.measured is None and facts.why_unexamined is not None:
        return None, f"how far it is off is not known, for {for_what_pixels_tell(facts)}"
    return None, NOT_EXAMINED if facts.measured is None else "how far it is off is not known; the picture does not tell"


def _depth_need(facts: FrameFacts, blur_px: float | None) -> tuple[int, str]:
    """Thirds to close until the stated depth lies inside the limits of focus, or until the measured discs are small."""
    distance, depth, f = facts.finite_distance_m, facts.subject_depth_m, facts.focal_length_mm
    circle, n = facts.circle_of_confusion_um, facts.f_number
    if not (distance and depth and f and circle and n) or distance - depth / 2 <= f / 1000:
        if blur_px is not None and blur_px > HARMLESS_PX:
            stops = stops_to_shrink(blur_px)
            return _thirds(stops), f"{_from(stops)}discs of about {blur_px:.0f} px to {HARMLESS_PX:g} px {BY_APERTURE}"
        return ONE_STOP, "an example: distance or depth of the subject is not written down"
    for thirds in range(LARGEST_NEED + 1):
        near, far = focus_limits_m(f, min(n * 2 ** (thirds / 6), SMALLEST_F_NUMBER), distance, circle / 1000)
        if near <= distance - depth / 2 and far >= distance + depth / 2:
            if thirds == 0:
                return ONE_STOP, "an example: the depth of field held the subject, so the focus lay elsewhere"
            return thirds, f"until {depth:.3g} m at {distance:.3g} m lie inside the depth of field"
    return LARGEST_NEED, f"even f/{SMALLEST_F_NUMBER:g} does not hold {depth:.3g} m at {distance:.3g} m"


def stops_to_shrink(disc_px: float) -> float:
    """By how much an aperture has to close until a disc out of focus no longer shows [stops].

    Args:
        disc_px: its diameter, in proportion to that of the aperture [px].
    """
    return 2 * math.log2(disc_px / HARMLESS_PX)


def _from(stops: float) -> str:
    """How a way from one size to another begins; one that is too far to be proposed at once says so."""
    return f"of {stops:.1f} from " if _thirds(stops) < 3 * stops - 0.03 else "from "


def _thirds(stops: float) -> int:
    """Whole thirds that reach at least so far, one at least; a hundredth of a stop is not worth another third."""
    return min(LARGEST_NEED, max(1, math.ceil(3 * stops - 0.03)))


def _moves(fault: str, need: int, left: Room, facts: FrameFacts) -> Iterator[Move]:
    """The ways to go, the most natural first."""
    if fault == "overexposed":
        singles = [Move(iso=-min(need, left.down)), Move(time=-min(need, left.shorter))]
        yield from (move for move in [*singles, Move(aperture=-min(need, left.close))] if move.light)
    elif fault == "underexposed":
        singles = [Move(aperture=min(need, left.open)), Move(time=min(need, left.longer))]
        yield from (move for move in [*singles, Move(iso=min(need, left.up))] if move.light)
    elif fault == "missed focus":
        for pay, other in _shares(min(need, left.close), left.up, left.longer):
            yield Move(aperture=-(pay + other), iso=pay, time=other)
    elif fault == "noise":
        for pay, other in _shares(min(need, left.down), left.open, left.longer):
            yield Move(iso=-(pay + other), aperture=pay, time=other)
        if facts.camera_support != "tripod" and facts.subject_pace in (None, "still", "slow"):
            longer = min(need, left.down, left.longer)
            yield from [Move(iso=-longer, time=longer, on_tripod=True)] if longer else []
    else:
        for pay, other in _shares(min(need, left.shorter), left.up, left.open):
            yield Move(time=-(pay + other), iso=pay, aperture=other)
        if fault == "camera shake" and facts.camera_support != "tripod":
            yield Move(on_tripod=True)


def _holds_still(facts: FrameFacts, move: Move) -> bool:
    """Whether neither hands nor subject move, so that a longer time costs nothing."""
    return move.on_tripod and facts.subject_pace == "still"


def _shares(need: int, first_room: int, second_room: int) -> Iterator[tuple[int, int]]:
    """How two settings pay a need: all by the first, all by the second, half and half; each as far as it goes."""
    wishes = (need, 0, need // 2) if need > 1 else (need, 0)
    for wish in wishes:
        first = min(wish, first_room)
        second = min(need - first, second_room)
        first = min(need - second, first_room)
        if first + second:
            yield first, second


def _remedy(facts: FrameFacts, move: Move, fault: str, limits: Limits, blur_px: float | None) -> Remedy:
    there = moved(facts, move)
    wanted = PART_OF_FAULT.get(fault, fault)
    effects = effects_of(facts, there, limits, wanted)
    better = sorted((one for one in effects if one.worse_stops < -0.05), key=lambda one: one.name != wanted)
    worse = [one for one in effects if one.worse_stops > 0.05]
    gains = [one.words for one in better]
    if blur_px and fault in SMEARS and not any(one.name == wanted for one in better):
        held = move.on_tripod and fault == "camera shake"
        left = "none" if held else f"{blur_px * 2.0 ** (move.time / 3):.1f} px"
        gains.insert(0, f"{fault} from {blur_px:.1f} px, as measured, to {left}")
    if fault in EXPOSURE_FAULTS:
        size = "one stop" if abs(move.light) == ONE_STOP else f"{abs(move.light) / 3:.1f} stops"
        gains.insert(0, f"{size} {'darker' if move.light < 0 else 'brighter'}")
    prices = [one.words for one in worse]
    if move.on_tripod:
        prices.append("a tripod to carry and set up; it does not hold the subject still")
    if fault == "underexposed" and move.iso:
        prices.append("brighter, but with no more light on the sensor: noise stays as it is in the shadows")
    beyond = list(_beyond_limits(there, move, limits))
    paid = [max(0, move.iso), max(0, move.aperture), max(0, move.time) * (not _holds_still(facts, move))]
    if move.time > 0 and not move.on_tripod and not any(one.name in (HAND_HELD, SUBJECT) for one in effects):
        prices.append(f"{stops_words(move.time / 3)} more time for hands and subject to move in")
    if not prices and any(paid):
        prices.append("nothing that shows")
    return Remedy(
        settings=settings_name(facts, move) + (" on a tripod" if move.on_tripod else ""),
        exposure_time_s=there.exposure_time_s,
        f_number=there.f_number,
        iso=there.iso,
        is_on_tripod=move.on_tripod,
        moved_stops={"time": move.time / 3, "aperture": move.aperture / 3, "iso": move.iso / 3},
        gains=tuple(gains),
        prices=tuple(prices),
        stops_given_up=sum(paid) / 3,
        cautions=(*(words for words, _is_crossed in beyond), *_cautions(facts, there, move)),
        crosses_limit=any(is_crossed for _words, is_crossed in beyond),
        effects=effects,
    )


def _smears_anew(way: Remedy) -> bool:
    """Whether an alternative makes a smear that shows larger, or one that nobody knows."""
    is_unknown = not any(one.name in (HAND_HELD, SUBJECT) for one in way.effects)
    if way.moved_stops["time"] > 0 and not way.is_on_tripod and is_unknown:
        return True
    return any(
        one.name in (HAND_HELD, SUBJECT) and one.unit == "px" and one.worse_stops > 0 and (one.after or 0) > HARMLESS_PX
        for one in way.effects
    )


def _beyond_limits(there: FrameFacts, move: Move, limits: Limits) -> Iterator[tuple[str, bool]]:
    """The own limits that an alternative is beyond, and whether it goes further beyond them than the frame."""
    for line in to_spare(there, limits):
        touched = move.iso if line.kind == "iso" else move.time
        if line.stops is not None and line.stops < -0.05 and touched:
            verb = "still " if touched < 0 else ""
            yield f"{verb}{stops_words(-line.stops)} beyond your {NAMES[line.kind]} ({line.key})", touched > 0


def _cautions(facts: FrameFacts, there: FrameFacts, move: Move) -> Iterator[str]:
    """What else speaks against an alternative: the depth of the subject, and what lens and body may not do."""
    if move.aperture > 0 and subject_fits(facts) and subject_fits(there) is False:
        yield f"the subject, {facts.subject_depth_m:.3g} m deep, no longer fits into the depth of field"
    gear = facts.gear
    if move.aperture > 0 and gear.is_zoom and gear.widest_is_stated:
        yield "if the lens opens so far at this focal length"
    if move.iso > 0 and not gear.highest_iso_is_stated and (there.iso or 0) > (gear.highest_iso or 0) * 1.01:
        yield "if the body goes so high; its highest ISO is not stated"
    if move.time < 0 and facts.has_flash:
        yield "the flash fired: times shorter than the body's sync time are out of its reach"
    if move.time > 0 and facts.has_flash:
        yield "the flash fired: a longer time adds nothing to its light"
