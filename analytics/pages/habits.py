"""Habits: what each costs in keepers, which stand out of chance, and one habit with the frames that show it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics import queries
from analytics.pages.session import FrameCard, frame_cards
from analytics.pages.shortage import light_found, light_sentence
from analytics.pages.unstated import how_to_see, unstated, unstated_sentence
from analytics.statistics.habit_catalogue import BY_KEY, CATALOGUE
from analytics.statistics.habits import ENOUGH_FRAMES, ENOUGH_SESSIONS, exposed, habits
from journal.errors import JournalError
from journal.notation import capital, format_count

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground
    from analytics.statistics.habit_catalogue import Habit

#: Frames shown as evidence, and as counter-examples; one of each burst.
FRAMES_SHOWN = 12
#: The habit that keeps watch over the method.
WATCH = "weekend"
_COLUMN = {
    "shake": "fault_shake",
    "motion": "fault_motion",
    "focus": "fault_focus",
    "noise": "fault_noise",
    "exposure": "fault_exposure",
}
#: What a fault that a habit leads to is called.
FAULTS = {
    "shake": "camera shake",
    "motion": "subject motion",
    "focus": "missed focus",
    "noise": "noise",
    "exposure": "wrong exposure",
}


@dataclass(frozen=True, slots=True)
class HabitLine:
    """One habit: what it is, how often it occurs, and what it costs. Numbers are not-a-number where nothing is said.

    `lost`, `low` and `high` are keepers of this journal, the `_per_100` numbers keepers of 100 judged frames; `gained`
    is what the remedy would have won before its `price`, what it would have spoiled. `unstated` is what nobody stated
    of most frames, without which it cannot be seen.
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
            return "not enough yet" if self.n_frames else "cannot be seen" if self.unstated else "not seen"
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
    followed, empty where there is none.
    """

    simulated: str | None
    sentence: str
    judged: str
    line: HabitLine
    price: str
    counted: str
    given_on: str
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
        fault = BY_KEY[self.line.key].fault
        return f"Rejects for {FAULTS[fault]}" if fault else "Rejects that show it"

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
    return HabitsPage(
        simulated=ground.simulated,
        sentence=ground.missing or habits_sentence(lines),
        judged=ground.said,
        lines=lines,
        surer=unstated_sentence(ground.frames) + _surer(lines) if lines else "",
        given=_given(journal),
        light=light_sentence(light_found(ground, level)),
    )


def habit_lines(ground: Ground, share_false: float = 0.10, level: float = 0.95) -> list[HabitLine]:
    """Habits with their costs: the costly ones by what is lost at least, then the others by their estimate."""
    rows = {row["key"]: row for row in habits(ground.frames, share_false, level).to_dict("records")}
    missing = unstated(ground.frames)
    lines = [_line(rows[habit.key], habit.key, missing) for habit in CATALOGUE]
    return sorted(lines, key=_place)


def _place(line: HabitLine) -> tuple[bool, bool, bool, float]:
    lost = line.low if line.is_costly else line.lost
    return not line.is_costly, not line.is_enough, not line.n_frames, -lost if line.is_enough else 0.0


def _line(row: dict[Any, Any], key: str, missing: Mapping[str, str]) -> HabitLine:
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
        **numbers,
    )


def habits_sentence(lines: list[HabitLine]) -> str:
    """What was found, in one sentence."""
    costly = [line for line in lines if line.is_costly]
    if not any(line.is_enough for line in lines if line.key != WATCH):
        return (
            f"No habit can be said to cost keepers yet: it takes {ENOUGH_FRAMES} judged frames of {ENOUGH_SESSIONS} "
            "sessions that show one, and for most habits as many that do not."
        )
    if not costly:
        hidden = sum(line.verdict == "cannot be seen" for line in lines)
        seen = f" of those that can be seen, and {hidden} cannot, for want of what is not stated" if hidden else ""
        return f"No habit costs you keepers beyond chance so far{seen}."
    worst = costly[0]
    said = f"the costliest, {worst.name}, loses {worst.cost} of 100 frames."
    if len(costly) == 1:
        return f"One habit costs you keepers beyond chance: {worst.name} loses {worst.cost} of 100 frames."
    return f"{NUMBERS.get(len(costly), str(len(costly)))} habits cost you keepers beyond chance; {said}"


#: What it takes to tell the cost of a habit, by its kind.
NEEDED = {"setting": f"{ENOUGH_FRAMES} judged frames in {ENOUGH_SESSIONS} sessions are needed"}
NEEDED["label"] = f"{NEEDED['setting']}, and as many without it"
NUMBERS = {2: "Two", 3: "Three", 4: "Four", 5: "Five", 6: "Six"}


def _surer(lines: list[HabitLine]) -> str:
    few = [line for line in lines if line.n_frames and not line.is_enough and line.key != WATCH]
    waiting = ""
    for kind, needed in NEEDED.items():
        names = "; ".join(line.name for line in few if line.kind == kind)
        waiting += f"{capital(names)}: {needed}. " if names else ""
    return f"{waiting}Every fault that is named on a reject makes a cost surer; so do more sessions, not longer ones."


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
    return HabitPage(
        simulated=ground.simulated,
        sentence=habit_sentence(line),
        judged=ground.said,
        line=line,
        price=_price(line),
        counted=_counted(line, len(evidence), len(counter), len(shown)),
        given_on=_given(journal).get(key, ""),
        n_evidence=len(evidence),
        n_counter=len(counter),
        evidence=frame_cards(journal, spread(journal, may_show(evidence) if may_show else evidence, FRAMES_SHOWN)),
        counter=frame_cards(journal, spread(journal, may_show(counter) if may_show else counter, FRAMES_SHOWN)),
        evidence_ids=evidence["frame_id"].tolist(),
        counter_ids=counter["frame_id"].tolist(),
        surer=_surer_habit(line),
    )


def _counted(line: HabitLine, n_evidence: int, n_counter: int, n_frames: int) -> str:
    """What the frames are that are neither evidence nor keepers; empty where there are none."""
    n_others = n_frames - n_evidence - n_counter
    if not n_others:
        return ""
    fault = FAULTS[BY_KEY[line.key].fault or ""]
    return (
        f"Of {format_count(n_frames, 'frame')} that show it, {n_counter:,} are keepers, {n_evidence:,} are rejected "
        f"for {fault} and {n_others:,} for something else."
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
    turn = one.groupby("session").cumcount()
    order = np.lexsort((-one["session"].to_numpy(), turn.to_numpy(), one["unseen"].to_numpy()))
    return [int(number) for number in one["frame_id"].to_numpy()[order][:most]]


def habit_sentence(line: HabitLine) -> str:
    """What one habit costs, in one sentence."""
    occurs = f"{format_count(line.n_frames, 'frame')} in {format_count(line.n_sessions, 'session')}"
    if not line.n_frames:
        if line.unstated:
            return f"{capital(line.name)}: cannot be seen: of most frames nobody stated {line.unstated}."
        return f"{capital(line.name)}: not seen among your judged frames."
    if not line.is_enough:
        return f"{capital(line.name)}: {occurs}, not enough yet to say what it costs."
    if not line.is_costly:
        lost = f"{round(line.lost):,} ({round(line.low):,} to {round(line.high):,})"
        return f"{capital(line.name)}: {occurs}; keepers lost to it: {lost}, which may be chance."
    instead = remedy_words(BY_KEY[line.key])
    kept = f"{line.lost:.0f} more ({line.low:.0f} to {line.high:.0f})"
    return f"{capital(line.name)}: {occurs}; of these you would have kept {kept} {instead}."


def remedy_words(habit: Habit) -> str:
    """What is done instead, in a sentence: two stops faster, with a stop more."""
    if habit.kind == "label":
        return "without it"
    words = []
    if habit.time:
        words.append(f"{_stops(habit.time)} {'slower' if habit.time > 0 else 'faster'}")
    if habit.aperture:
        words.append(f"{_stops(habit.aperture)} further {'closed' if habit.aperture > 0 else 'open'}")
    if habit.iso and not words:
        words.append(f"with {_stops(habit.iso)} {'more' if habit.iso > 0 else 'less'}")
    return " and ".join(words)


def _stops(stops: float) -> str:
    size = abs(stops)
    return {1.0: "a stop", 2.0: "two stops", 3.0: "three stops"}.get(size, f"{size:g} stops")


def _price(line: HabitLine) -> str:
    """What the remedy costs elsewhere."""
    if not line.is_enough or line.kind != "setting":
        return ""
    won, spoiled = format_count(line.won, "frame"), format_count(round(line.price), "other")
    return f"The change would have won about {won} and spoiled about {spoiled}; the cost above is what remains."


def _surer_habit(line: HabitLine) -> str:
    if not line.n_frames:
        return how_to_see(BY_KEY[line.key].needs, line.unstated)
    if not line.is_enough:
        return f"{capital(NEEDED[line.kind])}; {line.n_frames} in {line.n_sessions} show it."
    return "More sessions make it surer, not longer bursts; so does every fault that is named on a reject."


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
