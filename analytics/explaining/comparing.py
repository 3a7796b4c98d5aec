"""Two frames side by side: why is this one sharp, or clean, or rightly exposed, and that one not?

What is known for both frames, expected or measured, is compared in doublings (of light: stops) of what shows, and
ranked by them: a smear that doubles below the size of a pixel matters to nobody. It is told as a photographer would
say it: so many times as wide, so many stops darker.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.explaining.blur_budget import DEFOCUS, DIFFRACTION, HAND_HELD, SUBJECT
from analytics.explaining.effects import INVISIBLE_PX, stops_words
from analytics.explaining.explanation import exposure_words
from analytics.explaining.missing import for_what_pixels_tell, how_to_state_the_sensor
from analytics.explaining.noise import INVISIBLE_LEVELS, levels_words
from analytics.explaining.settings import focal_length_name, iso_words
from journal.notation import (
    SMALLEST_SPREAD_PX,
    format_exposure_time,
    format_f_number,
    format_names,
    format_rounded_distance,
    format_spread,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from analytics.explaining.explanation import Explanation
    from analytics.explaining.facts import FrameFacts

#: Less than this is no difference [stops].
SAME_STOPS = 0.1
#: Less than this between measured spreads is no difference that anybody sees [doublings]; our own convention.
SAME_SPREAD = 0.25
#: What was measured of sharpness and of brightness, and what the settings let expect of noise.
MEASURED = "spread of the sharpest edges, measured"
#: What was measured where a fault of sharpness is likely, though the sharpest edges of both are alike.
PLACE, NONE_FOUND = "blur of a place, measured", "none that stands out"
EXPOSURE = "exposure, measured"
NOISE = "noise at mid-grey, expected"
SEEN_NOISE = "noise in flat places, measured"
#: A time so much longer is worth a word where edges are softer [stops].
LONGER_STOPS = 1.0
#: A cause that is only known to be at most so large counts for less.
AT_MOST_WEIGHT = 0.5


@dataclass(frozen=True, slots=True)
class Difference:
    """One cause or measure in both frames, as numbers and in words.

    `stops` is positive where the second frame has more of it: doublings, infinite from none; of brightness, stops.
    `weight` ranks by how much of that shows.
    """

    name: str
    first: float | None
    second: float | None
    unit: str
    stops: float
    weight: float
    first_words: str
    second_words: str
    how: str

    @property
    def words(self) -> str:
        """All of it in one line."""
        return f"{self.name}: {self.first_words} against {self.second_words} ({self.how})"


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One setting in both frames; `stops` is the light that the second one has more."""

    name: str
    first: str
    second: str
    stops: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two frames: the sentence, the settings that differ, the differences that matter in order, what is not known."""

    first_id: int
    second_id: int
    sentence: str
    settings: tuple[SettingChange, ...]
    differences: tuple[Difference, ...]
    unknown: tuple[str, ...]
    unknown_settings: tuple[str, ...] = ()

    @property
    def no_difference(self) -> str:
        """What may be said where nothing is found to differ: what is not known may differ all the same."""
        if self.unknown_settings:
            return f"It cannot be told, for {_are(self.unknown_settings)} not known."
        if not self.settings:
            return "Nothing, for no setting differs."
        return "Nothing that shows, of what is known." if self.unknown else "Nothing that shows."


def compare(one: Explanation, other: Explanation) -> Comparison:
    """Compares two explained frames."""
    measured = list(_measured_edges(one, other)) or list(_measured_place(one, other))
    found = sorted(
        [*_blurs(one, other), *measured, *_noise(one, other), *_exposure(one, other)],
        key=lambda difference: -difference.weight,
    )
    unknown = [
        f"{part.name} of frame {side.facts.frame_id}: {part.basis}"
        for side in (one, other)
        for part in side.budget.parts
        if not part.has_size
    ]
    unknown += [
        f"sharpness, exposure and noise of frame {side.facts.frame_id}: {for_what_pixels_tell(side.facts)}"
        for side in (one, other)
        if side.facts.measured is None
    ]
    unknown += dict.fromkeys(filter(None, (how_to_state_the_sensor(side.facts) for side in (one, other))))
    unknown_settings = tuple(_unknown_settings(one.facts, other.facts))
    return Comparison(
        one.facts.frame_id,
        other.facts.frame_id,
        _sentence(one, other, found, unknown_settings),
        tuple(_settings(one.facts, other.facts)),
        tuple(found),
        tuple(unknown),
        unknown_settings,
    )


def _are(names: Sequence[str]) -> str:
    return f"{format_names(names)} {'is' if len(names) == 1 else 'are'}"


def _unknown_settings(*sides: FrameFacts) -> Iterator[str]:
    """The settings that make a picture and are not written down, each with its frame."""
    for facts in sides:
        settings = (("time", facts.exposure_time_s), ("aperture", facts.f_number), ("ISO", facts.iso))
        yield from (f"the {name} of frame {facts.frame_id}" for name, value in settings if not value)


def _blurs(one: Explanation, other: Explanation) -> Iterator[Difference]:
    for name in (HAND_HELD, SUBJECT, DEFOCUS, DIFFRACTION):
        first, second = one.budget.part(name), other.budget.part(name)
        if first.extent_um is None or second.extent_um is None:
            continue
        both_px = first.extent_px is not None and second.extent_px is not None
        sizes = [(part.extent_px if both_px else part.extent_um) or 0.0 for part in (first, second)]
        floor = INVISIBLE_PX if both_px else (one.budget.circle_of_confusion_um or 30.0) / 4
        visible = _visible(sizes[0], sizes[1], floor)
        if abs(visible) < SAME_STOPS:
            continue
        # what hides behind a larger blur matters as little as what does not show
        shares = [side.budget.share_of_known(name) for side in (one, other)]
        weight = (
            abs(visible) * math.sqrt(max(shares)) * (AT_MOST_WEIGHT if "at most" in (first.bound, second.bound) else 1)
        )
        shown = [_px_words(size) if both_px else f"{size:.{1 if size < 10 else 0}f} µm" for size in sizes]
        if both_px:
            shown = [words + of for words, of in zip(shown, _of_small(one, other), strict=True)]
        yield _times_as(name, sizes, shown, ("px" if both_px else "µm", "wide"), weight, (one, other))


def _px_words(size: float) -> str:
    """Pixels with two digits that say something: 28.3 px, 0.31 px, 0.0 px."""
    return f"{size:.{2 if 0.05 <= size < 1 else 1}f} px"


def _of_small(one: Explanation, other: Explanation) -> tuple[str, str]:
    """What stands behind the pixels of either frame where they are those of a small picture."""
    if one.budget.is_small and other.budget.is_small:
        return "", " of these small pictures"
    small = " of this small picture"
    return small if one.budget.is_small else "", small if other.budget.is_small else ""


def _visible(first: float, second: float, floor: float) -> float:
    """Doublings from the first to the second, above what shows at all."""
    return math.log2(math.hypot(second, floor) / math.hypot(first, floor))


def _times_as(
    name: str,
    sizes: list[float],
    shown: list[str],
    unit: tuple[str, str],
    weight: float,
    sides: tuple[Explanation, Explanation],
) -> Difference:
    """A difference of sizes: how many times as wide, or as much, it is in the frame that has more of it, as shown."""
    has_more = sides[1] if sizes[1] > sizes[0] else sides[0]
    least, most = sorted(sizes)
    stops = math.copysign(math.log2(most / least) if least else math.inf, sizes[1] - sizes[0])
    there = f"frame {has_more.facts.frame_id}"
    less, more = sorted(_number(words) for words in shown)
    at_least = "at least " if any(words.startswith("<") for words in shown) else ""
    how = f"{at_least}{_times(more / less)} times as {unit[1]} in {there}" if less else f"only in {there}"
    return Difference(name, sizes[0], sizes[1], unit[0], stops, weight, shown[0], shown[1], how)


def _number(words: str) -> float:
    """The number that a reader sees: 1.7 of "1.7 px", 0.5 of "< 0.5 px"; what is told of two is worked out from it."""
    return 0.0 if words == NONE_FOUND else float(words.removeprefix("< ").removeprefix("about ").split()[0])


def _times(ratio: float) -> str:
    return f"{ratio:.1f}" if ratio < 10 else f"{ratio:.0f}"


def _measured_edges(one: Explanation, other: Explanation) -> Iterator[Difference]:
    """Along the way in which they spread most, where it is known of both: a smear leaves the edges along it sharp."""
    sides = [side.facts.measured for side in (one, other)]
    if sides[0] is None or sides[1] is None or sides[0].edge_spread_px is None or sides[1].edge_spread_px is None:
        return
    spreads = [side.edge_spread_px or 0.0 for side in sides if side]
    along = [side.edge_along_px for side in sides if side and side.edge_along_px is not None]
    if len(along) == len(spreads):
        spreads = [max(pair) for pair in zip(spreads, along, strict=True)]
    told = [max(spread, SMALLEST_SPREAD_PX) for spread in spreads]
    visible = _visible(told[0], told[1], SMALLEST_SPREAD_PX)
    if abs(visible) >= SAME_SPREAD:
        shown = [format_spread(spread) for spread in spreads]
        yield _times_as(MEASURED, told, shown, ("px", "wide"), abs(visible), (one, other))


def _measured_place(one: Explanation, other: Explanation) -> Iterator[Difference]:
    """The blur behind the likely fault of either frame; one without such a fault has none."""
    if one.facts.measured is None or other.facts.measured is None:
        return
    sizes = [side.facts.measured.blur_px or 0.0 for side in (one, other) if side.facts.measured]
    if abs(visible := _visible(sizes[0], sizes[1], INVISIBLE_PX)) >= SAME_SPREAD and max(sizes) >= 1:
        shown = [f"about {size:.0f} px" if size >= 1 else NONE_FOUND for size in sizes]
        yield _times_as(PLACE, sizes, shown, ("px", "wide"), abs(visible), (one, other))


def _noise(one: Explanation, other: Explanation) -> Iterator[Difference]:
    """As measured, where both were; else as the settings let expect."""
    seen = [side.facts.measured.noise_sigma if side.facts.measured else None for side in (one, other)]
    expected = [one.noise.expected_sigma, other.noise.expected_sigma]
    name, (first, second) = (NOISE, expected) if None in seen else (SEEN_NOISE, seen)
    if first is None or second is None:
        return
    visible = _visible(first, second, INVISIBLE_LEVELS)
    if abs(visible) >= SAME_STOPS:
        shown = [levels_words(first), levels_words(second)]
        yield _times_as(name, [first, second], shown, ("levels", "much"), abs(visible), (one, other))


def _exposure(one: Explanation, other: Explanation) -> Iterator[Difference]:
    first, second = one.exposure.measured_ev, other.exposure.measured_ev
    if first is None or second is None:
        return
    stops = second - first
    if abs(stops) >= SAME_STOPS:
        shown = [exposure_words(first), exposure_words(second)]
        between = abs(round(second, 1) - round(first, 1))  # of what is shown
        how = f"frame {other.facts.frame_id} is {stops_words(between)} {'brighter' if stops > 0 else 'darker'}"
        yield Difference(EXPOSURE, first, second, "stops", stops, abs(stops), shown[0], shown[1], how)


def _settings(one: FrameFacts, other: FrameFacts) -> Iterator[SettingChange]:
    pairs = (
        ("time", one.exposure_time_s, other.exposure_time_s, 1.0, format_exposure_time),
        ("aperture", one.f_number, other.f_number, -2.0, format_f_number),
        ("ISO", one.iso, other.iso, 1.0, iso_words),
    )
    for setting, first, second, sign, as_stored in pairs:
        stops = sign * math.log2(second / first) if first and second else None
        if (stops is None and first != second) or (stops is not None and abs(stops) >= SAME_STOPS):
            alone = [as_stored(value) if value else "unknown" for value in (first, second)]
            yield SettingChange(setting, alone[0], alone[1], stops)
    lengths: tuple[tuple[str, float | None, float | None, Callable[[float], str]], ...] = (
        ("focal length", one.focal_length_mm, other.focal_length_mm, focal_length_name),
        ("distance", one.subject_distance_m, other.subject_distance_m, format_rounded_distance),
    )
    for name, here, there, name_of in lengths:
        alone = [name_of(value) if value else "unknown" for value in (here, there)]
        if alone[0] != alone[1]:
            yield SettingChange(name, alone[0], alone[1], None)
    stated = (
        ("support", one.camera_support, other.camera_support),
        ("pace", one.subject_pace, other.subject_pace),
        ("body", one.gear.body, other.gear.body),
        ("lens", one.gear.lens, other.gear.lens),
    )
    for name, said, other_said in stated:
        if said != other_said:
            yield SettingChange(name, said or "unknown", other_said or "unknown", None)


def _judged(one: Explanation) -> tuple[str, tuple[str, ...]]:
    return one.facts.verdict, one.facts.faults


def _to_look(unseen: Sequence[int]) -> str:
    """What to do where the pictures of these frames, both or one, have not been measured."""
    if not unseen:
        return ""
    which = "they have" if len(unseen) > 1 else f"that of frame {unseen[0]} has"
    return f"; compare the pictures by eye, for {which} not been measured"


def _sentence(one: Explanation, other: Explanation, found: list[Difference], unknown_settings: Sequence[str]) -> str:
    """What the two differ most in, measured or expected, in doublings or stops of what shows."""
    names = f"Frame {one.facts.frame_id} ({one.settings}) and frame {other.facts.frame_id} ({other.settings})"
    if not found and unknown_settings:
        return f"{names} cannot be compared, for {_are(unknown_settings)} not known."
    if not found:
        unseen = [side.facts.frame_id for side in (one, other) if side.facts.measured is None]
        known = "their settings" if unseen else "settings and pictures"
        does = (
            "makes a visible difference" if _judged(one) == _judged(other) else "tells why they were not judged alike"
        )
        return f"{names}: nothing that is known of {known} {does}{_to_look(unseen)}{_suggested(one, other)}."
    most = found[0]
    said = f"{names} differ most in {most.words}"
    blurs = [difference for difference in found if difference.name in (HAND_HELD, SUBJECT, DEFOCUS, DIFFRACTION)]
    if most.name == MEASURED:
        # how many pixels diffraction spreads over has to be known before it is said to explain any
        likely = [blur for blur in blurs if blur.name != DIFFRACTION or blur.unit == "px"]
        cause = next((blur for blur in likely if blur.stops * most.stops > 0), None)
        if cause is None:
            why = _longer(one, other, most) + _suggested(one, other)
            known = why or "; nothing that is known of them explains it: a steadier moment or the focus may have"
            return f"{said}{known}."
        return f"{said}; of what is known, {cause.words}, may explain it{_suggested(one, other)}."
    outcome = next((difference for difference in found if difference.name == MEASURED), None)
    if most in blurs and outcome is not None and outcome.stops * most.stops < 0:
        edges = f"{outcome.first_words} against {outcome.second_words}"
        return f"{said}; but its edges, as measured, are the sharper ones: {edges}."
    return f"{said}{_suggested(one, other)}."


def _longer(one: Explanation, other: Explanation, edges: Difference) -> str:
    """That the frame with the softer edges was exposed for longer; empty where it was not."""
    softer, sharper = (other, one) if edges.stops > 0 else (one, other)
    times = softer.facts.exposure_time_s, sharper.facts.exposure_time_s
    stops = math.log2(times[0] / times[1]) if times[0] and times[1] else 0.0
    if stops < LONGER_STOPS:
        return ""
    return f"; frame {softer.facts.frame_id} was exposed for {stops_words(stops)} longer, which may explain it"


def _suggested(one: Explanation, other: Explanation) -> str:
    """What is suggested of either frame, where that differs and nobody has judged them; else empty."""
    sides = [(side.facts.frame_id, side.facts.suggestion) for side in (one, other)]
    faults = [told.fault if told is not None else None for _, told in sides]
    if faults[0] == faults[1] or "unjudged" not in (one.facts.verdict, other.facts.verdict):
        return ""
    words = [
        f"of frame {number} {told.fault} is suggested (probability {told.probability:.2f})"
        for number, told in sides
        if told is not None and told.fault is not None and told.probability is not None
    ]
    return f"; {' and '.join(words)}" if words else ""
