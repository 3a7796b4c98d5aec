"""The form of a filter: what each of its selects offers and shows, so that the page works without a script."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.dataset.choosing import NAME_OF, UNKNOWN, Condition, Filter
from analytics.dataset.scales import SCALES, typed_of
from analytics.pages.settings import NAMES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.pages.counting import Counting

#: Settings that are chosen as one word, and those of which a range is chosen, in the form's order.
WORD_FIELDS = ("lens", "body", "camera_support", "priority", "subject_pace", "light_kind")
RANGE_FIELDS = ("exposure_time", "f_number", "iso", "stops_below_rule", "focal_length", "ev100", "light")


@dataclass(frozen=True, slots=True)
class Option:
    """One value of a select."""

    typed: str
    label: str
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class Field:
    """A select: its name in the address, what it is called, and what it offers besides "any"."""

    name: str
    label: str
    options: list[Option]


@dataclass(frozen=True, slots=True)
class ChoiceForm:
    """The form; `kept` are names and values that no field of it shows."""

    by: Field
    by2: Field
    words: list[Field]
    ranges: list[tuple[str, Field, Field]]
    since: str
    until: str
    kept: list[tuple[str, str]]


def choice_form(counting: Counting, settings: Sequence[str], chosen: Filter) -> ChoiceForm:
    """The form of a journal, with what is chosen in it."""
    in_form = {*WORD_FIELDS, *RANGE_FIELDS}
    kept = [each for each in chosen.conditions if each.setting not in in_form or _is_unknown_place(each)]
    by, by2 = (*settings, None)[:2]
    return ChoiceForm(
        by=Field("by", "Keepers by", _settings(by)),
        by2=Field("by2", "crossed with", _settings(by2)),
        words=[_word_field(counting, setting, chosen.of(setting)) for setting in WORD_FIELDS],
        ranges=[_range_fields(counting, setting, chosen.of(setting)) for setting in RANGE_FIELDS],
        since=chosen.since or "",
        until=chosen.until or "",
        kept=Filter(tuple(kept)).typed(),
    )


def _is_unknown_place(condition: Condition) -> bool:
    return condition.setting in SCALES and condition.is_unknown


def _settings(chosen: str | None) -> list[Option]:
    return [Option(NAME_OF[setting], NAMES[setting], setting == chosen) for setting in NAMES]


def _word_field(counting: Counting, setting: str, condition: Condition | None) -> Field:
    options = []
    for key in counting.keys_of(setting):
        typed = Filter((Condition(setting, word=key if isinstance(key, str) else None),)).typed()[0][1]
        is_chosen = condition is not None and condition.word == key
        options.append(Option(typed, counting.label(setting, key), is_chosen))
    if condition is not None and not any(option.is_chosen for option in options):
        typed = Filter((condition,)).typed()[0][1]
        options.append(Option(typed, "unknown" if typed == UNKNOWN else str(condition.word), True))
    return Field(NAME_OF[setting], NAMES[setting], options)


def _range_fields(counting: Counting, setting: str, condition: Condition | None) -> tuple[str, Field, Field]:
    known = [key for key in counting.keys_of(setting) if isinstance(key, int)]
    ends = []
    for end, word in (("low", "from"), ("high", "to")):
        key: int | None = None if condition is None else getattr(condition, end)
        typed = None if key is None else typed_of(setting, key)
        offered = {typed_of(setting, place): counting.label(setting, place) for place in known}
        if key is not None and typed not in offered:  # typed by hand: between or beyond the journal's own values
            places = sorted({*known, key})
            offered = {typed_of(setting, place): counting.label(setting, place) for place in places}
        options = [Option(value, label, value == typed) for value, label in offered.items()]
        ends.append(Field(f"{NAME_OF[setting]}-{word}", word, options))
    return NAMES[setting], ends[0], ends[1]
