"""The settings that keepers are counted and frames chosen by: keys in the journal, labels on a page, what is typed.

A setting is either on a scale, then its keys are whole numbers in order, or a word. A label may cover several keys:
1/125 is engraved for all times within a sixth of a stop of it, a whole stop covers three thirds.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING

from analytics.dataset.light import LIGHT_KINDS, light_kind
from journal.errors import JournalError
from journal.notation import parse_exposure_time, parse_f_number, parse_focal_length, parse_iso
from journal.schema.ddl import PACES, PRIORITIES, SUPPORTS
from journal.schema.setting_keys import SETTING_KEYS, setting_label

if TYPE_CHECKING:
    from collections.abc import Callable

#: The month of a frame by its body's clock, or of its session where that is stated, as SQL; its number counts months
#: from year 0.
_MONTH = SETTING_KEYS["month"]
_MONTH_NUMBER = f"12 * cast(substr({_MONTH}, 1, 4) as integer) + cast(substr({_MONTH}, 6, 2) as integer)"

#: Settings on a scale, each as SQL over frames, sessions, bodies and lenses that gives its key.
SCALES = {
    "exposure_time": SETTING_KEYS["exposure_time"],
    "f_number": SETTING_KEYS["f_number"],
    "iso": SETTING_KEYS["iso"],
    "focal_length": SETTING_KEYS["focal_length"],
    "stops_below_rule": SETTING_KEYS["stops_below_rule"],
    "ev100": SETTING_KEYS["ev100"],
    "light": "round(sessions.light_ev100)",
    "session": SETTING_KEYS["session"],
    "month": _MONTH_NUMBER,
}
#: Settings that are words, likewise. `light_kind` is a function that every opened journal has.
WORDS = {
    "lens": SETTING_KEYS["lens"],
    "body": SETTING_KEYS["body"],
    "camera_support": SETTING_KEYS["camera_support"],
    "priority": SETTING_KEYS["priority"],
    "subject_pace": "sessions.subject_pace",
    "light_kind": "light_kind(sessions.light)",
}
#: Light that was described, in words that name no kind.
OTHER_LIGHT = "other"
#: The words that these settings may have; lens and body are named by the photographer's gear.
KNOWN_WORDS = {
    "camera_support": SUPPORTS,
    "priority": PRIORITIES,
    "subject_pace": PACES,
    "light_kind": (*LIGHT_KINDS, OTHER_LIGHT),
}
#: A key that no scale could write is typed as it is stored, behind this sign.
RAW = "#"
#: Sixths of a stop beyond which no number of the machine is a time.
FURTHEST_RAW = 6000


@lru_cache(maxsize=8192)
def light_kind_word(words: str | None) -> str | None:
    """The kind of light that was described, `other` for any without a kind; `None` where nobody described it."""
    if words is None or not words.strip():
        return None
    return light_kind(words) or OTHER_LIGHT


def label_of(setting: str, key: int) -> str:
    """What the reader sees of a key on a scale."""
    if setting == "light":
        return f"EV {key}"
    if setting == "month":
        return f"{(key - 1) // 12:04d}-{(key - 1) % 12 + 1:02d}"
    return str(setting_label(setting, key)[0])


@lru_cache(maxsize=8192)
def span_of(setting: str, key: int) -> tuple[int, int]:
    """The lowest and highest key with the same label."""
    label, low, high = label_of(setting, key), key, key
    while label_of(setting, low - 1) == label:
        low -= 1
    while label_of(setting, high + 1) == label:
        high += 1
    return low, high


@lru_cache(maxsize=8192)
def typed_of(setting: str, key: int) -> str:
    """A key as it is typed or stands in an address, so that `key_of` finds its label again."""
    typed = _WRITTEN.get(setting, str)(key)
    try:
        if span_of(setting, key_of(setting, typed)) == span_of(setting, key):
            return typed
    except JournalError:
        pass  # stored, but nothing that anyone would type
    return f"{RAW}{key}"


def key_of(setting: str, text: str) -> int:
    """The key of a typed value on a scale.

    Raises:
        JournalError: this is no value of the setting.
    """
    raw = re.fullmatch(rf"{RAW}(-?[0-9]{{1,4}})", text.strip())
    if raw is not None and abs(int(raw[1])) <= FURTHEST_RAW:
        return int(raw[1])
    key = _KEYS[setting](text)
    near = (key, key - 1, key + 1)  # an engraved value may lie beside the place that its own number rounds to
    return next((place for place in near if _WRITTEN.get(setting, str)(place) == text.strip()), key)


def _whole_number(pattern: str, problem: str, next_step: str) -> Callable[[str], int]:
    def parse(text: str) -> int:
        match = re.fullmatch(pattern, text.strip(), re.I)
        if match is None:
            raise JournalError(f"{text!r} is {problem}.", next_step)
        return int(match[1])

    return parse


def _month_key(text: str) -> int:
    match = re.fullmatch(r"([0-9]{4})-(0[1-9]|1[0-2])", text.strip())
    if match is None:
        raise JournalError(f"{text!r} is no month.", "Write it like 2026-03.")
    return 12 * int(match[1]) + int(match[2])


_stops = _whole_number(r"([+-]?[0-9]{1,3})", "no whole number of stops", "Write it like 2, or -1 for above the rule.")
_ev = _whole_number(r"(?:ev\s*)?([+-]?[0-9]{1,3})", "no whole EV at ISO 100", "Write it like 8 or EV 8.")
_session = _whole_number(r"(?:session\s*)?([0-9]{1,15})", "no number of a session", "Write it like 12.")

#: The key of what is typed.
_KEYS: dict[str, Callable[[str], int]] = {
    "exposure_time": lambda text: round(6 * math.log2(parse_exposure_time(text))),
    "f_number": lambda text: round(12 * math.log2(parse_f_number(text))),
    "iso": lambda text: round(6 * math.log2(parse_iso(text) / 100)),
    "focal_length": lambda text: round(parse_focal_length(text)),
    "stops_below_rule": lambda text: 3 * _stops(text),
    "ev100": lambda text: 3 * _ev(text),
    "light": _ev,
    "session": _session,
    "month": _month_key,
}
#: What is typed for a key; a number as it is for all others.
_WRITTEN: dict[str, Callable[[int], str]] = {
    "exposure_time": lambda key: label_of("exposure_time", key),
    "f_number": lambda key: label_of("f_number", key),
    "iso": lambda key: label_of("iso", key).removeprefix("ISO "),
    "stops_below_rule": lambda key: str(round(key / 3)),
    "ev100": lambda key: str(round(key / 3)),
    "month": lambda key: label_of("month", key),
}
