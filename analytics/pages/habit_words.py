"""What a habit costs in words: in a sentence, in its table, and what would make it surer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.pages.unstated import how_to_see
from analytics.statistics.habit_catalogue import BY_KEY
from analytics.statistics.habits import ENOUGH_FRAMES, ENOUGH_SESSIONS
from journal.notation import capital, format_count, format_names

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.pages.habits import HabitLine
    from analytics.statistics.habit_catalogue import Habit

#: The habit that keeps watch over the method.
WATCH = "weekend"
#: What a fault that a habit leads to is called.
FAULTS = {"shake": "camera shake", "motion": "subject motion", "focus": "missed focus", "noise": "noise"}


def fault_name(habit: Habit) -> str:
    """The fault that a habit leads to; empty where it leads to none of its own."""
    if habit.fault == "exposure":
        return "underexposure" if habit.iso > 0 else "overexposure"
    return FAULTS.get(habit.fault or "", "")


def rejects_heading(habit: Habit) -> str:
    """What the rejects among its frames are: those for the fault that it leads to, where it leads to one."""
    fault = fault_name(habit)
    return f"Rejects for {fault}" if fault else "Rejects among these frames"


def keepers_heading(habit: Habit) -> str:
    """What the keepers among its frames are."""
    return "Keepers that it did not spoil" if habit.fault else "Keepers among these frames"


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
    said = f"the costliest, {worst.name}, loses {worst.cost} of 100 judged frames."
    if len(costly) == 1:
        return f"One habit costs you keepers beyond chance: {worst.name} loses {worst.cost} of 100 judged frames."
    return f"{NUMBERS.get(len(costly), str(len(costly)))} habits cost you keepers beyond chance; {said}"


#: What it takes to tell the cost of a habit: of its kind, or where frames with it are enough already.
NEEDED = {"setting": f"{ENOUGH_FRAMES} judged frames in {ENOUGH_SESSIONS} sessions are needed"}
NEEDED["label"] = f"{NEEDED['setting']}, and as many without it"
NEEDED["others"] = f"{ENOUGH_FRAMES} judged frames in {ENOUGH_SESSIONS} sessions without it are needed"
NUMBERS = {2: "Two", 3: "Three", 4: "Four", 5: "Five", 6: "Six"}


def _lacking(line: HabitLine) -> str:
    """What there is too little of, as `NEEDED` knows it."""
    return "others" if line.n_frames >= ENOUGH_FRAMES and line.n_sessions >= ENOUGH_SESSIONS else line.kind


def surer(lines: list[HabitLine], n_judged: int) -> str:
    """What is waited for, and what would make all costs surer; `n_judged` frames are judged in all."""
    few = [line for line in lines if line.n_frames and not line.is_enough and line.key != WATCH]
    waiting = ""
    for lacking, needed in NEEDED.items():
        names = [f"“{line.name}”" for line in few if _lacking(line) == lacking]
        each = " each" if len(names) > 1 else ""
        waiting += f"Not enough yet for {format_names(names)}: {needed}{each}. " if names else ""
    # where all sessions are so short that each frame shows a habit, it is longer ones that are missing
    is_short = any(_lacking(line) == "others" or line.n_frames == n_judged for line in few)
    longer = "" if is_short else ", not longer ones"
    return f"{waiting}To make a cost surer, name the faults of every reject and log more sessions{longer}."


def counted(line: HabitLine, n_evidence: int, n_counter: int, n_frames: int) -> str:
    """What the frames are that are neither evidence nor keepers; empty where there are none."""
    n_others = n_frames - n_evidence - n_counter
    if not n_others:
        return ""
    fault = fault_name(BY_KEY[line.key])
    return (
        f"Of {format_count(n_frames, 'frame')} that show it, {n_counter:,} are keepers, {n_evidence:,} are rejected "
        f"for {fault} and {n_others:,} for something else or without a named fault."
    )


def other_advice(given: Mapping[str, str], key: str) -> str:
    """That advice on another habit is being followed already; empty where none is.

    Args:
        given: when advice was given, by habit.
        key: the habit in question.
    """
    names = {habit: BY_KEY[habit].name if habit in BY_KEY else habit for habit in given}
    others = [f"“{names[other]}” was given on {on}" for other, on in given.items() if other != key]
    if not others:
        return ""
    return f"Advice on {format_names(others)}; one at a time, or nobody can tell which of them worked"


def habit_sentence(line: HabitLine, n_judged: int = 0) -> str:
    """What one habit costs, in one sentence; `n_judged` frames are judged in all."""
    occurs = f"{format_count(line.n_frames, 'frame')} in {format_count(line.n_sessions, 'session')}"
    if not line.n_frames:
        if line.impossible:
            return f"{capital(line.name)}: not seen, for {line.impossible}."
        if line.unstated:
            return f"{capital(line.name)}: cannot be seen: of most frames nobody stated {line.unstated}."
        if line.no_light:
            return f"{capital(line.name)}: no judged session's light is described as {line.no_light}."
        return f"{capital(line.name)}: not seen among your judged frames."
    if line.n_frames == n_judged and not line.is_enough:
        return f"{capital(line.name)}: all {n_judged:,} judged frames show it, so there is none to compare them with."
    if not line.is_enough:
        return f"{capital(line.name)}: {occurs}, not enough yet to say what it costs."
    if not line.is_costly:
        return f"{capital(line.name)}: {occurs}; {_perhaps_lost(line)}."
    instead = remedy_words(BY_KEY[line.key])
    kept = f"{line.lost:.0f} more ({line.low:.0f} to {line.high:.0f})"
    equal = ", at equal conditions" if line.kind == "label" else ""
    return f"{capital(line.name)}: {occurs}; of these you would have kept {kept} {instead}{equal}."


def _perhaps_lost(line: HabitLine) -> str:
    """What is seen to be lost where it may be chance; of a loss below nought, the keepers that are more."""
    lost, low, high = round(line.lost), round(line.low), round(line.high)
    chance = "which may be chance" if high > 0 else "so no cost is seen"
    equal, other = (
        ("at equal conditions ", "as many other frames give") if line.kind == "label" else ("", "with the remedy")
    )
    size, way = _fewer(lost).split()
    return f"{equal}{size} keepers {way} than {other} ({_fewer(low)} to {_fewer(high)}), {chance}"


def _fewer(lost: int) -> str:
    """So many keepers lost, or won where the number is below nought: 15 fewer, 3 more."""
    return f"{lost:,} fewer" if lost >= 0 else f"{-lost:,} more"


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


#: What is behind the cost of a habit that no setting remedies.
HELD_EQUAL = (
    "Compared at equal conditions: light, subject, gear, support and the other habits of this kind are held equal, and "
    "so is how well the settings suited them, so what worse settings cost is not in this number. The plain counts of "
    "keepers may say something else."
)


def price_words(line: HabitLine) -> str:
    """What the remedy costs elsewhere, or what is held equal where no setting is the remedy."""
    if not line.is_enough:
        return ""
    if line.kind == "label":
        return HELD_EQUAL
    won, spoiled = format_count(line.won, "frame"), format_count(round(line.price), "other")
    instead = remedy_words(BY_KEY[line.key])
    return (
        f"{capital(instead)}, about {won} would have been won and about {spoiled} spoiled; the cost above is what "
        "remains."
    )


def surer_habit(line: HabitLine, n_judged: int) -> str:
    """What would make one cost surer, or make the habit seen; `n_judged` frames are judged in all."""
    if not line.n_frames:
        habit = BY_KEY[line.key]
        return "" if line.impossible else how_to_see(habit.needs, line.unstated, habit.light)
    if not line.is_enough:
        none = ", none is without it" if line.n_frames == n_judged else ""
        return f"{capital(NEEDED[_lacking(line)])}; {line.n_frames:,} in {line.n_sessions:,} show it{none}."
    named = "; naming the fault of every reject helps too" if line.kind == "setting" else ""
    return f"More sessions make this number surer, longer bursts do not{named}."
