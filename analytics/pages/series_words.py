"""A test series in words: how it is shot, in which order, what to mind, and what it found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.limit_words import LOST_TO, REFERENCE_MM, key_name, value_name
from journal.notation import format_count
from journal.optics.nominal import nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from analytics.planning.series import SeriesDesign
    from analytics.statistics.results import SeriesLimit

#: What is kept the same while one setting goes through the series.
KEPT = {
    "hand-held": "Keep the exposure with aperture or ISO, and the focus where it is.",
    "freeze": "Keep the exposure with aperture or ISO, the distance and the direction in which they pass.",
    "iso": "Keep the exposure with the time, the light and the subject as they are, with shadows in the picture.",
}
#: How a series is written into the journal: support and pace that make its frames count.
LOGGED = {"hand-held": "--support hand-held --pace still", "iso": "--support tripod --pace still"}
CAUTION = (
    "A tripod stands where nobody can fall over it and nothing can hit it: clear of the way of what moves, of traffic, "
    "rails, water and edges. Ask people before you photograph them; local rules come first."
)


def series_sentence(design: SeriesDesign, key: object = None) -> str:
    """How to shoot one day of a series, in one sentence; `key` is what its limit is about."""
    each = "one frame" if design.frames_each == 1 else f"{design.frames_each} frames"
    if design.kind == "hand-held":
        return (
            f"Hand-held at {design.focal_length_35mm:.0f} mm (35 mm-equivalent), on one still subject, take {each} at "
            "each of these times in this order, and lower the camera after every frame."
        )
    if design.kind == "freeze" and key == "still":
        return (
            f"From a tripod, of a still subject that wind or breath may move, take {each} at each of these times in "
            "this order, with a pause after every frame."
        )
    if design.kind == "freeze":
        return (
            f"From a tripod, of {key_name('freeze', key)} that pass at their usual distance, take {each} at each of "
            "these times in this order, every frame of another pass."
        )
    return (
        f"With the {key}, from a tripod and of one still subject, take {each} at each of these ISO values in this "
        "order; leave out what the camera does not have."
    )


def series_values(design: SeriesDesign) -> list[str]:
    """The settings in the order they are shot."""
    name = nominal_iso_name if design.kind == "iso" else nominal_time_name
    return [name(sixths) for sixths in design.sixths]


def series_caution(kind: str, key: object) -> str:
    """What to mind where the series is shot; empty where there is nothing more than always."""
    return CAUTION if kind == "freeze" and key != "still" else ""


def series_logged(kind: str, key: object) -> str:
    """The command that writes a day of the series into the journal."""
    stated = LOGGED.get(kind, f"--support tripod --pace {key}")
    return f'thirdstop log --intent "test series" {stated}'


def series_found(found: SeriesLimit, kind: str = "hand-held", key: object = None) -> str:
    """What the series says so far, in one sentence."""
    if not found.n_frames:
        which = {"hand-held": "hand-held frame", "freeze": f"frame of {key_name('freeze', key)}"}.get(
            kind, f"frame with the {key}"
        )
        fault = {"hand-held": "camera shake", "freeze": "subject motion", "iso": "noise"}[kind]
        return f"These sessions have no judged {which} yet that is a keeper or has {fault}."
    low, middle, high = (value_name(kind, stops) for stops in (found.low, found.estimate, found.high))
    days = format_count(found.n_days, "day")
    tail = "" if found.is_enough else "; that is not enough yet: more days help, more frames on one day hardly do"
    lost = {
        "hand-held": "your frames is shaken",
        "freeze": f"your frames of {key_name('freeze', key)} is lost to {LOST_TO['freeze']}",
        "iso": f"your frames with the {key} is lost to {LOST_TO['iso']}",
    }[kind]
    at = f" at {REFERENCE_MM:.0f} mm" if kind == "hand-held" else ""
    return (
        f"By {format_count(found.n_frames, 'frame')} on {days}, a tenth of {lost} at {middle} "
        f"({low} to {high}){at}{tail}."
    )
