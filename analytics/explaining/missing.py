"""What is missing of a frame, by its name: always the one fact that a person can state, not what follows from it."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from analytics.explaining.settings import focal_length_name

if TYPE_CHECKING:
    from analytics.explaining.facts import FrameFacts

TIME = "the exposure time is not written down"
FOCAL_LENGTH = "the focal length is not written down"
SENSOR = "the sensor's size is not known"
PICTURE = "the picture's size in pixels is not known"


def for_the_rule(facts: FrameFacts) -> str:
    """Why the stops below the 1/focal-length rule, or the circle of confusion, are not known."""
    if facts.exposure_time_s is None:
        return TIME
    if facts.focal_length_mm is None and facts.focal_length_35mm is None:
        return FOCAL_LENGTH
    if facts.focal_length_35mm is None and facts.focal_length_mm is not None:
        length = focal_length_name(facts.focal_length_mm)
        return f"the 35 mm-equivalent of {length} is not known, for want of the sensor's size"
    return SENSOR


def for_what_pixels_tell(facts: FrameFacts) -> str:
    """Why nothing is known that only the picture tells."""
    return "its picture has not been examined" if facts.why_unexamined is None else "its picture could not be examined"


def for_the_pixel(facts: FrameFacts) -> str:
    """Why the size of a pixel is not known."""
    return SENSOR if facts.circle_of_confusion_um is None else PICTURE


def how_to_state_the_sensor(facts: FrameFacts) -> str:
    """The command that states the sensor's size, as a sentence; empty where it is known or no body is."""
    if facts.circle_of_confusion_um is not None or facts.gear.body is None:
        return ""
    command = f"thirdstop gear body {shlex.quote(facts.gear.body)} --sensor WIDTHxHEIGHT"
    return f"State the size of the sensor of {facts.gear.body}, its width and height in mm: {command}"
