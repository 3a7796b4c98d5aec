"""Habits: what each costs in keepers, which stand out of chance, and one habit with the frames that show it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics import queries
from analytics.pages.habit_words import (
    WATCH,
    counted,
    habit_sentence,
    habits_sentence,
    keepers_heading,
    other_advice,
    price_words,
    rejects_heading,
    remedy_words,
    surer,
    surer_habit,
)
from analytics.pages.session import FrameCard, frame_cards
from analytics.pages.shortage import light_found, light_sentence
from analytics.pages.unstated import unstated, unstated_sentence
from analytics.statistics.habit_catalogue import BY_KEY, CATALOGUE, LIGHT_WORDS
from analytics.statistics.habits import exposed, habits
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground

#: Frames shown as evidence, and as counter-examples; one of each burst.
FRAMES_SHOWN = 12
#: Columns of rejects with the fault that a remedy is for.
_COLUMN = {name: f"fault_{name}" for name in ("shake", "motion", "focus", "noise", "exposure")}


@dataclass(frozen=True, slots=True)
class HabitLine:
    """One habit: what it is, how often it occurs, and what it costs. Numbers are not-a-number where nothing is said.

    `lost`, `low` and `high` are keepers of this journal, the `_per_100` numbers keepers of 100 judged frames; `gained`
    is what the remedy would have won before its `price`, what it would have spoiled. `unstated` is what nobody stated
    of most frames, without which it cannot be seen; `no_light` are the words of which no session's light says any;
    `impossible` says why no frame judged can show it, whatever is stated.
    """

    key: str
    name: str
    definition: str
    advice: str
    kind: str
    n_frames: int
    n_bursts: int
    n_sessions: int
    lost: float
    low: float
    high: float
    lost_per_100: float
    low_per_100: float
    high_per_100: float
    gained: float
    price: float
    p_value: float
    is_costly: bool
    is_enough: bool
    unstated: str = ""
    no_light: str = ""
    impossible: str = ""

    @property
    def cost(self) -> str:
        """Keepers lost of 100 frames with the interval: 1.7 (0.9 to 2.5)."""
        if not self.is_enough:
            return ""
        lost, low, high = (round(value, 1) + 0.0 for value in (self.lost_per_100, self.low_per_100, self.high_per_100))
        return f"{lost:.1f} ({low:.1f} to {high:.1f})"

    @property
    def won(self) -> int:
        """Keepers that the change wins, as they are told: those lost to the habit and those that it spoils."""
        return round(self.lost) + round(self.price)

    @property
    def verdict(self) -> str:
        """What may be believed of it."""
        if not self.is_enough:
            if self.n_frames:
                return "not enough yet"
            if self.impossible:
                return "not seen"
            return "cannot be seen" if self.unstated else "no light described so" if self.no_light else "not seen"
        if self.is_costly:
            return "costs keepers"
        return "may be chance" if self.high_per_100 > 0 else "no cost seen"


@dataclass(frozen=True, slots=True)
class HabitsPage:
    """All habits, the costly ones first.

    `given` has the date of the advice that is being followed on a habit, by the habit's key.
    """

    simulated: str | None
    sentence: str
    judged: str
    lines: list[HabitLine]
    surer: str
    given: dict[str, str]
    light: str = ""

    @property
    def shown(self) -> list[HabitLine]:
        """The lines of the table: what nobody expects to cost anything is only shown where it seems to."""
        return [line for line in self.lines if line.key != WATCH or line.is_costly]


@dataclass(frozen=True, slots=True)
class HabitPage:
    """One habit with the frames that show it: rejects as evidence, keepers as counter-examples.

    `counted` says how many of its frames are neither; `given_on` is the date of the advice on it that is being
    followed, empty where there is none; `other_advice` says which other habit advice was given on, empty likewise.
    """

    simulated: str | None
    sentence: str
    judged: str
    line: HabitLine
    price: str
    counted: str
    given_on: str
    other_advice: str
    n_evidence: int
    n_counter: int
    evidence: list[FrameCard]
    counter: list[FrameCard]
    evidence_ids: list[int]
    counter_ids: list[int]
    surer: str

    @property
    def rejects_heading(self) -> str:
        """What the rejects are: those for the fault that the habit leads to, where it leads to one."""
        return rejects_heading(BY_KEY[self.line.key])

    @property
    def keepers_heading(self) -> str:
        """What the keepers are."""
        return keepers_heading(BY_KEY[self.line.key])

    @property
    def instead(self) -> str:
        """What is done instead, in a few words."""
        return remedy_words(BY_KEY[self.line.key])

    @property
    def is_worth_a_try(self) -> bool:
        """Whether the advice is offered: the habit costs keepers beyond chance."""
        return self.line.key != WATCH and self.line.is_costly

    @property
    def advice_heading(self) -> str:
        """What stands before the advice."""
        return "What to do" if self.is_worth_a_try else "What to do, should it cost you keepers"


def habits_page(journal: OpenJournal, ground: Ground, share_false: float = 0.10, level: float = 0.95) -> HabitsPage:
    """The habits of the catalogue.

    Args:
        journal: where the advice is.
        ground: what is judged.
        share_false: share of false alarms that is put up with among the habits said to cost keepers.
        level: coverage of the intervals, in (0, 1).
    """
    lines = [] if ground.missing else habit_lines(ground, share_false, level)
    unseen = [line.unstated for line in lines if line.verdict == "cannot be seen"]
    return HabitsPage(
        simulated=ground.simulated,
        sentence=ground.missing or habits_sentence(lines),
        judged=ground.said,
        lines=lines,
        surer=unstated_sentence(unseen) + surer(lines, len(ground.frames)) if lines else "",
        given=_given(journal),
        light=light_sentence(light_found(ground, level)),
    )


def habit_lines(ground: Ground, share_false: float = 0.10, level: float = 0.95) -> list[HabitLine]:
    """Habits with their costs: the costly ones by what is lost at least, then the others by their estimate."""
    rows = {row["key"]: row for row in habits(ground.frames, share_false, level).to_dict("records")}
    missing, kinds = unstated(ground.frames), set(ground.frames["light_kind"].dropna())
    impossible = {
        habit.key: habit.impossible
        for habit in CATALOGUE
        if habit.possible is not None and not habit.possible(ground.frames).any()
    }
    lines = [
        replace(_line(rows[habit.key], habit.key, missing, kinds), impossible=impossible.get(habit.key, ""))
        for habit in CATALOGUE
    ]
    return sorted(lines, key=_place)


def _place(line: HabitLine) -> tuple[bool, bool, bool, float]:
    lost = line.low if line.is_costly else line.lost
    return not line.is_costly, not line.is_enough, not line.n_frames, -lost if line.is_enough else 0.0


def _line(row: dict[Any, Any], key: str, missing: Mapping[str, str], kinds: set[str]) -> HabitLine:
    habit = BY_KEY[key]
    numbers = {name: row[name] for name in row if name not in ("key", "is_flagged")}
    return HabitLine(
        key=key,
        name=habit.name,
        definition=habit.definition,
        advice=habit.advice,
        kind=habit.kind,
        is_costly=row["is_flagged"],
        unstated=" and ".join(missing[name] for name in habit.needs if name in missing),
        no_light=LIGHT_WORDS[habit.light] if habit.light and habit.light not in kinds else "",
        **numbers,
    )


def habit_page(
    journal: OpenJournal,
    ground: Ground,
    key: str,
    level: float = 0.95,
    lines: list[HabitLine] | None = None,
    may_show: Callable[[pd.DataFrame], pd.DataFrame] | None = None,
) -> HabitPage:
    """One habit with its frames.

    Args:
        journal: where the frames are.
        ground: what is judged.
        key: the habit.
        level: coverage of the intervals, in (0, 1).
        lines: of all habits where they are reckoned already.
        may_show: those of some frames of which pictures and numbers may be shown; all where it is `None`.

    Raises:
        JournalError: the catalogue has no such habit.
    """
    asked, key = key, key.replace("-", "_")
    if key not in BY_KEY:
        raise JournalError(f"There is no habit {asked!r}.", f"Use one of: {', '.join(BY_KEY)}.")
    known = [] if ground.missing else lines or habit_lines(ground, level=level)
    line = next((line for line in known if line.key == key), None)
    if line is None:
        raise JournalError(
            f"Nothing is judged that could show {BY_KEY[key].name}.", "Judge frames with: thirdstop judge"
        )
    shown = ground.frames[exposed(ground.frames, key)]
    evidence, counter = shown[~shown["is_keeper"]], shown[shown["is_keeper"]]
    column = _COLUMN.get(BY_KEY[key].fault or "")
    if column:  # rejects for what the remedy is for come first
        evidence = evidence[evidence[column]]
    if column == "fault_exposure":  # too dark and too bright are one column there
        side = "underexposed" if BY_KEY[key].iso > 0 else "overexposed"
        asked_of = {"numbers": json.dumps(evidence["frame_id"].tolist()), "fault": side}
        evidence = evidence[
            evidence["frame_id"].isin({row["frame_id"] for row in journal.rows(queries.WITH_FAULT, asked_of)})
        ]
    given = _given(journal)
    return HabitPage(
        simulated=ground.simulated,
        sentence=habit_sentence(line, len(ground.frames)),
        judged=ground.said,
        line=line,
        price=price_words(line),
        counted=counted(line, len(evidence), len(counter), len(shown)),
        given_on=given.get(key, ""),
        other_advice=other_advice(given, key),
        n_evidence=len(evidence),
        n_counter=len(counter),
        evidence=frame_cards(journal, spread(journal, may_show(evidence) if may_show else evidence, FRAMES_SHOWN)),
        counter=frame_cards(journal, spread(journal, may_show(counter) if may_show else counter, FRAMES_SHOWN)),
        evidence_ids=evidence["frame_id"].tolist(),
        counter_ids=counter["frame_id"].tolist(),
        surer=surer_habit(line, len(ground.frames)),
    )


def _given(journal: OpenJournal) -> dict[str, str]:
    """When the advice was given that is being followed, by habit."""
    oldest_first = reversed(journal.rows(queries.ADVICE))
    return {row["habit"]: row["given_at"][:10] for row in oldest_first if row["ended_at"] is None}


def spread(journal: OpenJournal, frames: pd.DataFrame, most: int) -> list[int]:
    """Some of these frames: one of each burst, of as many sessions as there are, with a picture before without."""
    numbers = json.dumps(frames["frame_id"].tolist())
    seen = {row["frame_id"] for row in journal.rows(queries.WITH_PREVIEW, {"numbers": numbers})}
    unseen = ~frames["frame_id"].isin(seen)
    ordered = frames.assign(unseen=unseen).sort_values(
        ["unseen", "session", "burst", "position"], ascending=[True] + [False] * 3
    )
    one = ordered.drop_duplicates("burst")
    # each session begins with another of its bursts, so that they are not the last ones all
    of_session = one.groupby("session")["burst"]
    turn = (of_session.cumcount() + of_session.ngroup()) % of_session.transform("size")
    order = np.lexsort((-one["session"].to_numpy(), turn.to_numpy(), one["unseen"].to_numpy()))
    return [int(number) for number in one["frame_id"].to_numpy()[order][:most]]


def habits_as_json(page: HabitsPage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    lacking = light_found(ground)
    light = {"sentence": page.light, **asdict(lacking)} if lacking is not None else None
    return {
        **ground.as_json(),
        "sentence": page.sentence,
        "habits": [asdict(line) for line in page.lines],
        "missing_light": light,
    }


def habit_as_json(page: HabitPage, ground: Ground) -> dict[str, Any]:
    """All numbers of one habit, with the frames that show it."""
    frames = {"evidence": page.evidence_ids, "counter_examples": page.counter_ids}
    return {**ground.as_json(), "sentence": page.sentence, "habit": asdict(page.line), **frames}
