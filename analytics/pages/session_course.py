"""What a session's frames say together: plan and use, the course of the day, faults by their number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.session import COURSE_QUESTION, course_chart, course_shape_name
from analytics.pages.session_shares import Counted, faults_of_rejects, keepers_along
from analytics.queries.session import (
    COURSE_OF_SESSION,
    FAULTS_OF_SESSION,
    JUDGED_BURSTS_OF_SESSION,
    USED_IN_SESSION,
)
from journal.notation import format_count, format_exposure_time, format_f_number
from journal.optics.nominal import nominal_time_name
from journal.records.planned import planned_against_used

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.dataset import OpenJournal
    from journal.records.planned import PlannedAgainstUsed

#: More dots than this hide each other; then frames are counted together by parts of the day.
MOST_DOTS, PARTS_OF_A_DAY = 900, 120
#: Settings that can be planned, as a photographer says them.
PLANNED: dict[str, tuple[str, Callable[[Any], str]]] = {
    "exposure_time_s": ("exposure time", format_exposure_time),
    "f_number": ("aperture", format_f_number),
    "iso": ("ISO", lambda iso: f"{iso:.0f}"),
}


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One setting: planned, used, and how many frames lie within the plan."""

    setting: str
    planned: str
    used: str
    median: str
    n_within: int
    n_frames: int


@dataclass(frozen=True, slots=True)
class SessionCourse:
    """What a session's frames say together."""

    plan_sentence: str
    plan: list[PlanLine]
    course: Counted | None
    along: Counted | None
    faults: Counted | None


def session_course(journal: OpenJournal, session: dict[str, Any]) -> SessionCourse:
    """Reads what one session's frames say together; empty where it has none.

    Args:
        session: a row of `queries.ONE_SESSION`.
    """
    number = session["session_id"]
    used = journal.rows(USED_IN_SESSION, {"number": number})
    plan = [_plan_line(line) for line in planned_against_used(session, used)]
    dots = journal.rows(COURSE_OF_SESSION, {"number": number})
    bursts = journal.rows(JUDGED_BURSTS_OF_SESSION, {"number": number})
    return SessionCourse(
        plan_sentence=_plan_sentence(plan),
        plan=plan,
        course=_course(_together(dots), session["n_frames"]) if dots else None,
        along=keepers_along(bursts),
        faults=faults_of_rejects(bursts, journal.rows(FAULTS_OF_SESSION, {"number": number})),
    )


def _plan_line(line: PlannedAgainstUsed) -> PlanLine:
    name, written = PLANNED[line.setting]
    return PlanLine(
        setting=name,
        planned=_span(line.planned_min, line.planned_max, written),
        used=_span(line.used_min, line.used_max, written),
        median=written(line.used_median),
        n_within=line.n_within,
        n_frames=line.n_frames,
    )


def _span(low: float, high: float, written: Callable[[Any], str]) -> str:
    return " to ".join(dict.fromkeys((written(low), written(high))))


def _plan_sentence(plan: list[PlanLine]) -> str:
    """The setting that left the plan most often, or that none did."""
    if not plan:
        return ""
    most = min(plan, key=lambda line: line.n_within / line.n_frames)
    outside = most.n_frames - most.n_within
    if not outside:
        return "Every frame lies within the plan."
    return f"{outside} of {format_count(most.n_frames, 'frame')} lie outside the planned {most.setting}."


def _together(dots: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Dots as they are, or, where they are too many to tell apart, counted by parts of the day."""
    if len(dots) <= MOST_DOTS:
        return dots
    counted: dict[tuple[int, int, str], dict[str, Any]] = {}
    first, last = dots[0]["seconds"], max(dot["seconds"] for dot in dots)
    width = max(1.0, (last - first) / PARTS_OF_A_DAY)
    for dot in dots:
        key = int((dot["seconds"] - first) / width), 2 * (dot["tv6"] // 2), dot["verdict"]
        kept = counted.setdefault(key, {**dot, "tv6": key[1], "n_frames": 0})
        kept["n_frames"] += dot["n_frames"]
    return list(counted.values())


def _course(dots: list[dict[str, Any]], n_frames: int) -> Counted:
    rows = [{**dot, "label": nominal_time_name(dot["tv6"])} for dot in dots]
    began = [dot["began"] for dot in dots]
    first, last = min(began)[11:16], max(began)[11:16]
    counts = {verdict: sum(dot["n_frames"] for dot in dots if dot["verdict"] == verdict) for verdict in _VERDICTS}
    said = ", ".join(format_count(counts[verdict], noun) for verdict, noun in _VERDICTS.items() if counts[verdict])
    sentence = f"At {first}: {said}." if min(began)[:16] == max(began)[:16] else f"From {first} to {last}: {said}."
    if elsewhere := n_frames - sum(counts.values()):
        sentence += f" {format_count(elsewhere, 'frame')} without a time of day or an exposure time: not drawn."
    return Counted(COURSE_QUESTION, sentence, course_shape_name(rows), course_chart(rows, sentence), rows)


_VERDICTS = {"keeper": "keeper", "reject": "reject", "unjudged": "unjudged frame"}
