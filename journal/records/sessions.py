"""What a photographer states about an outing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Session:
    """One outing with one intent; field names are the columns of `sessions`. `None`: nobody wrote it down."""

    started_at: str
    ended_at: str
    time_zone: str = "UTC"
    intent: str = ""
    priority: str | None = None
    subject_pace: str | None = None
    light: str = ""
    light_ev100: float | None = None
    camera_support: str | None = None
    place: str = ""
    latitude: float | None = None
    longitude: float | None = None
    sun_elevation_deg: float | None = None
    sunlight: str | None = None
    planned_exposure_time_min_s: float | None = None
    planned_exposure_time_max_s: float | None = None
    planned_f_number_min: float | None = None
    planned_f_number_max: float | None = None
    planned_iso_min: int | None = None
    planned_iso_max: int | None = None
    notes: str = ""
    is_backlit: int | None = None
    subject_depth_m: float | None = None
    subject_distance_m: float | None = None
    is_suggested: int = 0
    is_simulated: int = 0
