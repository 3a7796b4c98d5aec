"""The pages of estimates, read and reckoned in a thread of their own and kept until somebody writes to the journal.

They take longer than a page may, so they never make the others wait; a page that is asked for twice is reckoned once.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from analytics.dataset import OpenJournal
from analytics.pages.advice import AdvicePage, advice_page
from analytics.pages.drawn import (
    DrawnHabits,
    DrawnLimits,
    DrawnProgress,
    drawn_habit,
    drawn_habits,
    drawn_limits,
    drawn_progress,
)
from analytics.pages.frame import ComparisonPage, FramePage, comparison_page, frame_page, own_limits
from analytics.pages.judged import Ground, ground
from analytics.pages.learners import Learner, learner
from analytics.pages.limits import LimitsPage, limits_page
from analytics.pages.planned import PlanPage, plan_page
from analytics.pages.series import AskedSeries, SeriesPage, series_page
from analytics.pages.standing import Standing, standing
from analytics.planning.own_limits import known_limits
from journal.errors import JournalError

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.explaining import Limits
    from analytics.planning.own_limits import Known

Drawn = DrawnLimits | DrawnHabits | DrawnProgress | AdvicePage | Standing | PlanPage | SeriesPage | Learner
#: What a form asks, as the address says it.
Query = Mapping[str, Sequence[str]]
#: Pages that answer a form.
FORMS = ("plan", "series")
#: The largest number of a row in SQLite.
LARGEST_NUMBER = 2**63 - 1


def asked_series(query: Query) -> AskedSeries:
    """The sessions and the limit that an address asks for.

    Raises:
        JournalError: a session that is no number.
    """
    words = query.get("sessions", [])
    for word in words:
        if not (word.isascii() and word.isdecimal() and int(word[:20]) <= LARGEST_NUMBER and len(word) < 20):
            raise JournalError(f"{word[:40]!r} is no number of a session.", "Choose from the list on the page.")
    return AskedSeries(tuple(int(word) for word in words), query.get("limit", [""])[0])


class Estimates:
    """Limits, habits and progress of one journal, and its frames explained."""

    def __init__(self, path: Path) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="estimates")
        self._journal = self._thread.submit(OpenJournal, path).result()
        self._version: int | None = None
        self._ground: Ground | None = None
        self._kept: dict[str, Drawn] = {}
        self._limits: Limits | None = None
        self._known: Known | None = None
        self._limits_page: LimitsPage | None = None

    async def page(self, name: str, query: Query) -> Drawn:
        """One of standing, limits, habits, progress, advice, plan, series, learner, or habits/ and the key of one.

        Raises:
            JournalError: there is no such habit, or a form asks for what is not there.
        """
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._page, name, query)

    async def frame(self, number: int, other: int | None) -> FramePage | ComparisonPage:
        """One frame explained, or two side by side.

        Raises:
            JournalError: there is no such frame.
        """
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._frame, number, other)

    def _page(self, name: str, query: Query) -> Drawn:
        version = self._journal.version()  # taken first: what is written meanwhile shows at the next look
        with self._journal.snapshot():
            found = self._renewed(version)
            if name in FORMS:
                return self._answer(name, query, found)
            if name not in self._kept:
                self._kept[name] = self._reckon(name, found)
            return self._kept[name]

    def _frame(self, number: int, other: int | None) -> FramePage | ComparisonPage:
        version = self._journal.version()
        with self._journal.snapshot():
            found = self._renewed(version)
            if self._limits is None:
                self._limits = own_limits(found.frames)
            if other is None:
                return frame_page(self._journal, number, self._limits)
            return comparison_page(self._journal, number, other, self._limits)

    def _renewed(self, version: int) -> Ground:
        """What everything stands on, read again where somebody wrote to the journal."""
        if self._ground is None or version != self._version:
            self._ground, self._version = ground(self._journal), version
            self._kept, self._limits, self._known, self._limits_page = {}, None, None, None
        return self._ground

    def _answer(self, name: str, query: Query, found: Ground) -> Drawn:
        """A page that a form asks for, from what is known already."""
        if name == "plan":
            if self._known is None:
                self._known = known_limits(found.frames)
            return plan_page(self._journal, self._known, {field: values[0] for field, values in query.items()})
        if self._limits_page is None:
            self._limits_page = limits_page(found)
        return series_page(self._journal, found, asked_series(query), self._limits_page)

    def _reckon(self, name: str, found: Ground) -> Drawn:
        if name == "limits":
            return drawn_limits(self._journal, found)
        if name == "progress":
            return drawn_progress(found)
        if name == "habits":
            return drawn_habits(found)
        if name == "advice":
            return advice_page(self._journal, found)
        if name == "standing":
            return standing(self._journal, found)
        if name == "learner":
            return learner(self._journal, found, standing(self._journal, found))
        return drawn_habit(self._journal, found, name.removeprefix("habits/"))

    def close(self) -> None:
        """Closes the journal and ends the thread."""
        self._thread.submit(self._journal.close).result()
        self._thread.shutdown()
