"""A filter in words, and what is kept under it, in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.dataset.choosing import Condition, Filter
from analytics.dataset.scales import label_of
from analytics.pages.settings import NAMES
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.pages.keepers import KeeperLine

#: Settings in the order in which a sentence names them.
ORDER = (
    "camera_support", "lens", "body", "focal_length", "priority", "subject_pace", "light_kind", "light",
    "exposure_time", "f_number", "iso", "stops_below_rule", "ev100", "session", "month",
)  # fmt: skip
#: What stands behind a value that is the lower end of a range, and behind one that is the upper end.
BEYOND = {
    "exposure_time": ("and slower", "and faster"),
    "f_number": ("and narrower", "and wider"),
    "iso": ("and higher", "and lower"),
    "focal_length": ("and longer", "and shorter"),
    "stops_below_rule": ("and slower", "and faster"),
    "ev100": ("and brighter", "and darker"),
    "light": ("and brighter", "and darker"),
    "session": ("and later", "and earlier"),
    "month": ("and later", "and earlier"),
}
#: How a sentence says a word.
SAID = {
    "lens": "with the {}",
    "body": "on the {}",
    "priority": "priority {}",
    "subject_pace": "subject pace {}",
    "light_kind": "light: {}",
}
SUPPORT_SAID = {"monopod": "on a monopod", "tripod": "on a tripod"}
#: What stands before one value of a scale; said once where several follow each other.
AT = "at "
#: These follow each other without a comma.
GEAR = ("camera_support", "lens", "body")


def condition_in_words(condition: Condition) -> str:
    """One condition: hand-held; 1/30 and slower; lens unknown."""
    setting = condition.setting
    if condition.is_unknown:
        return f"{NAMES[setting]} unknown"
    if condition.word is not None:
        if setting == "camera_support":
            return SUPPORT_SAID.get(condition.word, condition.word)
        return SAID[setting].format(condition.word or "nameless one")
    return _place(condition)


def _place(condition: Condition) -> str:
    """The place on a scale: at 1/30; 1/60 to 1/15; 1/30 and slower."""
    setting, low, high = condition.setting, condition.low, condition.high
    first, last = (None if key is None else label_of(setting, key) for key in (low, high))
    told = {"ev100": "settings for ", "light": "stated light "}.get(setting, "")
    if not condition.is_range or first == last:
        before = "" if told or setting in ("session", "stops_below_rule") else "in " if setting == "month" else AT
        return f"{told}{before}{first}"
    if last is None:
        return f"{told}{first} {BEYOND[setting][0]}"
    if first is None:
        return f"{told}{last} {BEYOND[setting][1]}"
    return f"{told}{first} to {last}"


def period_in_words(chosen: Filter) -> str:
    """The days of the sessions: from 2026-03-01 to 2026-05-31; empty for all."""
    ends = [f"{word} {day}" for word, day in (("from", chosen.since), ("to", chosen.until)) if day]
    return " ".join(ends) if chosen.since else " ".join(f"sessions {end.replace('to', 'until')}" for end in ends)


def filter_in_words(chosen: Filter) -> str:
    """All conditions as the beginning of a sentence; "All judged frames" without any."""
    conditions = {each.setting: condition_in_words(each) for each in chosen.conditions}
    gear = " ".join(conditions[setting] for setting in GEAR if setting in conditions)
    rest = [conditions[setting] for setting in ORDER if setting in conditions and setting not in GEAR]
    parts = [part for part in (gear, *rest, period_in_words(chosen)) if part] or ["all judged frames"]
    places = [part.startswith(AT) for part in parts]
    again = [place and before for place, before in zip(places, [False, *places[:-1]], strict=True)]
    said = ", ".join(part.removeprefix(AT) if is_again else part for part, is_again in zip(parts, again, strict=True))
    return said[:1].upper() + said[1:] if said[1:2].isalpha() else said


def kept_sentence(chosen: Filter, whole: KeeperLine | None, n_unjudged: int) -> str:
    """What is kept of the frames that the filter means, in one sentence."""
    said = filter_in_words(chosen)
    if whole is None:
        waiting = f"; {format_count(n_unjudged, 'unjudged frame')}" if n_unjudged else ""
        return f"{said}: no judged frame{waiting}."
    counted = f"{format_count(whole.n_frames, 'judged frame')} in {format_count(whole.n_bursts, 'burst')}"
    enough = "" if whole.is_enough else "; not enough evidence yet"
    return (
        f"{said}: {100 * whole.estimate:.0f} of 100 kept ({whole.interval}), "
        f"{counted} and {format_count(whole.n_sessions, 'session')}{enough}."
    )
