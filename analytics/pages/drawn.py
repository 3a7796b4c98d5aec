"""Limits, habits and progress with their charts and frames, for the browser; the terminal needs neither."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from analytics.charts.habits import habit_cost_chart
from analytics.charts.limits import limit_chart
from analytics.charts.progress import change_chart, timeline_chart
from analytics.pages.habits import HabitLine, HabitPage, HabitsPage, habit_page, habits_page, spread
from analytics.pages.limit_words import COUNTED_BY, HEADINGS, QUESTIONS, axis_names, value_name
from analytics.pages.limits import (
    Fits,
    LimitLine,
    LimitsPage,
    limit_fits,
    limits_page,
    lost_beyond,
)
from analytics.pages.progress import ProgressPage, progress_page, together
from analytics.pages.session import FrameCard, frame_cards
from analytics.statistics.limits import counts_of, curve_of
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground

#: Frames shown beside a limit.
FRAMES_SHOWN = 5
#: A chart begins this far on the safe side of the limit's interval [stops]; beyond it nothing happens.
SAFE_STOPS = 4.0
#: Share of frames lost at a limit, and coverage of the intervals.
TARGET, LEVEL = 0.10, 0.95
AXES = {
    "hand-held": f"{COUNTED_BY['hand-held']}, slower to the right",
    "freeze": f"{COUNTED_BY['freeze']}, slower to the right",
    "iso": COUNTED_BY["iso"],
}


@dataclass(frozen=True, slots=True)
class LimitPanel:
    """One limit: the sentence, the chart, the counts of its table, the rejects at the limit and beyond.

    `undrawn` says which counts the chart leaves to the table; empty where it shows all.
    """

    line: LimitLine
    heading: str
    question: str
    sentence: str
    chart: dict[str, Any] | None
    counts: list[dict[str, Any]]
    undrawn: str
    frames: list[FrameCard]
    n_rejects: int


@dataclass(frozen=True, slots=True)
class DrawnLimits:
    """The page of limits."""

    page: LimitsPage
    headings: dict[str, str]
    panels: list[LimitPanel]

    @property
    def simulated(self) -> str | None:
        """What to say of simulated sessions."""
        return self.page.simulated


@dataclass(frozen=True, slots=True)
class DrawnHabits:
    """The page of habits, or of one habit: exactly one of `page` and `one` is there."""

    page: HabitsPage | None
    one: HabitPage | None
    question: str
    chart: dict[str, Any] | None

    @property
    def simulated(self) -> str | None:
        """What to say of simulated sessions."""
        shown = self.page or self.one
        return shown.simulated if shown else None


@dataclass(frozen=True, slots=True)
class DrawnProgress:
    """The page of progress."""

    page: ProgressPage
    questions: tuple[str, str]
    change: dict[str, Any] | None
    timeline: dict[str, Any] | None

    @property
    def simulated(self) -> str | None:
        """What to say of simulated sessions."""
        return self.page.simulated


def drawn_limits(
    journal: OpenJournal,
    ground: Ground,
    page: LimitsPage | None = None,
    fits: Fits | None = None,
    may_show: Callable[[pd.DataFrame], pd.DataFrame] | None = None,
) -> DrawnLimits:
    """The limits with a chart each; `page` and `fits` where they are reckoned already.

    `may_show` gives those of some frames of which pictures and numbers may be shown; all where it is `None`.
    """
    found = limit_fits(ground, TARGET) if fits is None else fits
    page = page or limits_page(ground, TARGET, LEVEL, found)
    counts = {kind: counts_of(fitted) for kind, fitted in found.curves.items()}
    panels = []
    for line in page.told:
        panel, rejects = _panel(ground.frames, line, found, counts[line.kind])
        numbers = spread(journal, may_show(rejects) if may_show else rejects, FRAMES_SHOWN)
        panels.append(replace(panel, frames=frame_cards(journal, numbers)))
    return DrawnLimits(page, HEADINGS, panels)


def _panel(frames: pd.DataFrame, line: LimitLine, fits: Fits, counts: pd.DataFrame) -> tuple[LimitPanel, pd.DataFrame]:
    """A panel without its frames, and the rejects that they are chosen from."""
    key = line.name == "stabilised" if line.kind == "hand-held" else line.key
    fitted, speak = fits.curves[line.kind], fits.speaking[line.kind]
    curve = curve_of(fitted, key, LEVEL)
    rows = [{"label": value_name(line.kind, row["dose"]), **row} for row in _records(counts[counts["key"] == key])]
    question, sentence = QUESTIONS[line.kind].format(name=line.name), f"{lost_beyond(line)}."
    chart, undrawn = None, ""
    if len(curve) and rows:
        limit = {"estimate": line.estimate, "low": line.low, "high": line.high, "label": line.shown}
        if line.bound == "at least":
            limit |= {"estimate": float("inf"), "high": float("inf")}
        first = max(curve["dose"].min(), math.floor(line.low - SAFE_STOPS))
        axis = AXES[line.kind], axis_names(line.kind, first, max(curve["dose"].max(), first + 1))
        shown = _records(curve[curve["dose"] >= first]), [row for row in rows if row["dose"] >= first]
        chart = limit_chart(*shown, limit, axis, (question, sentence))
        undrawn = undrawn_counts(rows, first)
    rejects = frames[speak.has_fault & speak.at_or_beyond(fitted.rows.keys.index(key), line.estimate)]
    panel = LimitPanel(
        line=line,
        heading=line.name[:1].upper() + line.name[1:],
        question=question,
        sentence=sentence,
        chart=chart,
        counts=rows,
        undrawn=undrawn,
        frames=[],
        n_rejects=len(rejects),
    )
    return panel, rejects


def undrawn_counts(counts: Sequence[Mapping[str, Any]], first: float) -> str:
    """What a chart that begins at `first` [stops] leaves to the table, in a sentence; empty where it shows all."""
    before = [row for row in counts if row["dose"] < first and row["n_frames"]]
    if not before:
        return ""
    n_frames, n_lost = (sum(row[name] for row in before) for name in ("n_frames", "n_faults"))
    return (
        f"The chart begins after {before[-1]['label']}: {format_count(n_frames, 'frame')} on the safe side, "
        f"{n_lost or 'none'} of them lost, {'stands' if n_frames == 1 else 'stand'} in the table alone."
    )


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def drawn_habits(journal: OpenJournal, ground: Ground) -> DrawnHabits:
    """All habits with one chart of their costs."""
    page = habits_page(journal, ground, level=LEVEL)
    question = "What do your habits cost?"
    told = [line for line in page.shown if line.is_enough]
    rows = [asdict(line) | {"verdict": line.verdict} for line in told]
    return DrawnHabits(page, None, question, habit_cost_chart(rows, question, page.sentence) if rows else None)


def drawn_habit(journal: OpenJournal, ground: Ground, key: str, lines: list[HabitLine] | None = None) -> DrawnHabits:
    """One habit with its cost and its frames; `lines` of all habits where they are reckoned already.

    Raises:
        JournalError: there is no such habit, or nothing is judged.
    """
    one = habit_page(journal, ground, key, LEVEL, lines)
    question = f"What does it cost: {one.line.name}?"
    row = asdict(one.line) | {"verdict": one.line.verdict}
    chart = habit_cost_chart([row], question, one.sentence) if one.line.is_enough else None
    return DrawnHabits(None, one, question, chart)


def drawn_progress(ground: Ground) -> DrawnProgress:
    """Progress with the two changes and the sessions."""
    found = progress_page(ground, LEVEL)
    page = replace(found, points=together(found.points))
    questions = ("Do you keep more than at the beginning?", "How did it go, session by session?")
    changes = [{"name": line.name, "change": line.change, "low": line.low, "high": line.high} for line in page.changes]
    return DrawnProgress(
        page=page,
        questions=questions,
        change=change_chart(changes, questions[0], page.sentence) if changes else None,
        timeline=timeline_chart(page.points, questions[1], page.sentence) if page.points else None,
    )
