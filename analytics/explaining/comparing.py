"""Two frames side by side: why is this one sharp, or clean, or rightly exposed, and that one not?

Each cause that is known for both frames is compared by its effect, in stops (doublings), and the causes are ranked by
how much of the visible difference they make: a smear that doubles below the size of a pixel matters to nobody.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.explaining.blur_budget import DEFOCUS, DIFFRACTION, HAND_HELD, SUBJECT
from analytics.explaining.effects import INVISIBLE_PX, size_words
from analytics.explaining.settings import aperture_name, iso_name, time_name
from journal.notation import format_signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.explaining.explanation import Explanation
    from analytics.explaining.facts import FrameFacts

#: Less than this is no difference [stops].
SAME_STOPS = 0.1
#: Less than this between measured spreads is no difference that anybody sees [doublings]; our own convention.
SAME_SPREAD = 0.25
#: What was measured of sharpness.
MEASURED = "spread of the sharpest edges, measured"
#: A cause that is only known to be at most so large counts for less.
AT_MOST_WEIGHT = 0.5
#: Noise up to about this much does not show [levels of 255]; our own convention.
INVISIBLE_LEVELS = 3.0


@dataclass(frozen=True, slots=True)
class Difference:
    """One cause in both frames; `stops` is positive where the second frame has more of it, `weight` ranks."""

    name: str
    first: float | None
    second: float | None
    unit: str
    stops: float
    weight: float
    words: str


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


def compare(one: Explanation, other: Explanation) -> Comparison:
    """Compares two explained frames."""
    found = sorted(
        [*_blurs(one, other), *_measured_edges(one, other), *_noise(one, other), *_exposure(one, other)],
        key=lambda difference: -difference.weight,
    )
    unknown = [
        f"{part.name} of frame {side.facts.frame_id}: {part.basis}"
        for side in (one, other)
        for part in side.budget.parts
        if part.bound == "unknown"
    ]
    return Comparison(
        one.facts.frame_id,
        other.facts.frame_id,
        _sentence(one, other, found),
        tuple(_settings(one.facts, other.facts)),
        tuple(found),
        tuple(unknown),
    )


def _blurs(one: Explanation, other: Explanation) -> Iterator[Difference]:
    for name in (HAND_HELD, SUBJECT, DEFOCUS, DIFFRACTION):
        first, second = one.budget.part(name), other.budget.part(name)
        if first.extent_um is None or second.extent_um is None:
            continue
        both_px = first.extent_px is not None and second.extent_px is not None
        unit = "px" if both_px else "µm"
        sizes = [part.extent_px if both_px else part.extent_um for part in (first, second)]
        floor = INVISIBLE_PX if both_px else (one.budget.circle_of_confusion_um or 30.0) / 4
        stops, weight = _visible(sizes[0] or 0.0, sizes[1] or 0.0, floor)
        # what hides behind a larger blur matters as little as what does not show
        weight *= math.sqrt(max(first.share or 0.0, second.share or 0.0))
        weight *= AT_MOST_WEIGHT if "at most" in (first.bound, second.bound) else 1.0
        if abs(stops) >= SAME_STOPS:
            words = f"{name}: {size_words(first)} against {size_words(second)}"
            yield Difference(name, sizes[0], sizes[1], unit, stops, weight, words)


def _visible(first: float, second: float, floor: float) -> tuple[float, float]:
    """Doublings from the first to the second above what shows at all, and the weight of that."""
    stops = math.log2(math.hypot(second, floor) / math.hypot(first, floor))
    return stops, abs(stops)


def _measured_edges(one: Explanation, other: Explanation) -> Iterator[Difference]:
    spreads = [side.facts.measured.edge_spread_px if side.facts.measured else None for side in (one, other)]
    if spreads[0] is None or spreads[1] is None:
        return
    first, second = max(spreads[0], 0.0), max(spreads[1], 0.0)  # below zero edges are steeper than a lens makes them
    stops, _weight = _visible(first, second, INVISIBLE_PX / 2)
    if abs(stops) >= SAME_SPREAD:
        # what was measured is the outcome, not a cause: it is listed after the causes
        words = f"{MEASURED}: {first:.1f} px against {second:.1f} px"
        yield Difference(MEASURED, first, second, "px", stops, 0.0, words)


def _noise(one: Explanation, other: Explanation) -> Iterator[Difference]:
    first, second = one.noise.expected_sigma, other.noise.expected_sigma
    if first is None or second is None:
        return
    stops, weight = _visible(first, second, INVISIBLE_LEVELS)
    if abs(stops) >= SAME_STOPS:
        words = f"noise: {first:.1f} against {second:.1f} levels of 255 at mid-grey, expected"
        yield Difference("noise", first, second, "levels", stops, weight, words)


def _exposure(one: Explanation, other: Explanation) -> Iterator[Difference]:
    first, second = one.exposure.measured_ev, other.exposure.measured_ev
    if first is None or second is None:
        return
    stops = abs(second) - abs(first)
    if abs(stops) >= SAME_STOPS:
        words = f"exposure error, measured: {format_signed(first, 1)} against {format_signed(second, 1)} stops"
        yield Difference("exposure error", first, second, "stops", stops, abs(stops), words)


def _settings(one: FrameFacts, other: FrameFacts) -> Iterator[SettingChange]:
    pairs = (
        ("time", one.exposure_time_s, other.exposure_time_s, 1.0, time_name),
        ("aperture", one.f_number, other.f_number, -2.0, aperture_name),
        ("ISO", one.iso, other.iso, 1.0, iso_name),
    )
    for setting, first, second, sign, name_of in pairs:
        stops = sign * math.log2(second / first) if first and second else None
        if (stops is None and first != second) or (stops is not None and abs(stops) >= SAME_STOPS):
            alone = [name_of(value) if value else "unknown" for value in (first, second)]
            yield SettingChange(setting, alone[0], alone[1], stops)
    lengths = ((one.focal_length_mm, other.focal_length_mm), (one.subject_distance_m, other.subject_distance_m))
    for name, unit, both in zip(("focal length", "distance"), ("mm", "m"), lengths, strict=True):
        if both[0] != both[1]:
            shown = [f"{value:.3g} {unit}" if value else "unknown" for value in both]
            yield SettingChange(name, shown[0], shown[1], None)
    stated = (
        ("support", one.camera_support, other.camera_support),
        ("pace", one.subject_pace, other.subject_pace),
        ("body", one.gear.body, other.gear.body),
        ("lens", one.gear.lens, other.gear.lens),
    )
    for name, here, there in stated:
        if here != there:
            yield SettingChange(name, here or "unknown", there or "unknown", None)


def _sentence(one: Explanation, other: Explanation, found: list[Difference]) -> str:
    names = f"Frame {one.facts.frame_id} ({one.settings}) and frame {other.facts.frame_id} ({other.settings})"
    causes = [difference for difference in found if difference.name != MEASURED]
    outcome = next((difference for difference in found if difference.name == MEASURED), None)
    if causes:
        most = causes[0]
        worse = other if most.stops > 0 else one
        return f"{names} differ most in {most.words}, at the cost of frame {worse.facts.frame_id}."
    if outcome:
        return (
            f"{names}: {outcome.words}, and nothing that is known of them explains it; a steadier moment or the focus "
            "made the difference."
        )
    return f"{names}: nothing that is known of them makes a visible difference."
