"""What other settings do to a frame, fault by fault: before, after, and by how many stops it is worse."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analytics.explaining.blur_budget import DEFOCUS, DIFFRACTION, HAND_HELD, SUBJECT, blur_budget
from analytics.explaining.noise import noise_estimate, signal_to_noise
from journal.notation import format_rounded_distance
from journal.optics.focus import focus_limits_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.explaining.blur_budget import BlurPart
    from analytics.explaining.facts import FrameFacts
    from analytics.explaining.own_limits import Limits

#: Blur up to about this extent does not show [px].
INVISIBLE_PX = 1.0


@dataclass(frozen=True, slots=True)
class Effect:
    """One quantity before and after; `worse_stops` is positive where the change costs, negative where it gains."""

    name: str
    before: float | None
    after: float | None
    unit: str
    worse_stops: float
    words: str


def effects_of(before: FrameFacts, after: FrameFacts, limits: Limits, wanted: str = "") -> tuple[Effect, ...]:
    """Everything that changes between two versions of one frame: smear, depth, diffraction, noise.

    What does not show either way is left out, but for the cause that is `wanted`.
    """
    return tuple([*_smears(before, after, limits, wanted), *_depth(before, after), *_noise(before, after)])


def _smears(before: FrameFacts, after: FrameFacts, limits: Limits, wanted: str) -> Iterator[Effect]:
    old, new = blur_budget(before, limits), blur_budget(after, limits)
    for name in (HAND_HELD, SUBJECT, DEFOCUS, DIFFRACTION):
        was, is_now = old.part(name), new.part(name)
        if name == HAND_HELD:
            is_now = _from_measured(was, is_now, before, after, limits)
        if was.extent_um is None or is_now.extent_um is None or not was.extent_um or was.extent_um == is_now.extent_um:
            continue
        stops = math.log2(is_now.extent_um / was.extent_um) if is_now.extent_um else -math.inf
        if name == DIFFRACTION and max(was.extent_um, is_now.extent_um) < (before.circle_of_confusion_um or math.inf):
            continue  # below the circle of confusion it neither gains nor costs anything that shows
        if name != wanted and max(was.extent_px or math.inf, is_now.extent_px or 0.0) < INVISIBLE_PX:
            continue
        yield Effect(
            name, was.extent_px or was.extent_um, _shown(is_now, was), "px" if was.extent_px else "µm", stops,
            f"{name} from {size_words(was)} to {'none' if not is_now.extent_um else size_words(is_now)}",
        )  # fmt: skip


def _from_measured(was: BlurPart, is_now: BlurPart, before: FrameFacts, after: FrameFacts, limits: Limits) -> BlurPart:
    """A smear by hands after the change, where before it was what was measured: it changes as the reckoned one does."""
    reckoned = blur_budget(replace(before, measured=None), limits).part(HAND_HELD)
    if not was.extent_um or not reckoned.extent_um or not is_now.extent_um or was.extent_um == reckoned.extent_um:
        return is_now
    then = blur_budget(replace(after, measured=None), limits).part(HAND_HELD)
    by = was.extent_um / reckoned.extent_um
    scaled = (None if size is None else size * by for size in (then.extent_um, then.spread_um, then.extent_px))
    extent, spread, extent_px = scaled
    return replace(is_now, extent_um=extent, spread_um=spread, extent_px=extent_px)


def _shown(part: BlurPart, like: BlurPart) -> float | None:
    return part.extent_px if like.extent_px else part.extent_um


def stops_words(stops: float) -> str:
    """A number of stops: 1 stop, 1.3 stops."""
    return "1 stop" if f"{stops:.1f}" == "1.0" else f"{stops:.1f} stops"


def size_words(part: BlurPart) -> str:
    """An extent in pixels, or in µm where the size of a pixel is not known."""
    if part.extent_px is not None:
        return f"{part.extent_px:.1f} px"
    return "unknown" if part.extent_um is None else f"{part.extent_um:.0f} µm"


def depth_of_field_m(facts: FrameFacts) -> tuple[float, float] | None:
    """Near and far limit of focus, or None where a number they need is not known [m]; far may be infinite."""
    f, n, distance, circle = (
        facts.focal_length_mm, facts.f_number, facts.subject_distance_m, facts.circle_of_confusion_um,
    )  # fmt: skip
    if not (f and n and distance and circle) or distance <= f / 1000:
        return None
    near, far = focus_limits_m(f, n, facts.finite_distance_m or math.inf, circle / 1000)
    return float(near), float(far)


def subject_fits(facts: FrameFacts) -> bool | None:
    """Whether the depth of field holds the subject, focused in its middle; None where that is not known."""
    limits, distance, depth = depth_of_field_m(facts), facts.finite_distance_m, facts.subject_depth_m
    if limits is None or distance is None or depth is None:
        return None
    return limits[0] <= distance - depth / 2 and distance + depth / 2 <= limits[1]


def _depth(before: FrameFacts, after: FrameFacts) -> Iterator[Effect]:
    if not (before.f_number and after.f_number) or before.f_number == after.f_number:
        return
    ratio = after.f_number / before.f_number
    old, new = depth_of_field_m(before), depth_of_field_m(after)
    if old is None or new is None or not math.isfinite(old[1]) or not math.isfinite(new[1]):
        yield Effect("depth of field", None, None, "m", -math.log2(ratio), f"depth of field about × {ratio:.2f}")
        return
    was, is_now = old[1] - old[0], new[1] - new[0]
    shown = [format_rounded_distance(float(f"{depth:.2g}")) for depth in (was, is_now)]
    words = f"depth of field from {shown[0]} to {shown[1]}"
    yield Effect("depth of field", was, is_now, "m", -math.log2(is_now / was), words)


def _noise(before: FrameFacts, after: FrameFacts) -> Iterator[Effect]:
    """Noise goes with the light that was collected, not with the ISO that amplifies it."""
    if not (before.f_number and after.f_number and before.exposure_time_s and after.exposure_time_s):
        return
    collected = math.log2(after.exposure_time_s / before.exposure_time_s) - 2 * math.log2(
        after.f_number / before.f_number
    )
    if abs(collected) < 1e-9:
        return
    old = noise_estimate(before)
    side = "less" if collected < 0 else "more"
    words, ratio = f"noise: {stops_words(abs(collected))} {side} light", None
    if old.electrons and old.signal_to_noise:
        ratio = signal_to_noise(old.electrons * 2.0**collected)
        words += f" (signal to noise from {old.signal_to_noise:.0f} to {ratio:.0f})"
    yield Effect("noise", old.signal_to_noise, ratio, "1", -collected, words)
