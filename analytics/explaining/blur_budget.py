"""The blur budget of one frame: what could smear it, by how many pixels and µm, and which part dominates.

The parts have different shapes (a line, a disc, the diffraction pattern, a square), so their extents are shown as they
are, and they are compared by their spread: the standard deviation along the direction in which they are widest.
Variances add, so a part's share is its variance over that of all. Where a part is not known there are no shares, since
nobody knows of how much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analytics.explaining.missing import FOCAL_LENGTH, TIME, for_the_pixel, for_the_rule
from analytics.explaining.own_limits import known
from journal.notation import format_shares
from journal.optics.blur import WAVELENGTH_UM, diffraction_spot_um
from journal.optics.defocus import defocus_spot_um

if TYPE_CHECKING:
    from analytics.explaining.facts import FrameFacts
    from analytics.explaining.own_limits import Limits

HAND_HELD, SUBJECT, DEFOCUS, DIFFRACTION, PIXEL = (
    "hand-held smear", "subject smear", "defocus", "diffraction", "pixel",
)  # fmt: skip

#: Speeds across the frame that the words for a pace stand for here [m/s]. Walking: comfortable gait of adults,
#: Bohannon, Age and Ageing 26 (1997); the others are our own round figures: a jog, and a bicycle at full speed.
SPEED_M_S = {"slow": 0.3, "walking": 1.4, "running": 4.0, "fast": 12.0}

#: Standard deviation of a uniform line or square against its length. Source: variance of the uniform distribution.
LINE_SPREAD = 1 / math.sqrt(12)
#: Standard deviation of a uniform disc along one axis against its diameter. Source: second moment of a disc.
DISC_SPREAD = 1 / 4
#: Standard deviation of the Gaussian nearest to the diffraction pattern, in units of λN. Source: Zhang, Zerubia and
#: Olivo-Marin, Applied Optics 46 (2007): 0.225 λ / NA, with NA = 1 / (2N).
AIRY_SPREAD = 0.45
#: How many times as large as the measured edges allow a smear has to be before they rule it out: sharpening in the
#: camera steepens edges. Our own convention.
CLEARLY_LARGER = 2.0
#: Spread of edges in their widest direction from which a smear is seen; our own convention [px].
SMEARED_PX = 1.5
#: What is said of a cause whose size is not known: nobody knows it, or what was measured speaks against it.
UNKNOWN, RULED_OUT = "unknown", "ruled out"
#: No sensor of a camera for photographs has its pixels further apart [µm]; a picture whose pixels are was made smaller.
#: Our own round figure, above the largest known.
LARGEST_PITCH_UM = 20.0


@dataclass(frozen=True, slots=True)
class BlurPart:
    """One cause of blur: its extent on the sensor and in pixels of the full-size picture.

    `bound` is `about`, `at most`, `none` (this cause is absent), `ruled out` (the picture as measured speaks against a
    smear of the size that was expected, so it has none here) or `unknown`; `basis` says what the number stands on, or
    what is missing. `against` says of a part that is ruled out what was expected, in a sentence.
    """

    name: str
    extent_um: float | None
    bound: str
    basis: str
    spread_um: float | None = None
    extent_px: float | None = None
    share: float | None = None
    against: str = ""

    @property
    def has_size(self) -> bool:
        """Whether its size is known, none at all included."""
        return self.bound not in (UNKNOWN, RULED_OUT)


@dataclass(frozen=True, slots=True)
class BlurBudget:
    """All parts; `total_spread` is that of the known ones together.

    `dominant` is the one of largest spread among the known ones; none where nothing is known but what every picture
    has, diffraction and pixels.
    """

    parts: tuple[BlurPart, ...]
    dominant: str | None
    total_spread_um: float | None
    total_spread_px: float | None
    pixel_pitch_um: float | None
    circle_of_confusion_um: float | None
    measured_blur_px: float | None

    @property
    def is_small(self) -> bool:
        """Whether the pixels are those of a picture that was made smaller."""
        return self.pixel_pitch_um is not None and self.pixel_pitch_um > LARGEST_PITCH_UM

    def part(self, name: str) -> BlurPart:
        """The part of that name."""
        return next(part for part in self.parts if part.name == name)

    @property
    def shares(self) -> tuple[str, ...]:
        """The share of each part as it is told; together they are 100 %. Empty texts where nobody knows."""
        known = [part.share for part in self.parts if part.share is not None]
        return tuple(format_shares(known)) if len(known) == len(self.parts) else ("",) * len(self.parts)

    def share_of_known(self, name: str) -> float:
        """The share that a part has of the variance of all known parts; 0 where it is not known itself."""
        return (self.part(name).spread_um or 0.0) ** 2 / self.total_spread_um**2 if self.total_spread_um else 0.0


def blur_budget(facts: FrameFacts, limits: Limits) -> BlurBudget:
    """What could blur this frame, cause by cause."""
    pitch = facts.pixel_pitch_um
    hand_held = _as_measured(_hand_held(facts, limits), facts)
    parts = [hand_held, _subject(facts, limits), _defocus(facts), _diffraction(facts), _pixel(facts)]
    variance = sum(part.spread_um**2 for part in parts if part.spread_um is not None)
    is_whole = all(part.has_size for part in parts)
    shown = tuple(
        replace(
            part,
            extent_px=part.extent_um / pitch if part.extent_um is not None and pitch else None,
            share=part.spread_um**2 / variance if part.spread_um is not None and variance and is_whole else None,
        )
        for part in parts
    )
    spread = math.sqrt(variance) if variance else None
    found = [part for part in shown if part.spread_um]
    is_told = is_whole or any(
        part.bound in ("about", "at most") for part in shown if part.name in (HAND_HELD, SUBJECT, DEFOCUS)
    )
    return BlurBudget(
        parts=shown,
        dominant=max(found, key=lambda part: part.spread_um or 0.0).name if found and is_told else None,
        total_spread_um=spread,
        total_spread_px=spread / pitch if spread is not None and pitch else None,
        pixel_pitch_um=pitch,
        circle_of_confusion_um=facts.circle_of_confusion_um,
        measured_blur_px=smeared_px(facts) or (facts.measured.blur_px if facts.measured else None),
    )


def _unknown(name: str, missing: str) -> BlurPart:
    return BlurPart(name, None, UNKNOWN, missing)


def _hand_held(facts: FrameFacts, limits: Limits) -> BlurPart:
    """Smear by hands: one circle of confusion at the limit, doubling with each stop slower.

    The 1/focal-length rule means just that: at the rule the smear is the largest that still passes for a point. Where
    the photographer's own limit is known it takes the rule's place.
    """
    below, circle = facts.stops_below_rule, facts.circle_of_confusion_um
    if facts.camera_support == "tripod":
        return BlurPart(HAND_HELD, 0.0, "none", "on a tripod", 0.0)
    if below is None or circle is None:
        return _unknown(HAND_HELD, for_the_rule(facts))
    own = known(limits, "hand-held", facts.is_stabilised) if facts.is_stabilised is not None else None
    extent = circle * 2.0 ** (below - (own or 0.0))
    bound, basis = "about", "your own hand-held limit" if own is not None else "the 1/focal-length rule"
    if own is None and facts.is_stabilised:
        bound, basis = "at most", "the 1/focal-length rule; the stabiliser takes off a part that is not known"
    if facts.camera_support in ("monopod", "braced"):
        how = "the monopod" if facts.camera_support == "monopod" else "bracing"
        bound, basis = "at most", f"{basis}, for free hands; {how} takes off a part that is not known"
    elif facts.camera_support is None:
        basis = f"{basis}, if it was held by hand; the support is not written down"
    return BlurPart(HAND_HELD, extent, bound, basis, extent * LINE_SPREAD)


def _as_measured(part: BlurPart, facts: FrameFacts) -> BlurPart:
    """A smear by hands, unless the measured edges rule it out: over the whole frame it spreads all but those along it.

    What is measured beats what is reckoned; a spread is a standard deviation, a smear an extent. Where camera shake is
    suggested or judged, and the edges show a smear, that is its size.
    """
    widest = facts.measured.widest_edge_px if facts.measured else None
    if not part.extent_um or not facts.pixel_pitch_um or widest is None:
        return part
    expected, allowed = part.extent_um / facts.pixel_pitch_um, widest / LINE_SPREAD
    size = f"{part.bound} {expected:.1f} px"
    if smeared_px(facts) is not None:  # something did smear it, as far as was measured
        seen = allowed * facts.pixel_pitch_um
        return BlurPart(part.name, seen, "about", f"the measured edges; {size} by {part.basis}", seen * LINE_SPREAD)
    if expected <= CLEARLY_LARGER * allowed:
        return part
    if facts.camera_support is None:
        against = f"{part.name} of {size}, only supposed, is ruled out by the measured edges"
    else:
        against = f"{part.name} of {size} was to be expected, but the measured edges rule it out"
    basis = f"{size} by {part.basis}; but the measured edges allow about {allowed:.1f} px"
    return BlurPart(part.name, None, RULED_OUT, basis, against=against)


def smeared_px(facts: FrameFacts) -> float | None:
    """Extent of the smear that the edges show along it, where camera shake is suggested or judged; else `None` [px]."""
    along = facts.measured.edge_along_px if facts.measured else None
    return along / LINE_SPREAD if facts.is_shaken and along is not None and along >= SMEARED_PX else None


def _subject(facts: FrameFacts, limits: Limits) -> BlurPart:
    """Smear by the subject: by the own freezing limit, never more than its way straight across, with a still camera."""
    pace, time = facts.subject_pace, facts.exposure_time_s
    if pace == "still":
        return BlurPart(SUBJECT, 0.0, "none", "the subject was still", 0.0)
    if pace is None or time is None:
        return _unknown(SUBJECT, TIME if time is None else "the subject's pace is not written down")
    most = _way_across_um(facts)
    own, circle = known(limits, "freeze", pace), facts.circle_of_confusion_um
    if own is not None and circle is not None:
        extent = min(circle * time / 2.0**own, most if most is not None else math.inf)
        return BlurPart(SUBJECT, extent, "about", f"your own freezing limit for {pace} subjects", extent * LINE_SPREAD)
    if most is not None:
        way = f"{SPEED_M_S[pace]:g} m/s for {pace}, straight across at {facts.finite_distance_m:.3g} m, camera still"
        return BlurPart(SUBJECT, most, "at most", way, most * LINE_SPREAD)
    return _unknown(SUBJECT, _missing_of_the_subject(facts, own is not None))


def _missing_of_the_subject(facts: FrameFacts, has_own: bool) -> str:
    """What would give the smear of the subject: its distance, or the own limit and the sensor to see it on."""
    if facts.finite_distance_m is not None:
        near = "the subject's distance as stated lies inside the lens"
        return FOCAL_LENGTH if facts.focal_length_mm is None else near
    if has_own:
        own = f"your own freezing limit for {facts.subject_pace} subjects"
        return f"neither the sensor's size (for {own}) nor the subject's distance is known; one of them is enough"
    if facts.circle_of_confusion_um is None:
        return "the subject's distance is not written down"
    return f"neither the distance nor your own freezing limit for {facts.subject_pace} subjects is known"


def _way_across_um(facts: FrameFacts) -> float | None:
    """Image of the way that the subject makes straight across a camera that does not follow it [µm]."""
    pace, time, f, distance = (
        facts.subject_pace, facts.exposure_time_s, facts.focal_length_mm, facts.finite_distance_m,
    )  # fmt: skip
    if not (pace and time and f and distance) or distance <= f / 1000:
        return None
    return SPEED_M_S[pace] * time * f / 1000 / (distance - f / 1000) * 1e6


def _defocus(facts: FrameFacts) -> BlurPart:
    """Blur circle at the near edge of the subject, focused in its middle; the near edge is the worse one."""
    f, n, distance, depth = facts.focal_length_mm, facts.f_number, facts.finite_distance_m, facts.subject_depth_m
    if f is None or n is None:
        return _unknown(DEFOCUS, FOCAL_LENGTH if f is None else "the f-number is not written down")
    if distance is None or depth is None:
        missing = "distance" if distance is None else "depth"
        return _unknown(DEFOCUS, f"the subject's {missing} is not written down")
    if distance - depth / 2 <= f / 1000:
        return _unknown(DEFOCUS, "the subject's depth as stated reaches behind the lens")
    extent = float(defocus_spot_um(f, n, distance, distance - depth / 2))
    basis = f"focused on the middle of a subject {depth:.3g} m deep at {distance:.3g} m"
    return BlurPart(DEFOCUS, extent, "about", basis, extent * DISC_SPREAD)


def _diffraction(facts: FrameFacts) -> BlurPart:
    n = facts.f_number
    if n is None:
        return _unknown(DIFFRACTION, "the f-number is not written down")
    extent = float(diffraction_spot_um(n))
    basis = "diameter to the first dark ring in green light"
    return BlurPart(DIFFRACTION, extent, "about", basis, AIRY_SPREAD * WAVELENGTH_UM * n)


def _pixel(facts: FrameFacts) -> BlurPart:
    pitch = facts.pixel_pitch_um
    if pitch is None:
        return _unknown(PIXEL, for_the_pixel(facts))
    is_small = pitch > LARGEST_PITCH_UM
    basis = (
        "a pixel of this small picture, laid over the sensor" if is_small else "distance of two pixels on the sensor"
    )
    return BlurPart(PIXEL, pitch, "about", basis, pitch * LINE_SPREAD)
