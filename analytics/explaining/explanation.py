"""All that can be said of one frame, and the one sentence that comes first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.explaining.blur_budget import PIXEL, BlurBudget, BlurPart, blur_budget
from analytics.explaining.drawing import FURTHEST_DRAWN, depth_drawing
from analytics.explaining.effects import depth_of_field_m, size_words, stops_words, subject_fits
from analytics.explaining.missing import FOCAL_LENGTH, SENSOR
from analytics.explaining.noise import NoiseEstimate, noise_estimate
from analytics.explaining.own_limits import Limits, ToSpare, to_spare
from analytics.explaining.remedies import (
    BY_APERTURE,
    BY_STATED_LIGHT,
    ONLY_POSSIBLE,
    TOO_MUCH_FOR_APERTURE,
    UNSEEN,
    Fixes,
    fixes,
    stops_to_shrink,
)
from analytics.explaining.settings import focal_length_name, settings_name
from journal.notation import format_faults, format_rounded_distance
from journal.optics.focus import hyperfocal_distance_m

if TYPE_CHECKING:
    from analytics.explaining.facts import FrameFacts

#: Faults that blur.
BLURS = ("camera shake", "subject motion", "missed focus")


@dataclass(frozen=True, slots=True)
class Exposure:
    """The light that the settings suit, against what was stated and what was measured [stops].

    `light_difference_stops` is positive where the settings gather more than the stated light asks for.
    """

    ev100: float | None
    stops_below_rule: float | None
    light_ev100: float | None
    light_difference_stops: float | None
    measured_ev: float | None


@dataclass(frozen=True, slots=True)
class Depth:
    """Limits of focus [m]; `missing` says what is not known, `is_subject_inside` whether the stated depth fits."""

    near_m: float | None
    far_m: float | None
    subject_distance_m: float | None
    subject_distance_source: str | None
    subject_depth_m: float | None
    hyperfocal_distance_m: float | None
    is_subject_inside: bool | None
    missing: str

    @property
    def is_open(self) -> bool:
        """Whether what is sharp has no end behind: focused at the hyperfocal distance, or as good as there."""
        return self.near_m is not None and self.far_m is not None and self.far_m > FURTHEST_DRAWN * self.near_m

    @property
    def far_words(self) -> str:
        """The far limit; far behind everything it moves by kilometres with the last millimetre of focus."""
        if self.far_m is None:
            return ""
        return "about infinity" if self.is_open and math.isfinite(self.far_m) else format_rounded_distance(self.far_m)


@dataclass(frozen=True, slots=True)
class Explanation:
    """One frame explained; every number with what it stands on."""

    facts: FrameFacts
    settings: str
    sentence: str
    exposure: Exposure
    depth: Depth
    drawing: tuple[str, ...]
    budget: BlurBudget
    noise: NoiseEstimate
    to_spare: tuple[ToSpare, ...]
    fixes: Fixes


def explain(facts: FrameFacts, limits: Limits) -> Explanation:
    """Explains one frame from its facts and the photographer's own limits (an empty mapping where none are known)."""
    budget, depth = blur_budget(facts, limits), _depth(facts)
    mended = fixes(facts, budget, limits)
    return Explanation(
        facts=facts,
        settings=settings_name(facts),
        sentence=_sentence(facts, budget, mended),
        exposure=_exposure(facts),
        depth=depth,
        drawing=tuple(depth_drawing(depth)),
        budget=budget,
        noise=noise_estimate(facts),
        to_spare=to_spare(facts, limits),
        fixes=mended,
    )


def _exposure(facts: FrameFacts) -> Exposure:
    light, suits = facts.light_ev100, facts.ev100
    return Exposure(
        ev100=suits,
        stops_below_rule=facts.stops_below_rule,
        light_ev100=light,
        light_difference_stops=light - suits if light is not None and suits is not None else None,
        measured_ev=facts.measured.ev if facts.measured else None,
    )


def exposure_words(measured_ev: float) -> str:
    """An exposure as a photographer says it: 0.7 stops too dark, or right."""
    size = f"{abs(measured_ev):.1f}"
    return "right" if size == "0.0" else f"{size} stops too {'bright' if measured_ev > 0 else 'dark'}"


def _depth(facts: FrameFacts) -> Depth:
    f, n, circle = facts.focal_length_mm, facts.f_number, facts.circle_of_confusion_um
    limits = depth_of_field_m(facts)
    hyperfocal = float(hyperfocal_distance_m(f, n, circle / 1000)) if f and n and circle else None
    distance = facts.subject_distance_m
    if distance is not None and facts.finite_distance_m is None:
        distance = math.inf
    missing = ""
    if limits is None:
        wanted = (
            (f, FOCAL_LENGTH), (n, "the f-number is not written down"), (circle, SENSOR),
            (distance, "the subject's distance is not written down"),
        )  # fmt: skip
        too_near = "the subject's distance as stated lies inside the lens"
        missing = next((words for value, words in wanted if not value), too_near)
    near, far = limits or (None, None)
    source, depth, inside = facts.subject_distance_source, facts.subject_depth_m, subject_fits(facts)
    return Depth(near, far, distance, source, depth, hyperfocal, inside, missing)


def _sentence(facts: FrameFacts, budget: BlurBudget, mended: Fixes) -> str:
    """The frame in one plain sentence: what it is, what blurs it most, and the first way to mend it."""
    parts = [f"Frame {facts.frame_id} ({_taken_with(facts)}): {_verdict(facts, mended)}"]
    if budget.dominant:
        has_unknown = not all(one.has_size for one in budget.parts)
        parts.append(_blur_words(budget, has_unknown))
        second = _largest_estimate(budget)
        if second is not None and budget.part(budget.dominant).bound == "at most":
            parts.append(f"{second.name} is {second.bound} {size_words(second)}")
    if mended.remedies:
        parts.append(_way_out(mended, budget))
    if facts.camera_support is not None:  # of what is only supposed the table says enough
        parts += [part.against for part in budget.parts if part.against and part.against not in mended.need_basis]
    return f"{'; '.join(parts)}."


def _way_out(mended: Fixes, budget: BlurBudget) -> str:
    """The first way to mend it, and what it stands on where that is not sure."""
    first = mended.remedies[0]
    gain = f" ({_without_brackets(first.gains[0])})" if first.gains else ""
    if mended.need_stops is None:
        return f"a first step would have been {first.settings}{gain}; {mended.need_basis}"
    if mended.need_basis.endswith(BY_APERTURE) and budget.measured_blur_px is not None:
        stops = stops_to_shrink(budget.measured_blur_px)
        if stops > TOO_MUCH_FOR_APERTURE:
            return f"it is the focus that was off, for the aperture alone would have to close by {stops_words(stops)}"
    is_unseen = budget.dominant == PIXEL and mended.fault in BLURS
    would = "been safer" if is_unseen else "helped"
    if mended.fault == "noise" and mended.need_basis.endswith(UNSEEN):
        would, gain = "had less noise", gain.replace("noise: ", "", 1)
    helped = f"{first.settings} would have {would}{gain}"
    if first.crosses_limit and first.cautions:
        helped += f", but is {first.cautions[0]}"
    if mended.basis == ONLY_POSSIBLE:
        return f"if that shows, {helped}"
    return f"{BY_STATED_LIGHT}, {helped}" if mended.need_basis.startswith(BY_STATED_LIGHT) else helped


def _without_brackets(words: str) -> str:
    """Words that stand in brackets themselves: 0.3 stops more light, signal to noise from 179 to 201."""
    return words.replace(" (", ", ").removesuffix(")")


def _largest_estimate(budget: BlurBudget) -> BlurPart | None:
    """The largest cause of blur that is more than an upper bound, if it is wider than a pixel."""
    found = [part for part in budget.parts if part.bound == "about" and part.name != PIXEL and part.spread_um]
    largest = max(found, key=lambda part: part.spread_um or 0.0, default=None)
    return largest if largest is not None and (largest.extent_um or 0.0) > (budget.pixel_pitch_um or 0.0) else None


def _blur_words(budget: BlurBudget, has_unknown: bool) -> str:
    """What dominates the blur budget, with the reservation that goes with it."""
    part = budget.part(budget.dominant or PIXEL)
    small = " of this small picture" if budget.is_small and part.extent_px is not None else ""
    if part.name == PIXEL:
        return f"by the settings no cause of blur{' that is known' if has_unknown else ''} is wider than a pixel{small}"
    known = "the largest blur that is known" if has_unknown else "the largest blur to expect"
    if part.bound == "at most":
        known = "the largest blur that is possible"
    return f"{known} is {part.name}, {part.bound} {size_words(part)}{small}"


def _taken_with(facts: FrameFacts) -> str:
    length = f" at {focal_length_name(facts.focal_length_mm)}" if facts.focal_length_mm else ""
    return f"{settings_name(facts)}{length}"


def _verdict(facts: FrameFacts, mended: Fixes) -> str:
    if facts.verdict == "keeper":
        return "a keeper"
    if facts.verdict == "reject":
        return f"rejected {format_faults(facts.faults)}" if facts.faults else "rejected, with no fault named"
    suggestion = facts.suggestion
    if suggestion and suggestion.fault and not suggestion.is_unsure and mended.fault == suggestion.fault:
        return f"not judged; {suggestion.fault} is suggested (probability {suggestion.probability:.2f})"
    return "not judged"
