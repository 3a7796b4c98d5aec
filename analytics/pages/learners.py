"""Several learners side by side: each journal in one line, and charts with a line for each.

Scenes differ between people more than skill does, so no rate of one is set against another's in words; what each has
become against their own beginning is, at equal scenes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.learners import COUNTED, by_setting_chart, ends_chart, over_time_chart
from analytics.pages.keepers import KeeperLine, keeper_lines
from analytics.pages.limit_words import HEADINGS, SUBJECTS, axis_names
from analytics.statistics.rates import keeper_rates
from journal.notation import capital, format_count, with_minus

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground
    from analytics.pages.limits import LimitLine
    from analytics.pages.standing import LastSession, Standing

#: As many can be told apart in one chart.
MOST_LEARNERS = 6
QUESTIONS = {
    "change": "Does each keep more than at the beginning?",
    "months": "How many does each keep, month by month?",
    "times": "How many does each keep at each exposure time?",
    "hand-held": "How slow can each hand-hold?",
    "freeze": "How slow may it be for each?",
    "iso": "How high may the ISO be for each?",
}
#: Exposure times are places in sixths of a stop.
STOP = 6
CAUTION = (
    "People shoot different scenes and judge differently, so a higher rate is not better photography: "
    "compare each with their own beginning, and look at the frames."
)

#: What begins a next step: one without the name of its journal would lead to another of those side by side.
NEXT = " Next: "


@dataclass(frozen=True, slots=True)
class Learner:
    """What is shown of one journal beside others."""

    simulated: str | None
    missing: str | None
    last: LastSession | None
    n_judged: int
    rate: KeeperLine | None
    change: tuple[float, float, float] | None
    change_verdict: str
    change_shown: str
    change_lacks: str
    costliest: str
    habit_key: str
    limits: tuple[LimitLine, ...]
    months: tuple[KeeperLine, ...]
    times: tuple[KeeperLine, ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart with the question that it answers, what it says, and its table."""

    key: str
    question: str
    sentence: str
    chart: dict[str, Any]
    columns: tuple[str, ...]
    rows: list[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class LearnersPage:
    """All learners side by side; `lines` are their names with what is known of each."""

    simulated: str | None
    sentence: str
    caution: str
    lines: list[tuple[str, Learner]]
    panels: list[Panel]


def learner(journal: OpenJournal, ground: Ground, standing: Standing) -> Learner:
    """One journal as it is shown beside others."""
    dear = standing.dear_habits[:1]
    progress = standing.progress.page
    lacks = "one session" if progress.n_sessions == 1 else ""
    if not progress.changes:
        lacks = lacks or "not enough yet"
    equal = [] if lacks else progress.changes[:1]
    return Learner(
        simulated=ground.simulated,
        missing=ground.missing.partition(NEXT)[0] if ground.missing else None,
        last=standing.last,
        n_judged=len(ground.frames),
        rate=_rate(ground),
        change=(equal[0].change, equal[0].low, equal[0].high) if equal else None,
        change_verdict=progress.verdict if equal else "not enough",
        change_shown=equal[0].shown if equal else "",
        change_lacks=lacks,
        costliest=f"{capital(dear[0].name)}: {dear[0].cost} of 100 frames" if dear else _no_habit(standing),
        habit_key=dear[0].key if dear else "",
        limits=tuple(sorted(standing.known_limits, key=place_of_limit)),
        months=tuple(line for line in keeper_lines(journal.setting_counts("month")) if line.is_known),
        times=tuple(line for line in keeper_lines(journal.setting_counts("exposure_time")) if line.is_known),
    )


def _no_habit(standing: Standing) -> str:
    return "none beyond chance" if any(line.is_enough for line in standing.habits.lines) else "not enough yet"


def place_of_limit(line: LimitLine) -> tuple[int, int, str]:
    """Limits in the order of their kinds, those of paces from the slowest to the fastest."""
    paces = list(SUBJECTS.values())
    return list(HEADINGS).index(line.kind), paces.index(line.name) if line.name in paces else 0, line.name


def _rate(ground: Ground) -> KeeperLine | None:
    """Keepers of all judged frames."""
    if ground.missing:
        return None
    row = keeper_rates(ground.frames.assign(all="all"), "all").to_dict("records")[0]
    numbers = {str(name): row[name] for name in row if name != "key"}
    return KeeperLine(labels=("all",), sort_range=None, **numbers)


def learners_page(learners: Sequence[tuple[str, Learner]]) -> LearnersPage:
    """All of them: the table first, then the charts that have something to show."""
    simulated = [name for name, one in learners if one.simulated]
    panels = [_change(learners), _months(learners), _times(learners), *(_limits(learners, kind) for kind in HEADINGS)]
    return LearnersPage(
        simulated=None if not simulated else f"Simulated data in {' and '.join(simulated)}",
        sentence=_sentence(learners),
        caution=CAUTION,
        lines=list(learners),
        panels=[panel for panel in panels if panel is not None],
    )


def _sentence(learners: Sequence[tuple[str, Learner]]) -> str:
    known = [one for _, one in learners if one.change_verdict != "not enough"]
    counted = format_count(len(learners), "journal")
    if not known:
        return f"{counted} side by side; of none is there enough yet to say whether they improve."
    better = [name for name, one in learners if one.change_verdict == "better"]
    unknown = len(learners) - len(known)
    rest = f"; of {unknown} there is not enough yet to say" if unknown else ""
    said = (
        "nobody keeps clearly more than at the beginning"
        if not better
        else (f"{' and '.join(better)} clearly {'keeps' if len(better) == 1 else 'keep'} more than at the beginning")
    )
    return f"{counted} side by side: at equal scenes {said}{rest}."


def _change(learners: Sequence[tuple[str, Learner]]) -> Panel | None:
    rows = [
        {
            "row": f"{name}{COUNTED}n {one.n_judged:,}",
            "name": name,
            **dict(zip(("estimate", "low", "high"), (100 * value for value in one.change), strict=True)),
            "description": f"{name}: {with_minus(one.change_shown)} of 100 frames, {one.change_verdict}",
        }
        for name, one in learners
        if one.change is not None
    ]
    if not rows:
        return None
    question, said = QUESTIONS["change"], f"{'; '.join(str(row['description']) for row in rows)}."
    axis: tuple[str, dict[int, str]] = ("keepers of 100 at equal scenes, from first to last day", {})
    names = [name for name, _ in learners]
    table: list[tuple[str, ...]] = [
        (name, one.change_shown or "–", one.change_lacks or one.change_verdict) for name, one in learners
    ]
    columns = ("journal", "change", "what may be said")
    return Panel("change", question, said, ends_chart(rows, names, axis, (question, said)), columns, table)


def _months(learners: Sequence[tuple[str, Learner]]) -> Panel | None:
    points = [
        _point(name, line, f"{line.label}-01", run) for name, one in learners for line, run in runs(one.months, 1)
    ]
    if not points:
        return None
    rows = within_enough(points)
    n_left_out = len({row["label"] for row in points} - {row["label"] for row in rows})
    question, said = QUESTIONS["months"], _ranges([(name, one.months) for name, one in learners])
    chart = over_time_chart(rows, [name for name, _ in learners], question, said, n_left_out)
    return Panel("months", question, said, chart, *_table("month", [(name, one.months) for name, one in learners]))


def within_enough(points: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Points from the first to the last of which there is enough to say; all where there is none.

    A frame of long ago would stretch the axis over years of nothing.
    """
    enough = [point["place"] for point in points if point["is_enough"]]
    return [point for point in points if min(enough) <= point["place"] <= max(enough)] if enough else points


def _times(learners: Sequence[tuple[str, Learner]]) -> Panel | None:
    rows = [_point(name, line, _place(line), run) for name, one in learners for line, run in runs(one.times, STOP)]
    if not rows:
        return None
    question, said = QUESTIONS["times"], _ranges([(name, one.times) for name, one in learners])
    places = [_place(line) / STOP for _, one in learners for line in one.times]
    labels = {float(STOP * stop): name for stop, name in axis_names("freeze", min(places), max(places)).items()}
    axis = "exposure time, slower to the right", labels
    chart = by_setting_chart(rows, [name for name, _ in learners], axis, (question, said))
    return Panel("times", question, said, chart, *_table("time", [(name, one.times) for name, one in learners]))


def _limits(learners: Sequence[tuple[str, Learner]], kind: str) -> Panel | None:
    found = [(name, line) for name, one in learners for line in one.limits if line.kind == kind]
    if not found:
        return None
    finite = [end for _, line in found for end in (line.estimate, line.low, line.high) if math.isfinite(end)]
    names_of_stops = axis_names(kind, min(finite) - 1, max(finite) + 1)
    first, last = min(names_of_stops), max(names_of_stops)
    rows = [
        {
            "row": f"{name}, {line.name}{COUNTED}n {line.n_frames:,}",
            "name": name,
            "estimate": line.estimate if line.bound == "both" else None,
            "low": max(line.low, first),
            "high": min(line.high, last),
            "description": f"{name}, {line.name}: {line.shown} ({line.interval}), "
            f"{format_count(line.n_frames, 'frame')}",
        }
        for name, line in sorted(found, key=lambda pair: place_of_limit(pair[1]))
    ]
    at = " at 100 mm" if kind == "hand-held" else ""
    axis = "ISO" if kind == "iso" else f"exposure time{at}, slower to the right", names_of_stops
    by_name = [
        f"{name}: {', '.join(f'{line.name} {line.shown}' for other, line in found if other == name)}"
        for name in dict.fromkeys(name for name, _ in found)
    ]
    question, said = QUESTIONS[kind], f"{'; '.join(by_name)}."
    chart = ends_chart(rows, [name for name, _ in learners], axis, (question, said))
    table: list[tuple[str, ...]] = [
        (name, line.name, line.shown, line.interval, str(line.n_frames)) for name, line in found
    ]
    return Panel(kind, question, said, chart, ("journal", "limit of", "value", "interval", "frames"), table)


def _place(line: KeeperLine) -> float:
    low, high = line.sort_range or (math.nan, math.nan)
    return (low + high) / 2


def runs(lines: Sequence[KeeperLine], reach: float) -> list[tuple[KeeperLine, int | None]]:
    """Each line with the run that it is of: neighbours no further apart than `reach` of which there is enough to say.

    A line that stands alone, or of which there is not enough, is of none.
    """
    runs: list[list[int]] = []
    for number, line in enumerate(lines):
        before = runs[-1][-1] if runs else None
        if not line.is_enough:
            continue
        if before is not None and before == number - 1 and _place(line) - _place(lines[before]) <= reach:
            runs[-1].append(number)
        else:
            runs.append([number])
    found = {number: place for place, run in enumerate(runs) if len(run) > 1 for number in run}
    return [(line, found.get(number)) for number, line in enumerate(lines)]


def _point(name: str, line: KeeperLine, place: float | str, run: int | None) -> dict[str, Any]:
    numbers = ("estimate", "low", "high", "n_frames", "is_enough")
    return {
        "name": name,
        "place": place,
        "label": line.label,
        "run": run,
        **{key: getattr(line, key) for key in numbers},
    }


def _ranges(found: Sequence[tuple[str, Sequence[KeeperLine]]]) -> str:
    """The lowest and the highest rate of each that there is enough of."""
    said = []
    for name, lines in found:
        enough = sorted((line for line in lines if line.is_enough), key=lambda line: line.estimate)
        if not enough:
            said.append(f"{name}: not enough yet")
            continue
        ends = [f"{100 * line.estimate:.0f} ({line.label})" for line in (enough[0], enough[-1])]
        said.append(f"{name} keeps {' to '.join(dict.fromkeys(ends))} of 100")
    return f"{'; '.join(said)}."


def _table(
    what: str, found: Sequence[tuple[str, Sequence[KeeperLine]]]
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    rows: list[tuple[str, ...]] = [
        (name, line.label, line.share, str(line.n_frames), "" if line.is_enough else "not enough yet")
        for name, lines in found
        for line in lines
    ]
    return ("journal", what, "keepers of 100", "frames", "remark"), rows
