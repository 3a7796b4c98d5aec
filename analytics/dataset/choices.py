"""What was chosen in every burst, in memory: arrays from which keepers are counted under any filter in milliseconds.

The rows come from the summary table `choices`; a reader that is asked again reads only the sessions that have changed.
A million frames are about a quarter of a million rows.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from analytics.dataset import choice_sql
from analytics.dataset.scales import KNOWN_WORDS, SCALES

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from analytics.dataset.choosing import Condition, Filter

    Integers = NDArray[np.int64]
    Mask = NDArray[np.bool_]

#: The key of what nobody wrote down.
UNKNOWN_KEY = -2147483648
#: The key of a word that nothing is called.
NO_KEY = -1
#: Columns of `choice_sql.CHOICES`.
COLUMNS = (
    "session", "burst", "n_frames", "n_judged", "n_keepers", "exposure_time", "f_number", "iso", "focal_length",
    "stops_below_rule", "ev100", "lens", "body", "camera_support", "month",
)  # fmt: skip
#: Sessions that one statement reads: no page waits long for it, and few rows are in memory as Python objects.
SESSIONS_A_TIME = 100


@dataclass(frozen=True)
class Choices:
    """Counts by burst and by all that was chosen in it, the newest session first.

    `session` and `burst` number the rows' clusters from 0 in the order of the rows; `session_ids` and `burst_ids` are
    the numbers that the journal has for them. `columns` holds keys by setting (`UNKNOWN_KEY` where nobody wrote it
    down), for words their place in `words`. `day` is the day on which each row's session began, as in 20260301.
    """

    session: Integers
    burst: Integers
    session_ids: Integers
    burst_ids: Integers
    n_frames: Integers
    n_judged: Integers
    n_keepers: Integers
    columns: dict[str, NDArray[np.int32]]
    words: dict[str, list[str]]
    day: NDArray[np.int32]

    def mask(self, chosen: Filter) -> Mask:
        """The rows that the filter means."""
        meant: Mask = np.ones(len(self.burst), dtype=bool)
        for condition in chosen.conditions:
            meant &= self._meets(condition)
        if chosen.since:
            meant &= self.day >= int(chosen.since.replace("-", ""))
        if chosen.until:
            meant &= self.day <= int(chosen.until.replace("-", ""))
        return meant

    def _meets(self, condition: Condition) -> Mask:
        keys = self.columns[condition.setting]
        meets: Mask = keys == UNKNOWN_KEY
        if condition.is_unknown:
            return meets
        if condition.word is not None:
            words = self.words[condition.setting]
            meets = keys == (words.index(condition.word) if condition.word in words else NO_KEY)
            return meets
        meets = ~meets
        if condition.low is not None:
            meets &= keys >= condition.low
        if condition.high is not None:
            meets &= keys <= condition.high
        return meets

    def keys(self, setting: str) -> list[int]:
        """The known keys of a setting that the journal has, in their order."""
        return self._keys[setting]

    @cached_property
    def _keys(self) -> dict[str, list[int]]:
        found = {setting: np.unique(keys).tolist() for setting, keys in self.columns.items()}
        return {setting: [key for key in keys if key != UNKNOWN_KEY] for setting, keys in found.items()}


class ChoiceReader:
    """Reads `Choices` of one journal and keeps the rows, so that the next reading takes only what has changed."""

    def __init__(self) -> None:
        self._stamps: dict[int, int] = {}
        self._rows: Integers = np.empty((0, len(COLUMNS)), dtype=np.int64)

    def read(self, connection: sqlite3.Connection) -> Choices:
        """The choices as they are now; inside a transaction, as they are in it."""
        stamps: dict[int, int] = dict(_tuples(connection, choice_sql.CHOICE_STAMPS))
        changed = [session for session, stamp in stamps.items() if self._stamps.get(session) != stamp]
        gone = self._stamps.keys() - stamps.keys()
        if changed or gone:
            kept = self._rows[~np.isin(self._rows[:, 0], [*changed, *gone])]
            self._rows = np.concatenate([kept, *_rows(connection, changed)])
        self._stamps = stamps
        return _choices(connection, self._rows)


def _tuples(connection: sqlite3.Connection, sql: str) -> list[tuple[int, int]]:
    return [(row[0], row[1]) for row in connection.execute(sql)]


def _rows(connection: sqlite3.Connection, sessions: list[int]) -> Iterator[Integers]:
    cursor = connection.cursor()
    cursor.row_factory = None
    for first in range(0, len(sessions), SESSIONS_A_TIME):
        some = json.dumps(sessions[first : first + SESSIONS_A_TIME])
        rows = cursor.execute(choice_sql.CHOICES, {"sessions": some}).fetchall()
        yield np.array(rows, dtype=np.int64).reshape(-1, len(COLUMNS))


def _choices(connection: sqlite3.Connection, rows: Integers) -> Choices:
    stated = _Stated(connection)
    place = stated.places(rows[:, 0])
    known = place >= 0  # a session that is in no table has no rows either, unless the file is broken
    order = np.lexsort((rows[known, 1], place[known]))
    rows, place = rows[known][order], place[known][order]
    column = {name: np.ascontiguousarray(rows[:, number]) for number, name in enumerate(COLUMNS)}
    session, session_first = _numbered(place)
    burst, burst_first = _numbered(place, column["burst"])
    keys = {name: column[name].astype(np.int32) for name in COLUMNS if name in SCALES and name != "session"}
    words = {name: list(known_words) for name, known_words in KNOWN_WORDS.items()}
    for name, sql in (("lens", choice_sql.LENS_MODELS), ("body", choice_sql.BODY_MODELS)):
        keys[name], words[name] = _models(connection, sql, column[name])
    keys["session"] = column["session"].astype(np.int32)
    for name in ("light", "priority", "subject_pace", "light_kind"):
        keys[name] = stated.keys(name)[place]
    for name in ("month", "camera_support"):
        own = column[name].astype(np.int32)
        keys[name] = np.where(own == UNKNOWN_KEY, stated.keys(name)[place], own)
    return Choices(
        session=session,
        burst=burst,
        session_ids=column["session"][session_first],
        burst_ids=column["burst"][burst_first],
        n_frames=column["n_frames"],
        n_judged=column["n_judged"],
        n_keepers=column["n_keepers"],
        columns=keys,
        words=words,
        day=stated.keys("day")[place],
    )


def _numbered(*columns: Integers) -> tuple[Integers, Integers]:
    """Numbers from 0 for rows in order that are alike in all columns, and where each number begins."""
    if not len(columns[0]):
        return columns[0], columns[0]
    changes = np.zeros(len(columns[0]), dtype=bool)
    changes[0] = True
    for column in columns:
        changes[1:] |= column[1:] != column[:-1]
    return np.cumsum(changes) - 1, np.flatnonzero(changes)


class _Stated:
    """What sessions state, as keys, in the order of `choice_sql.CHOICE_SESSIONS`."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        cursor = connection.cursor()
        cursor.row_factory = None
        found = list(zip(*cursor.execute(choice_sql.CHOICE_SESSIONS), strict=True)) or [()] * 8
        names = ("id", "day", "light", "month", "camera_support", "priority", "subject_pace", "light_kind")
        self._columns = dict(zip(names, found, strict=True))
        ids = np.array(self._columns["id"], dtype=np.int64)
        self._by_id = np.argsort(ids, kind="stable")
        self._ids = ids[self._by_id]

    def places(self, sessions: Integers) -> Integers:
        """Where each session stands; -1 where it does not."""
        if not len(self._ids):
            return np.full(len(sessions), -1, dtype=np.int64)
        at = np.clip(np.searchsorted(self._ids, sessions), 0, len(self._ids) - 1)
        return np.where(self._ids[at] == sessions, self._by_id[at], -1)

    def keys(self, name: str) -> NDArray[np.int32]:
        """The key that each session states."""
        values = self._columns[name]
        if name == "day":
            return np.array([int(day.replace("-", "")) for day in values], dtype=np.int32)
        if name in KNOWN_WORDS:
            codes: dict[str | None, int] = {word: number for number, word in enumerate(KNOWN_WORDS[name])}
            return np.array([codes.get(word, UNKNOWN_KEY) for word in values], dtype=np.int32)
        return np.array([UNKNOWN_KEY if value is None else int(value) for value in values], dtype=np.int32)


def _models(connection: sqlite3.Connection, sql: str, numbers: Integers) -> tuple[NDArray[np.int32], list[str]]:
    """Models in the order of the alphabet, and the place of each row's model; bodies of one model are one."""
    rows = [(int(number), str(model)) for number, model in connection.execute(sql)]
    models = sorted({model for _, model in rows})
    if not rows:
        return np.full(len(numbers), UNKNOWN_KEY, dtype=np.int32), models
    ids = np.array([number for number, _ in rows], dtype=np.int64)
    codes = np.array([models.index(model) for _, model in rows], dtype=np.int32)
    at = np.clip(np.searchsorted(ids, numbers), 0, len(ids) - 1)
    return np.where(ids[at] == numbers, codes[at], UNKNOWN_KEY).astype(np.int32), models
