"""Where you stand: last session, progress, the costliest habits, limits and advice, each in one sentence."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from analytics import queries
from analytics.pages.advice import AdvicePage, advice_page
from analytics.pages.drawn import DrawnProgress, drawn_progress
from analytics.pages.habits import HabitLine, HabitsPage, habits_page
from analytics.pages.limits import WANTED_HALF_WIDTH, LimitLine, LimitsPage, limits_page
from analytics.pages.session import session_sentence
from analytics.planning.series import SIX_PER_DAY, effort
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground

#: Habits and missing evidence that are named here; their own pages hold the rest.
NAMED = 3


@dataclass(frozen=True, slots=True)
class LastSession:
    """The newest session and what came of it."""

    number: int
    date: str
    intent: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Standing:
    """All that the page shows."""

    simulated: str | None
    sentence: str
    judged: str
    last: LastSession | None
    progress: DrawnProgress
    habits: HabitsPage
    limits: LimitsPage
    advice: AdvicePage

    @property
    def dear_habits(self) -> list[HabitLine]:
        """The habits that cost most."""
        return [line for line in self.habits.lines if line.is_costly][:NAMED]

    @property
    def known_limits(self) -> list[LimitLine]:
        """The limits of which there is enough to say."""
        return [line for line in self.limits.lines if line.is_enough]

    @property
    def missing(self) -> list[str]:
        """What the journal lacks to say more."""
        return [line.surer for line in unsure_limits(self.limits)]

    @property
    def series_days(self) -> int | None:
        """Days of a test series that makes each limit of `missing` sure sooner than sessions do; `None` where not."""
        days = effort(SIX_PER_DAY, WANTED_HALF_WIDTH).n_days
        unsure = unsure_limits(self.limits)
        known = [line.n_more for line in unsure if line.bound == "both"]
        is_sooner = days is not None and bool(unsure) and all(more is None or more > days for more in known)
        return days if is_sooner else None


def unsure_limits(limits: LimitsPage) -> list[LimitLine]:
    """Limits that are not sure yet, the one that takes fewest sessions first; no more than are named."""
    unsure = [line for line in limits.lines if line.surer]
    return sorted(unsure, key=lambda line: line.n_more or math.inf)[:NAMED]


def standing(journal: OpenJournal, ground: Ground) -> Standing:
    """Reads and reckons all of it."""
    return standing_of(
        journal,
        ground,
        drawn_progress(ground),
        habits_page(journal, ground),
        limits_page(ground),
        advice_page(journal, ground),
    )


def standing_of(
    journal: OpenJournal,
    ground: Ground,
    progress: DrawnProgress,
    habits: HabitsPage,
    limits: LimitsPage,
    advice: AdvicePage,
) -> Standing:
    """The same from what is reckoned already."""
    return Standing(
        simulated=ground.simulated,
        sentence=ground.missing or kept_sentence(journal.totals()),
        judged=ground.said,
        last=last_session(journal),
        progress=progress,
        habits=habits,
        limits=limits,
        advice=advice,
    )


def kept_sentence(totals: dict[str, int]) -> str:
    """How many frames were kept, in one sentence; some are judged."""
    kept = 100 * totals["n_keepers"] / totals["n_judged"]
    judged = format_count(totals["n_judged"], "judged frame")
    return f"Of {judged}, {totals['n_keepers']:,} were kept: {kept:.0f} of 100."


def last_session(journal: OpenJournal) -> LastSession | None:
    """The session that began last; one of a day to come only where there is no other."""
    last = journal.rows(queries.LAST_SESSION, {"now": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"})
    if not last:
        return None
    row = journal.rows(queries.ONE_SESSION, {"number": last[0]["session_id"]})[0]
    return LastSession(row["session_id"], row["started_at"][:10], row["intent"] or "", session_sentence(row))
