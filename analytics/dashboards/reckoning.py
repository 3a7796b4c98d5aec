"""Pages of estimates, reckoned part by part from one moment of the journal.

A page may need several parts, and a part may take seconds; between parts whoever asks can turn to another page. All
pages that are asked for in one go are of the same moment: a reading that began goes on with what it has, also while
somebody writes to the journal all the time, or it would never come to an end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from analytics.dataset import OpenJournal
from analytics.explaining.own_limits import limits_of_tables
from analytics.pages.advice import AdvicePage, advice_page
from analytics.pages.dashboard import Dashboard, dashboard
from analytics.pages.drawn import (
    DrawnHabits,
    DrawnLimits,
    DrawnProgress,
    drawn_habit,
    drawn_habits,
    drawn_limits,
    drawn_progress,
)
from analytics.pages.judged import Ground, ground
from analytics.pages.learners import Learner, learner
from analytics.pages.limits import limit_fits, limits_page
from analytics.pages.planned import PlanPage, plan_page
from analytics.pages.series import AskedSeries, SeriesPage, series_offered, series_page
from analytics.pages.standing import Standing, standing_of
from analytics.planning.own_limits import known_of_tables
from analytics.statistics.limits import limits_of
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from analytics.explaining import Limits

    Page = (
        Dashboard
        | DrawnLimits
        | DrawnHabits
        | DrawnProgress
        | AdvicePage
        | Standing
        | Learner
        | PlanPage
        | SeriesPage
        | Limits
    )

#: What a form asks, as the address says it.
Query = Mapping[str, Sequence[str]]
#: What each page is made from, beside the judged frames; a page that is not named is a part itself.
NEEDS: dict[str, tuple[str, ...]] = {
    "standing": ("fits", "progress", "habits", "limits_page", "advice"),
    "learner": ("fits", "progress", "habits", "limits_page", "advice"),
    "limits": ("fits", "limits_page", "limits"),
    "series": ("fits", "limits_page", "offered"),
    "plan": ("fits", "tables", "known"),
    "own limits": ("fits", "tables"),
}
#: Before one habit all of them are held against each other.
HABIT, NEEDED_BY_HABIT = "habits/", ("habits",)
#: Pages that answer a form.
FORMS = ("plan", "series")
#: The largest number of a row in SQLite.
LARGEST_NUMBER = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Message:
    """A page that is asked for. `is_first` begins a new reading, of the journal as it is now; no name ends it."""

    name: str
    query: Query = field(default_factory=dict)
    is_first: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """A page, or why there is none; neither where one part more was made and the page should be asked for again."""

    page: Page | None = None
    problem: str = ""
    next_step: str = ""


class Reckoner:
    """The pages of one journal; for one thread."""

    def __init__(self, path: str | Path) -> None:
        self._journal = OpenJournal(path)
        self._version: int | None = None
        self._ground: Ground | None = None
        self._parts: dict[str, Any] = {}

    def answer(self, message: Message) -> Answer:
        """A page, a part of the way to it, or why there is none."""
        if not message.name:
            self._rest()
            return Answer()
        if message.is_first:
            self._begin()
        if self._ground is None:
            self._ground = ground(self._journal)
            return Answer()
        needed = NEEDED_BY_HABIT if message.name.startswith(HABIT) else NEEDS.get(message.name, ())
        for part in needed:
            if part not in self._parts:
                self._parts[part] = self._part(part, self._ground)
                return Answer()
        try:
            return Answer(self._page(message, self._ground))
        except JournalError as error:
            return Answer(None, error.problem, error.next_step)

    def _begin(self) -> None:
        """Looks at the journal as it is now, and forgets what is older."""
        self._rest()
        version = self._journal.version()  # taken first: what is written meanwhile shows at the next look
        if version != self._version:
            self._version, self._ground, self._parts = version, None, {}
        self._journal.connection.execute("begin")

    def _rest(self) -> None:
        """Lets the journal go: a reading that is held open makes the file grow with every write."""
        if self._journal.connection.in_transaction:
            self._journal.connection.rollback()

    def _page(self, message: Message, found: Ground) -> Page:
        name = message.name
        if name == "plan":
            fields = {field: values[0] for field, values in message.query.items()}
            return plan_page(self._journal, self._parts["known"], fields)
        if name == "series":
            return series_page(self._journal, found, asked_series(message.query), self._parts["offered"])
        if name == "own limits":
            return limits_of_tables(self._parts["tables"])
        if name in ("standing", "learner"):
            progress, habits, limits_found, advice = (self._parts[part] for part in NEEDS[name][1:])
            stands = standing_of(self._journal, found, progress, habits.page, limits_found, advice)
            return stands if name == "standing" else learner(self._journal, found, stands)
        if name not in self._parts:
            self._parts[name] = self._part(name, found)
        page: Page = self._parts[name]
        return page

    def _part(self, name: str, found: Ground) -> object:
        parts: dict[str, Callable[[], object]] = {
            "fits": lambda: limit_fits(found),
            "tables": lambda: {kind: limits_of(fitted) for kind, fitted in self._parts["fits"].curves.items()},
            "known": lambda: known_of_tables(self._parts["tables"]),
            "offered": lambda: series_offered(self._journal, found, self._parts["limits_page"]),
            "limits_page": lambda: limits_page(found, fits=self._parts["fits"]),
            "limits": lambda: drawn_limits(self._journal, found, self._parts["limits_page"], self._parts["fits"]),
            "habits": lambda: drawn_habits(self._journal, found),
            "progress": lambda: drawn_progress(found),
            "advice": lambda: advice_page(self._journal, found),
            "journal": lambda: dashboard(self._journal),
        }
        if name in parts:
            return parts[name]()
        return drawn_habit(self._journal, found, name.removeprefix(HABIT), self._parts["habits"].page.lines)

    def close(self) -> None:
        """Closes the journal."""
        self._journal.close()


def asked_series(query: Query) -> AskedSeries:
    """The sessions and the limit that an address asks for.

    Raises:
        JournalError: a session that is no number.
    """
    words = query.get("sessions", [])
    for word in words:
        if not (word.isascii() and word.isdecimal() and len(word) < 20 and int(word) <= LARGEST_NUMBER):
            raise JournalError(f"{word[:40]!r} is no number of a session.", "Choose from the list on the page.")
    return AskedSeries(tuple(int(word) for word in words), query.get("limit", [""])[0])
