"""A test series in words: how it is shot, in which order, what to mind, and what it found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.limit_words import LOST_TO, REFERENCE_MM, key_name, value_name
from journal.notation import format_count
from journal.optics.nominal import nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    import pandas as pd

    from analytics.planning.series import SeriesDesign
    from analytics.statistics.results import SeriesLimit

#: What is kept the same while one setting goes through the series.
KEPT = {
    "hand-held": (
        "Keep the exposure with aperture or ISO, and the focus where it is. At another focal length take times in "
        "proportion: half the time at twice the length."
    ),
    "freeze": "Keep the exposure with aperture or ISO, the distance and the direction in which they pass.",
    "still": "Keep the exposure with aperture or ISO, and the distance.",
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
        steadied = "" if key is None else f", the stabiliser switched {'on' if key else 'off'}"
        return (
            f"Hand-held at {design.focal_length_35mm:.0f} mm (35 mm-equivalent){steadied}, on one still subject, take "
            f"{each} at each of these times in this order, and lower the camera after every frame."
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


def series_kept(kind: str, key: object) -> str:
    """What is kept the same while one setting goes through the series; a subject that is still does not pass."""
    return KEPT["still" if kind == "freeze" and key == "still" else kind]


def series_caution(kind: str) -> str:
    """What to mind where the series is shot from a tripod; empty where it is not."""
    return "" if kind == "hand-held" else CAUTION


def stops_name(stops: float) -> str:
    """Stops to a tenth: 0.5 stop, 1.3 stops."""
    return f"{stops:.1f} stop{'' if round(stops, 1) <= 1 else 's'}"


def series_logged(kind: str, key: object) -> str:
    """The command that writes a day of the series into the journal."""
    stated = LOGGED.get(kind, f"--support tripod --pace {key}")
    which = f", {key_name(kind, key)}" if kind == "hand-held" else ""  # the camera says it only where it can
    return f'thirdstop log --intent "test series{which}" {stated}'


#: How the camera was held, by the word of the journal.
HELD = {"tripod": "from a tripod", "monopod": "from a monopod", "braced": "braced", "hand-held": "by hand"}


def series_none(judged: pd.DataFrame | None, n_sessions: int, kind: str, key: object = None) -> tuple[str, str]:
    """Why sessions tell nothing of a limit, and what to do about it.

    Args:
        judged: the judged frames of the sessions, `None` where nothing is judged; n_sessions: how many sessions.
        kind: of limit; key: what it is about, `None` for any.
    """
    which = {"hand-held": "hand-held frame", "freeze": f"frame of {key_name('freeze', key)}"}.get(
        kind, f"frame with the {key}"
    )
    these, were, have = ("This session", "was", "has") if n_sessions == 1 else ("These sessions", "were", "have")
    other = "" if judged is None else _other(judged, kind, key)
    if other:
        return f"{these} {were} shot {other}, so no frame tells this limit.", "Choose another limit."
    fault = {"hand-held": "camera shake", "freeze": "subject motion", "iso": "noise"}[kind]
    said = f"{these} {have} no judged {which} yet that is a keeper or has {fault}."
    return said, "Judge the frames, or choose another limit."


def _other(judged: pd.DataFrame, kind: str, key: object) -> str:
    """How sessions were shot that are about another limit; empty where their frames could tell this one."""
    columns = {"hand-held": ("support", "hand-held"), "freeze": ("subject_pace", key), "iso": ("body", key)}
    column, wanted = columns[kind]
    words = sorted(str(word) for word in judged[column].dropna().unique())
    if words and wanted is not None and wanted not in words:
        if kind == "iso":
            return f"with the {' and the '.join(words)}"
        named = [HELD.get(word, word) if kind == "hand-held" else key_name(kind, word) for word in words]
        return ("of " if kind == "freeze" else "") + " and ".join(named)
    if kind == "hand-held" and key is not None:
        steadied = judged.loc[judged["support"] == "hand-held", "is_stabilised"]
        if len(steadied) and bool((steadied == int(not key)).all()):
            return f"by hand {key_name(kind, not key)}"
    return ""


def series_found(found: SeriesLimit, kind: str = "hand-held", key: object = None, is_known: bool = False) -> str:
    """What the series says so far, in one sentence; it has frames. `is_known` is whether all frames know it already."""
    low, middle, high = (value_name(kind, stops) for stops in (found.low, found.estimate, found.high))
    days = format_count(found.n_days, "day")
    more = "that alone is not enough" if is_known else "that is not enough yet: more days help most"
    tail = "" if found.is_enough else f"; {more}"
    lost = {
        "hand-held": "your frames are shaken",
        "freeze": f"your frames of {key_name('freeze', key)} are lost to {LOST_TO['freeze']}",
        "iso": f"your frames with the {key} are lost to {LOST_TO['iso']}",
    }[kind]
    at = f" at {REFERENCE_MM:.0f} mm" if kind == "hand-held" else ""
    return (
        f"By {format_count(found.n_frames, 'frame')} on {days}, a tenth of {lost} at {middle} "
        f"({low} to {high}){at}{tail}."
    )
