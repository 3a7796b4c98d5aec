"""Which frames are meant: one filter for pages, commands and lists, as it is typed, as SQL, and as a mask.

A filter is read from names and values as they stand in an address or behind options: `exposure-time-from=1/30`,
`lens=Tidewell 85 mm`, `pace=-` (nobody wrote the pace down), `from=2026-03-01`. It holds at most one condition per
setting. Values reach SQL as bound parameters only; the mask over `choices` and the SQL over frames are made from the
same conditions.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from analytics.dataset.scales import KNOWN_WORDS, SCALES, WORDS, key_of, span_of, typed_of
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterable

#: What is typed for a setting where it is not the setting's own name with hyphens.
TYPED_NAMES = {"subject_pace": "pace"}
#: Names in an address by setting, and back.
NAME_OF = {setting: TYPED_NAMES.get(setting, setting.replace("_", "-")) for setting in (*SCALES, *WORDS)}
SETTING_OF = {name: setting for setting, name in NAME_OF.items()}
#: The value that stands for "nobody wrote it down"; a word that begins like it gets two of them in front.
UNKNOWN = "-"
#: Longer values are shown cut off in a message.
SHOWN = 60
DAYS = ("from", "to")


@dataclass(frozen=True, slots=True)
class Condition:
    """What one setting must be: within keys of its scale (an open end is `None`), or a word, or unknown."""

    setting: str
    low: int | None = None
    high: int | None = None
    word: str | None = None
    is_range: bool = False

    @property
    def is_unknown(self) -> bool:
        """Whether only frames count of which nobody wrote the setting down."""
        return self.low is None and self.high is None and self.word is None


@dataclass(frozen=True, slots=True)
class Filter:
    """Conditions, one per setting, and the first and last day of the sessions that count."""

    conditions: tuple[Condition, ...] = ()
    since: str | None = None
    until: str | None = None

    def of(self, setting: str) -> Condition | None:
        """The condition on a setting."""
        return next((each for each in self.conditions if each.setting == setting), None)

    def without(self, *settings: str) -> Filter:
        """The same without what it says of these settings."""
        return replace(self, conditions=tuple(each for each in self.conditions if each.setting not in settings))

    def only(self, condition: Condition) -> Filter:
        """The same with this instead of what it said of that setting."""
        kept = self.without(condition.setting)
        return replace(kept, conditions=(*kept.conditions, condition))

    def where(self) -> tuple[str, dict[str, Any]]:
        """The conditions as SQL over frames, sessions, bodies and lenses, with its parameters; true of all if empty."""
        parts = ["1"]
        bound: dict[str, Any] = {}
        for number, each in enumerate(self.conditions):
            sql = SCALES.get(each.setting) or WORDS[each.setting]
            if each.is_unknown:
                parts.append(f"({sql}) is null")
            for sign, value in (("=", each.word), (">=", each.low), ("<=", each.high)):
                if value is not None:
                    name = f"value_{number}_{len(bound)}"
                    parts.append(f"({sql}) {sign} :{name}")
                    bound[name] = value
        for sign, day, name in ((">=", self.since, "since"), ("<=", self.until, "until")):
            if day is not None:
                parts.append(f"substr(sessions.started_at, 1, 10) {sign} :{name}")
                bound[name] = day
        return " and ".join(parts), bound

    def typed(self) -> list[tuple[str, str]]:
        """Names and values as they stand in an address, so that `read_filter` gives the same filter again."""
        pairs = []
        for each in sorted(self.conditions, key=lambda condition: NAME_OF[condition.setting]):
            name = NAME_OF[each.setting]
            if each.is_unknown:
                pairs.append((name, UNKNOWN))
            elif each.word is not None:
                pairs.append((name, f"{UNKNOWN}{UNKNOWN}{each.word}" if _is_like_unknown(each.word) else each.word))
            elif each.is_range:
                ends = (("from", each.low), ("to", each.high))
                pairs += [(f"{name}-{end}", typed_of(each.setting, key)) for end, key in ends if key is not None]
            elif each.low is not None:
                pairs.append((name, typed_of(each.setting, each.low)))
        return pairs + [(name, day) for name, day in zip(DAYS, (self.since, self.until), strict=True) if day]


def exactly(setting: str, key: int | str | None) -> Condition:
    """The condition that a setting has the label of this key, or this word, or is unknown."""
    if key is None or isinstance(key, str):
        return Condition(setting, word=key)
    low, high = span_of(setting, key)
    return Condition(setting, low, high)


def within(setting: str, low: int | None, high: int | None) -> Condition:
    """The condition that a setting lies from the label of one key to that of another; two ends in the wrong order are
    put right, for times are written from slow to fast as often as from fast to slow."""
    if low is not None and high is not None and low > high:
        low, high = high, low
    first = None if low is None else span_of(setting, low)[0]
    last = None if high is None else span_of(setting, high)[1]
    return Condition(setting, first, last, is_range=True)


def read_filter(pairs: Iterable[tuple[str, str]]) -> Filter:
    """The filter that these names and values say; empty values say nothing.

    Raises:
        JournalError: a name is unknown or said twice, or a value cannot be one of its setting.
    """
    said = [(name, value) for name, value in pairs if value.strip()]
    for name, count in Counter(name for name, _ in said).items():
        if count > 1:
            raise JournalError(f"{shown(name)} is said {count} times.", "Say it once.")
    values = dict(said)
    since, until = (_day(values.pop(name)) if name in values else None for name in DAYS)
    if since and until and since > until:
        since, until = until, since
    conditions = []
    for setting, name in NAME_OF.items():
        ends = [values.pop(f"{name}-{end}", None) for end in DAYS] if setting in SCALES else [None, None]
        exact = values.pop(name, None)
        if exact is not None and any(ends):
            raise JournalError(f"{name} is given as one value and as a range.", f"Leave {name} or its ends out.")
        if exact is not None:
            conditions.append(_one(setting, exact))
        elif any(ends):
            conditions.append(within(setting, *(None if end is None else _key(setting, end) for end in ends)))
    if values:
        known = ", ".join(sorted((*SETTING_OF, *DAYS)))
        raise JournalError(f"Frames cannot be chosen by {shown(next(iter(values)))}.", f"Choose by: {known}.")
    return Filter(tuple(conditions), since, until)


def _one(setting: str, text: str) -> Condition:
    if text == UNKNOWN:
        return Condition(setting)
    if setting in SCALES:
        return exactly(setting, _key(setting, text))
    word = text.removeprefix(UNKNOWN * 2)
    if setting in KNOWN_WORDS and word not in KNOWN_WORDS[setting]:
        words = ", ".join(KNOWN_WORDS[setting])
        raise JournalError(f"{shown(word)} is no {NAME_OF[setting]}.", f"Use one of: {words}.")
    return Condition(setting, word=word)


def _key(setting: str, text: str) -> int:
    try:
        return key_of(setting, text[: 2 * SHOWN])
    except JournalError as error:
        raise JournalError(f"{NAME_OF[setting]}: {error.problem}", error.next_step) from error


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError as error:
        raise JournalError(f"{shown(text)} is no day.", "Write it like 2026-03-01.") from error


def _is_like_unknown(word: str) -> bool:
    return not word.strip() or word.startswith(UNKNOWN)


def shown(text: str) -> str:
    """A value in a message: quoted, and no longer than a line."""
    return repr(text if len(text) <= SHOWN else f"{text[:SHOWN]}…")
