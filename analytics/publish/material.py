"""What pages are built from: which sessions and frames, each estimate once, the frames as a table of numbers."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, cast

from analytics import queries
from analytics.pages.advice import AdvicePage, advice_page
from analytics.pages.drawn import (
    DrawnHabits,
    DrawnLimits,
    DrawnProgress,
    drawn_habits,
    drawn_limits,
    drawn_progress,
)
from analytics.pages.judged import Ground, ground
from analytics.pages.privacy import Asked, local_moment, shown_facts
from analytics.pages.session import (
    SETTINGS_SHOWN,
    burst_places,
    session_facts,
    session_sentence,
    settings_in_words,
)
from analytics.pages.session_course import session_course
from analytics.pages.standing import last_session
from analytics.publish.session_parts import session_parts
from analytics.queries.publishing import GEAR_OF_SESSIONS, PUBLISHED_FRAMES, SESSIONS_WITHIN
from journal.errors import JournalError
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.habits import HabitsPage

#: Verdicts in the order of their numbers in the table of frames.
VERDICTS = ("unjudged", "keeper", "reject")
CLOCK = re.compile(r"(\d{4}-\d{2}-\d{2})T(\d{2}):(\d{2}):(\d{2})")


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is shown: sessions in the order of time, and frames that were chosen beside them."""

    sessions: list[int]
    frames: list[int]


class Material:
    """One journal at one moment; each estimate is made once, when a page first asks for it."""

    def __init__(self, journal: OpenJournal, chosen: Chosen, asked: Asked) -> None:
        self.journal, self.chosen, self.asked = journal, chosen, asked
        self.simulated = journal.simulated()
        self.totals = journal.totals()
        self._settings = lru_cache(maxsize=None)(settings_in_words)

    @property
    def is_part(self) -> bool:
        """Whether some sessions of the journal were not chosen."""
        return len(self.chosen.sessions) < self.totals["n_sessions"]

    def may_show(self, frames: pd.DataFrame) -> pd.DataFrame:
        """Those of some judged frames that are of a chosen session or were chosen one by one."""
        return frames[frames["session"].isin(self.chosen.sessions) | frames["frame_id"].isin(self.chosen.frames)]

    @cached_property
    def ground(self) -> Ground:
        """What the estimates stand on: all judged frames of the journal."""
        return ground(self.journal)

    @cached_property
    def limits(self) -> DrawnLimits:
        """The personal limits."""
        return drawn_limits(self.journal, self.ground, may_show=self.may_show)

    @cached_property
    def drawn_habits(self) -> DrawnHabits:
        """The habits with the chart of their costs."""
        return drawn_habits(self.journal, self.ground)

    @property
    def habits(self) -> HabitsPage:
        """The habits with their costs."""
        return cast("HabitsPage", self.drawn_habits.page)  # all habits were asked for, not one

    @cached_property
    def progress(self) -> DrawnProgress:
        """The change since the first session."""
        return drawn_progress(self.ground)

    @cached_property
    def advice(self) -> AdvicePage:
        """The advice that was given and what came of it."""
        return advice_page(self.journal, self.ground)

    @cached_property
    def sessions(self) -> list[dict[str, Any]]:
        """The chosen sessions as they are shown, in the order of time."""
        gear = self._gear()
        return [self._session(number, gear.get(number, [])) for number in self.chosen.sessions]

    @property
    def last_session(self) -> dict[str, Any] | None:
        """The newest of the chosen sessions; of the whole journal the one that every page calls the last."""
        last = None if self.is_part else last_session(self.journal)
        named = [session for session in self.sessions if last is None or session["number"] == last.number]
        return named[-1] if named else None

    def _session(self, number: int, gear: list[str]) -> dict[str, Any]:
        row = self.journal.rows(queries.ONE_SESSION, {"number": number})[0]
        began, ended = (local_moment(row[name], row["time_zone"]) for name in ("started_at", "ended_at"))
        facts = [("began", began), ("ended", ended), *shown_facts(session_facts(row), row, self.asked)]
        heading = f"Session {number}, {began[:10]}"
        if self.asked.intents and row["intent"]:
            heading = f"{heading}: {row['intent']}"
        return {
            "number": number,
            "heading": heading,
            "began": began,
            "sentence": session_sentence(row),
            "facts": [*facts, *([("bodies and lenses", "; ".join(gear))] if gear else [])],
            "n_frames": row["n_frames"],
            "n_judged": row["n_judged"],
            "n_keepers": row["n_keepers"],
            "commonest_fault": row["commonest_fault"] or "",
            "is_simulated": bool(row["is_simulated"]),
            "parts": session_parts(session_course(self.journal, row)) if row["n_frames"] else [],
        }

    def _gear(self) -> dict[int, list[str]]:
        """Bodies and lenses by session; a serial number only where it is asked for."""
        found: dict[int, list[str]] = {}
        for row in self.journal.rows(GEAR_OF_SESSIONS, {"sessions": json.dumps(self.chosen.sessions)}):
            body = row["body"]
            if body and self.asked.serials and row["serial_number"]:
                body = f"{body} (serial number {row['serial_number']})"
            names = found.setdefault(row["session_id"], [])
            names.extend(name for name in (body, row["lens"]) if name and name not in names)
        return found

    def frames(self, also: Iterable[int]) -> dict[str, Any]:
        """Frames of the chosen sessions, and those shown elsewhere, column by column; words are numbers into lists."""
        numbers = {"sessions": json.dumps(self.chosen.sessions), "numbers": json.dumps(sorted(set(also)))}
        rows = self.journal.rows(PUBLISHED_FRAMES, numbers)
        places = burst_places(self.journal, self.chosen.sessions)
        settings, faults, days = _Words(), _Words(), _Words()
        table: dict[str, Any] = {
            "number": [row["frame_id"] for row in rows],
            "session": [row["session_id"] or 0 for row in rows],
            "burst": [places.get(row["burst_id"], 0) for row in rows],
            "day": [days(_day(row["taken_at"])) for row in rows],
            "second": [_second_of_day(row["taken_at"]) for row in rows],
            "verdict": [VERDICTS.index(row["verdict"]) for row in rows],
            "settings": [settings(self._settings(*(row[name] for name in SETTINGS_SHOWN))) for row in rows],
            "faults": [faults(row["faults"] or "") for row in rows],
        }
        if self.asked.file_names:
            table["name"] = [row["file_name"] for row in rows]
        words = {"settings_words": settings.known, "faults_words": faults.known, "day_words": days.known}
        return {**table, **words, "fault_names": FAULTS}


class _Words:
    """Texts that occur often as numbers into a list."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def __call__(self, word: str) -> int:
        return self._numbers.setdefault(word, len(self._numbers))

    @property
    def known(self) -> list[str]:
        return list(self._numbers)


def _day(taken_at: str | None) -> str:
    """The day on the body's clock; empty where nobody knows."""
    match = CLOCK.match(taken_at or "")
    return "" if match is None else match[1]


def _second_of_day(taken_at: str | None) -> int:
    """Seconds since midnight on the body's clock; -1 where nobody knows."""
    match = CLOCK.match(taken_at or "")
    return -1 if match is None else 3600 * int(match[2]) + 60 * int(match[3]) + int(match[4])


def choose(
    journal: OpenJournal, sessions: Iterable[int], frames: Iterable[int], period: Mapping[str, str | None]
) -> Chosen:
    """The sessions asked for, or all those of a period (`since`, `until`: days); and the frames asked for.

    Raises:
        JournalError: there is no such session or frame, or no session lies in the period.
    """
    known = [row["session_id"] for row in journal.rows(SESSIONS_WITHIN, {"since": None, "until": None})]
    wanted = set(sessions)
    for number in wanted - set(known):
        raise JournalError(
            f"There is no session {number} in this journal.", "List the sessions with: thirdstop sessions"
        )
    within = {row["session_id"] for row in journal.rows(SESSIONS_WITHIN, period)}
    if not within and known:
        raise JournalError("No session lies in this period.", "List the sessions with: thirdstop sessions")
    numbers = list(dict.fromkeys(frames))
    found = {row["frame_id"] for row in journal.rows(queries.SOME_FRAMES, {"numbers": json.dumps(numbers)})}
    for number in numbers:
        if number not in found:
            raise JournalError(f"There is no frame {number} in this journal.", "List them with: thirdstop frames")
    return Chosen([number for number in known if number in (wanted or within)], numbers)
