"""The settings that keepers can be counted by, and their names. Loads nothing, so that help texts may use it."""

from __future__ import annotations

#: What keepers can be counted by, as it is typed and as the journal stores it.
SETTINGS = {
    "exposure-time": "exposure_time",
    "f-number": "f_number",
    "iso": "iso",
    "focal-length": "focal_length",
    "stops-below-rule": "stops_below_rule",
    "ev100": "ev100",
    "lens": "lens",
    "body": "body",
    "camera-support": "camera_support",
    "priority": "priority",
    "pace": "subject_pace",
    "light": "light",
    "light-kind": "light_kind",
    "session": "session",
    "month": "month",
}

#: What may be typed as well: the word that everybody says.
SPOKEN = {"aperture": "f-number"}

#: How a setting is called in a sentence.
NAMES = {
    "exposure_time": "exposure time",
    "f_number": "aperture",
    "iso": "ISO",
    "focal_length": "focal length",
    "stops_below_rule": "distance from the rule",
    "ev100": "EV at ISO 100",
    "lens": "lens",
    "body": "body",
    "camera_support": "camera support",
    "priority": "priority",
    "subject_pace": "subject pace",
    "light": "stated light",
    "light_kind": "kind of light",
    "session": "session",
    "month": "month",
}
