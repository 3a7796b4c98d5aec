"""The facts of one frame that an explanation stands on; `None` where nobody wrote it down."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from journal.notation import SMALLEST_SPREAD_PX
from journal.optics.focus import CIRCLE_OF_CONFUSION_35MM
from journal.optics.sensors import DIAGONAL_35MM
from journal.records.measures import said_once
from journal.records.turns import upright_deg

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The journal stores "focused at infinity" as this distance or more [m].
INFINITY_M = 1e8
#: Exif's flash field: bit 0 is "the flash fired". Source: CIPA DC-008 (Exif), tag Flash.
FLASH_FIRED = 1
#: Faults that an extent of blur belongs to.
SHAKE = "camera shake"
SHARPNESS = ("missed focus", SHAKE, "subject motion")
#: From this probability on a fault is suggested.
LIKELY = 0.5
#: How much of a smear the quarter of edges that lie most nearly along it still shows, where edges of a scene lie in all
#: directions alike: those are within 22.5° of it. Source: s² = nᵀCn for a line.
NEARLY_ALONG = math.sin(math.pi / 8)


@dataclass(frozen=True, slots=True)
class Gear:
    """What lens and body can be set to. `_is_stated` is false where it is only the furthest that was used so far."""

    body: str | None = None
    lens: str | None = None
    widest_f_number: float | None = None
    widest_is_stated: bool = False
    is_zoom: bool = False
    lowest_iso: float | None = None
    lowest_iso_is_stated: bool = False
    highest_iso: float | None = None
    highest_iso_is_stated: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """What examining the picture found; `None` where it found nothing to go by.

    `blur_px` is the extent of the blur behind a fault of sharpness, and only known where such a fault is suggested or
    judged: every picture has soft places. The edge spread is that of the sharpest edges, a standard deviation. `scale`
    is how many pixels of the full picture one of the measured picture stands for: more than 1 for a small preview. The
    direction is that of the upright picture, clockwise from level.
    """

    ev: float | None = None
    noise_sigma: float | None = None
    blur_px: float | None = None
    edge_spread_px: float | None = None
    edge_along_px: float | None = None
    edge_across_px: float | None = None
    edge_direction_deg: float | None = None
    scale: float = 1.0
    source: str | None = None

    @property
    def widest_edge_px(self) -> float | None:
        """What the sharpest edges of any direction spread at most, a standard deviation; `None` where it is not known.

        A smear along an edge does not spread it. So where no direction was told, the spread of the sharpest edges is
        taken for that of edges which lie nearly along the smear. No less is believed than can be told.
        """
        if self.edge_spread_px is None:
            return None
        least = SMALLEST_SPREAD_PX * self.scale
        if self.edge_along_px is not None:
            return max(self.edge_along_px, self.edge_spread_px, least)
        return max(self.edge_spread_px, least) / NEARLY_ALONG


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What the tool reads from pixels and settings; never a verdict."""

    fault: str | None
    probability: float | None
    is_unsure: bool
    evidence: tuple[str, ...] = ()
    probabilities: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """One frame: its settings, its geometry, what was stated, what was measured, suggested and judged.

    `why_unexamined` is why its picture could not be examined, where that was tried in vain.
    """

    frame_id: int
    file_name: str
    exposure_time_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    ev100: float | None = None
    stops_below_rule: float | None = None
    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    pixel_pitch_um: float | None = None
    circle_of_confusion_um: float | None = None
    subject_distance_m: float | None = None
    subject_distance_source: str | None = None
    subject_depth_m: float | None = None
    subject_pace: str | None = None
    camera_support: str | None = None
    priority: str | None = None
    is_stabilised: bool | None = None
    is_backlit: bool | None = None
    light_ev100: float | None = None
    has_flash: bool | None = None
    gear: Gear = field(default_factory=Gear)
    measured: Measured | None = None
    why_unexamined: str | None = None
    suggestion: Suggestion | None = None
    verdict: str = "unjudged"
    faults: tuple[str, ...] = ()
    is_simulated: bool = False

    @property
    def finite_distance_m(self) -> float | None:
        """The subject's distance where it is known as a number: "infinity" on a focus scale is none [m]."""
        distance = self.subject_distance_m
        return distance if distance is not None and distance < INFINITY_M else None

    @property
    def is_shaken(self) -> bool:
        """Whether camera shake is judged, or suggested with a probability that is worth a word."""
        chances = self.suggestion.probabilities if self.suggestion else {}
        return SHAKE in self.faults or (self.verdict == "unjudged" and chances.get(SHAKE, 0.0) >= LIKELY)


#: Facts that a row of the journal holds under the same name.
_SAME_NAME = (
    "frame_id", "file_name", "exposure_time_s", "f_number", "iso", "ev100", "stops_below_rule", "focal_length_mm",
    "focal_length_35mm", "subject_depth_m", "subject_pace", "camera_support", "priority", "light_ev100", "verdict",
    "why_unexamined",
)  # fmt: skip


def facts_of_row(row: Mapping[str, Any]) -> FrameFacts:
    """The facts in a row of `analytics.queries.EXPLAINED_FRAME`."""
    frame_distance, session_distance = row["subject_distance_m"], row["session_subject_distance_m"]
    source = row["subject_distance_source"] if frame_distance is not None else None
    if frame_distance is None and session_distance is not None:
        source = "stated for the session"
    return FrameFacts(
        **{name: row[name] for name in _SAME_NAME},
        pixel_pitch_um=_pixel_pitch_um(row),
        circle_of_confusion_um=_circle_um(row),
        subject_distance_m=frame_distance if frame_distance is not None else session_distance,
        subject_distance_source=source,
        is_stabilised=_yes_or_no(row["is_stabilised"]),
        is_backlit=_yes_or_no(row["is_backlit"]),
        has_flash=None if row["flash"] is None else bool(row["flash"] & FLASH_FIRED),
        gear=_gear(row),
        measured=_measured(row),
        suggestion=_suggestion(row),
        faults=tuple((row["faults"] or "").split("; ")) if row["faults"] else (),
        is_simulated=bool(row["is_simulated"]),
    )


def _yes_or_no(value: int | None) -> bool | None:
    return None if value is None else bool(value)


def _scale_35mm(row: Mapping[str, Any]) -> float | None:
    """This sensor's diagonal against that of 36 x 24 mm: from the body's sensor, else from the two focal lengths."""
    if row["sensor_width_mm"] and row["sensor_height_mm"]:
        return math.hypot(row["sensor_width_mm"], row["sensor_height_mm"]) / DIAGONAL_35MM
    if row["focal_length_mm"] and row["focal_length_35mm"]:
        return float(row["focal_length_mm"] / row["focal_length_35mm"])
    return None


def _circle_um(row: Mapping[str, Any]) -> float | None:
    scale = _scale_35mm(row)
    return None if scale is None else 1000 * CIRCLE_OF_CONFUSION_35MM * scale


def _pixel_pitch_um(row: Mapping[str, Any]) -> float | None:
    scale, pixels = _scale_35mm(row), math.hypot(row["width_px"] or 0, row["height_px"] or 0)
    return None if scale is None or not pixels else 1000 * DIAGONAL_35MM * scale / pixels


def _gear(row: Mapping[str, Any]) -> Gear:
    low, high = row["focal_length_min_mm"], row["focal_length_max_mm"]
    return Gear(
        body=row["body"],
        lens=row["lens"],
        widest_f_number=row["widest_f_number"] or row["widest_used"],
        widest_is_stated=row["widest_f_number"] is not None,
        is_zoom=low is not None and high is not None and high > low,
        lowest_iso=row["base_iso"] or row["lowest_iso_used"],
        lowest_iso_is_stated=row["base_iso"] is not None,
        highest_iso=row["highest_iso"] or row["highest_iso_used"],
        highest_iso_is_stated=row["highest_iso"] is not None,
    )


def _measured(row: Mapping[str, Any]) -> Measured | None:
    if row["measures"] is None:
        return None
    found = json.loads(row["measures"])
    edges = found.get("blur") or {}
    direction, orientation = _number(edges.get("direction_deg")), _number((found.get("exif") or {}).get("Orientation"))
    return Measured(
        ev=_number(found.get("ev")),
        noise_sigma=_number(found.get("noise_sigma")),
        blur_px=_number(found.get("blur_px")) if _is_unsharp(row) else None,
        edge_spread_px=_number(edges.get("spread_px")),
        edge_along_px=_number(edges.get("along_px")),
        edge_across_px=_number(edges.get("across_px")),
        edge_direction_deg=None if direction is None else upright_deg(direction, int(orientation or 1)),
        scale=_number(found.get("preview_scale")) or 1.0,
        source=row["measured_from"],
    )


def _is_unsharp(row: Mapping[str, Any]) -> bool:
    """Whether a fault of sharpness is judged, or suggested with a probability that is worth a word."""
    judged = set((row["faults"] or "").split("; ")) & set(SHARPNESS)
    chances = json.loads(row["suggested_probabilities"] or "{}")
    return bool(judged) or any(chances.get(fault, 0.0) >= LIKELY for fault in SHARPNESS)


def _number(value: object) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if is_number else None  # type: ignore[arg-type]


def _suggestion(row: Mapping[str, Any]) -> Suggestion | None:
    if row["suggested_probabilities"] is None:
        return None
    return Suggestion(
        fault=row["suggested_fault"],
        probability=row["suggested_probability"],
        is_unsure=bool(row["suggestion_is_unsure"]),
        evidence=said_once(json.loads(row["evidence"])),
        probabilities=json.loads(row["suggested_probabilities"]),
    )
