"""Advice that was given: whether it was followed, whether its fault fell, and what it gained in keepers."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.pages.habit_words import FAULTS, WATCH
from analytics.statistics.advice_effect import ENOUGH_SESSIONS, advice_effect
from analytics.statistics.habit_catalogue import BY_KEY
from analytics.statistics.results import Line
from journal.errors import JournalError
from journal.notation import capital, format_signed

if TYPE_CHECKING:
    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground
    from analytics.statistics.habit_catalogue import Habit
    from analytics.statistics.results import AdviceEffect

NO_CONTROL = (
    "Nobody shot the same scenes without the advice, so learning of another kind cannot be told apart: "
    "look first at whether it was followed."
)


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """One piece of advice and what came of it; `None` where this version knows no such habit any more."""

    number: int
    habit: str
    name: str
    advice: str
    given_on: str
    ended_on: str | None
    left_out: str
    effect: AdviceEffect | None
    sentence: str
    answers: list[tuple[str, str, str]]


@dataclass(frozen=True, slots=True)
class AdvicePage:
    """All advice that was given, the newest first."""

    simulated: str | None
    sentence: str
    judged: str
    lines: list[AdviceLine]
    surer: str

    @property
    def is_none_given(self) -> bool:
        """Whether there is none yet, so that the way goes on to the habits."""
        return self.sentence == NONE_GIVEN


def habit_for_advice(key: str) -> Habit:
    """The habit that advice is to be given on, by its key or its name.

    Raises:
        JournalError: the catalogue has no such habit, or nothing can be done about it.
    """
    known = [name for name in BY_KEY if name != WATCH]
    named = {BY_KEY[name].name.lower(): name for name in known}
    found = named.get(key.strip().lower(), key.replace("-", "_"))
    if found not in known:
        raise JournalError(f"There is no advice on {key!r}.", f"Use one of: {', '.join(known)}.")
    return BY_KEY[found]


def advice_page(journal: OpenJournal, ground: Ground, level: float = 0.95) -> AdvicePage:
    """What came of each piece of advice."""
    lines = [_line(journal, ground, row, level) for row in journal.rows(queries.ADVICE)]
    waiting = any(line.effect is not None and line.effect.verdict == "not enough" for line in lines)
    return AdvicePage(
        simulated=ground.simulated,
        sentence=lines[0].sentence if lines else ground.missing or NONE_GIVEN,
        judged=ground.said,
        lines=lines,
        surer=(f"{ENOUGH_SESSIONS} judged sessions on either side are needed. " if waiting else "")
        + (NO_CONTROL if lines else ""),
    )


NONE_GIVEN = (
    "No advice is given yet. See whether a habit costs you keepers with: thirdstop habits; if one does, write down "
    "what you will try, before the next session, with: thirdstop advice give HABIT"
)


def _line(journal: OpenJournal, ground: Ground, row: dict[str, Any], level: float) -> AdviceLine:
    habit = BY_KEY.get(row["habit"])
    effect = _effect(journal, ground.frames, row, level) if habit is not None else None
    given, ended = row["given_at"][:10], (row["ended_at"] or "")[:10] or None
    window = [(row[name] or "")[:10] for name in ("evidence_from", "evidence_until")]
    return AdviceLine(
        number=row["id"],
        habit=row["habit"],
        name=habit.name if habit else row["habit"],
        advice=row["advice"],
        given_on=given,
        ended_on=ended,
        left_out=f"{window[0]} to {window[1]}" if all(window) else "",
        effect=effect,
        sentence=advice_sentence(row["advice"], given, row["habit"], effect),
        answers=_answers(habit, effect) if habit and effect else [],
    )


def _effect(journal: OpenJournal, frames: pd.DataFrame, row: dict[str, Any], level: float) -> AdviceEffect:
    """What followed, up to the end of the advice; the sessions that led to it are left out."""
    if row["ended_at"] is not None:
        frames = frames[frames["day"] < journal.day_of(row["ended_at"])]
    evidence_from = None if row["evidence_from"] is None else journal.day_of(row["evidence_from"])
    return advice_effect(frames, journal.day_of(row["given_at"]), row["habit"], level, evidence_from)


def advice_sentence(advice: str, given: str, habit: str, effect: AdviceEffect | None) -> str:
    """What came of a piece of advice, in one sentence."""
    said = f"{advice.split('. ')[0].rstrip('.')} (given {given})"
    if effect is None:
        return f"{said}: this version knows no such habit."
    if effect.verdict == "not enough":
        return f"{said}: {effect.n_before} judged sessions before and {effect.n_after} after, not enough yet to say."
    followed = {"followed": "you follow it", "shown more": "you do it more than before"}
    fault = _counted_fault(BY_KEY.get(habit))
    change = {"fell": f"{fault} became rarer", "rose": f"{fault} became more frequent"}
    gained = {"worked": "it gains keepers", "worse": "it loses keepers"}
    parts = [
        followed.get(effect.followed.verdict, "it is not clear that you follow it"),
        change.get(effect.target_fault.verdict, f"{fault} did not clearly become rarer"),
        gained.get(effect.verdict, "it does not clearly gain keepers"),
    ]
    return f"{said}: {parts[0]}, {parts[1]}, and {parts[2]}."


def _counted_fault(habit: Habit | None) -> str:
    """What is counted before and after: the fault that a habit leads to, of exposure in either direction."""
    fault = habit.fault if habit else None
    return FAULTS.get(fault or "", "wrong exposure" if fault else "a reject of any kind")


def _answers(habit: Habit, effect: AdviceEffect) -> list[tuple[str, str, str]]:
    """Three separate answers: the question, the change of 100 frames, the verdict."""
    gain = Line(effect.gain, effect.low, effect.high, effect.verdict)
    fault = _counted_fault(habit)
    counted = f"frames with {fault}" if habit.fault else "rejects of any kind"
    return [
        ("frames that show the habit: did you follow it?", _shown(effect.followed), effect.followed.verdict),
        (f"{counted}: did they become rarer?", _shown(effect.target_fault), effect.target_fault.verdict),
        ("keepers gained by the change of settings", _shown(gain), gain.verdict),
    ]


def _shown(line: Line) -> str:
    if line.change != line.change:
        return ""
    return "{} ({} to {})".format(*(format_signed(100 * value, 1) for value in (line.change, line.low, line.high)))


def given_sentence(habit: Habit, number: int) -> str:
    """What to say when advice is given."""
    return (
        f"Advice {number} is written down, before the sessions that will tell. {capital(habit.advice)} "
        f"Frames count against it that are: {habit.definition}."
    )


def advice_as_json(page: AdvicePage, ground: Ground) -> dict[str, Any]:
    """All numbers, for scripts."""
    return {**ground.as_json(), "sentence": page.sentence, "advice": [asdict(line) for line in page.lines]}
