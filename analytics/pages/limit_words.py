"""How limits are said: as the nominal values that stand on a camera, never as stops or logarithms.

A hand-held limit in stops below the rule is a time at a focal length; the focal length is the 35 mm-equivalent one.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analytics.statistics.limits import NEAR_ABOVE, NEAR_BELOW
from journal.notation import format_count
from journal.optics.nominal import nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Kinds of limits in the order they are shown: heading, what one loses frames to, which way is further.
HEADINGS = {"hand-held": "Slowest hand-held time", "freeze": "Slowest freezing time", "iso": "Highest ISO"}
LOST_TO = {"hand-held": "shake", "freeze": "subject motion", "iso": "noise"}
FURTHER = {"hand-held": "slower", "freeze": "slower", "iso": "higher"}
NEARER = {"hand-held": "faster", "freeze": "faster", "iso": "lower"}
#: What a limit is called to the one whose it is.
YOURS = {
    "hand-held": "your slowest hand-held time, {name},",
    "freeze": "your slowest freezing time for {name}",
    "iso": "your highest ISO with the {name}",
}
QUESTIONS = {
    "hand-held": "How slow can you hand-hold, {name}?",
    "freeze": "How slow may it be for {name}?",
    "iso": "How high may the ISO be with the {name}?",
}
#: Which frames all that is said of limits is of.
WHICH_FRAMES = (
    "A frame counts where no other fault could hide the one in question: for shake, at times that freeze the subject; "
    "for subject motion, from a tripod or at times that your hands hold. For noise, a frame that is a stop too dark "
    f"counts as one at an ISO a stop higher. Near a limit: from {NEAR_BELOW:g} stops on its safe side to "
    f"{NEAR_ABOVE:g} beyond it."
)
#: Focal length that hand-held limits are said for where no other is nearer at hand [mm, 35 mm-equivalent].
REFERENCE_MM = 100.0
REFERENCE = (
    f"At a limit 10 of 100 frames are lost. Times at {REFERENCE_MM:.0f} mm are for a 35 mm-equivalent focal length."
)
#: Bodies, or what else limits are of, that a sentence names where there are many.
MOST_NAMED = 3
#: What a table of counts begins with, by kind of limit.
COUNTED_BY = {
    "hand-held": f"exposure time at {REFERENCE_MM:.0f} mm",
    "freeze": "exposure time",
    "iso": "ISO; a stop too dark counts as a stop higher",
}
#: What a subject of each pace is called.
SUBJECTS = {
    "still": "still subjects",
    "slow": "slow subjects",
    "walking": "walking subjects",
    "running": "running subjects",
    "fast": "fast subjects",
}


def key_name(kind: str, key: object) -> str:
    """What a limit is about: stabilised, running subjects, the body."""
    if kind == "hand-held":
        return "stabilised" if key else "not stabilised"
    return SUBJECTS.get(str(key), str(key)) if kind == "freeze" else str(key)


def value_name(kind: str, stops: float, focal_length_35mm: float = REFERENCE_MM) -> str:
    """The nominal value, in thirds of a stop, of a place on the scale of a kind of limit.

    Args:
        kind: of limit.
        stops: stops below the rule, log2(t / 1 s) or log2(ISO / 100).
        focal_length_35mm: where a hand-held time is said for it [mm].
    """
    if not math.isfinite(stops):
        return "unknown"
    if kind == "iso":
        return nominal_iso_name(2 * round(3 * stops))
    seconds = stops - math.log2(focal_length_35mm) if kind == "hand-held" else stops
    return nominal_time_name(2 * round(3 * seconds))


def limit_name(kind: str, bound: str, ends: tuple[float, float, float]) -> str:
    """A limit in one phrase, from (estimate, low, high): "1/20 at 100 mm", "ISO 6400 or higher"."""
    estimate, low, high = ends
    at = f" at {REFERENCE_MM:.0f} mm" if kind == "hand-held" else ""
    if bound == "at least":
        return f"{value_name(kind, low)} or {FURTHER[kind]}{at}"
    if bound == "at most":
        return f"{value_name(kind, high)} or {NEARER[kind]}{at}"
    return f"{value_name(kind, estimate)}{at}" if bound == "both" else "unknown"


def interval_name(kind: str, bound: str, low: float, high: float) -> str:
    """The interval in nominal values: 1/30 to 1/13, ISO 1600 to 4000."""
    ends = {"both": (low, high), "at least": (low,), "at most": (high,)}.get(bound, ())
    words = {"at least": "from ", "at most": "to "}.get(bound, "")
    first, *second = [value_name(kind, end) for end in ends] or [""]
    return words + " to ".join([first, *(name.removeprefix("ISO ") for name in second)])


def untold_sentences(kind: str, lines: Sequence[tuple[str, int, int, str]], n_needed: int) -> list[str]:
    """Limits of one kind that nothing can be told of yet, in a sentence for each reason why.

    Args:
        kind: of limit.
        lines: what each is about, its frames, its sessions, and the riskiest setting of its frames.
        n_needed: sessions that are needed before anything is told.
    """
    few = [(name, n_frames, n_sessions) for name, n_frames, n_sessions, _ in lines if n_sessions < n_needed]
    tried = [line for line in lines if line[2] >= n_needed]
    named, more = _with_most_frames([(name, n_frames) for name, n_frames, _, _ in tried])
    safe = [
        f"{name} (of {format_count(n_frames, 'frame')} that would show {LOST_TO[kind]} none is {FURTHER[kind]} than "
        f"{reach})"
        for name, n_frames, _, reach in tried
        if name in named
    ]
    what = f"a {HEADINGS[kind][:1].lower()}{HEADINGS[kind][1:]}"
    said = []
    if few:
        which = f"Too few frames yet that would show {LOST_TO[kind]}, so {what} cannot be told"
        said.append(f"{which}: {_counted(few)}. Frames of {n_needed} sessions are needed.")
    if safe:
        said.append(f"No frame comes near {what} yet: {', '.join(safe)}{more}.")
    return said


def _counted(lines: Sequence[tuple[str, int, int]]) -> str:
    """Names with their frames and sessions, said once where all have as many; of many only those with most frames."""
    counts = [format_count(n_frames, "frame") for _, n_frames, _ in lines]
    within = [f" in {format_count(n_sessions, 'session')}" if n_frames > 1 else "" for _, n_frames, n_sessions in lines]
    said = {name: count + where for (name, _, _), count, where in zip(lines, counts, within, strict=True)}
    names, more = _with_most_frames([(name, n_frames) for name, n_frames, _ in lines])
    between = "; " if any("," in name for name in names) else ", "
    if len(set(said.values())) == 1:
        return f"{between.join(names)}{more} ({counts[0]}{within[0]}{' each' if len(lines) > 1 else ''})"
    return f"{between.join(f'{name} ({said[name]})' for name in names)}{more}"


def _with_most_frames(lines: Sequence[tuple[str, int]]) -> tuple[list[str], str]:
    """The names to tell, those with most frames, in their order, and in words how many more there are."""
    if len(lines) <= MOST_NAMED + 1:  # instead of one more it can as well be named
        return [name for name, _ in lines], ""
    named = sorted(range(len(lines)), key=lambda at: -lines[at][1])[:MOST_NAMED]
    return [lines[at][0] for at in sorted(named)], f" and {len(lines) - MOST_NAMED} more"


def axis_names(kind: str, lowest: float, highest: float) -> dict[int, str]:
    """Nominal values at whole stops from `lowest` to `highest`, for an axis."""
    return {stop: value_name(kind, stop) for stop in range(math.floor(lowest), math.ceil(highest) + 1)}
