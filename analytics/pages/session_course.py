"""What a session's frames say together: plan and use, the course of the day, faults by their number."""

from __future__ import annotations

from dataclasses import dataclass
from math import log2
from typing import TYPE_CHECKING, Any

from analytics.charts.session import COURSE_QUESTION, are_of_days, course_chart, course_shape_name
from analytics.pages.privacy import local_moment
from analytics.pages.session_shares import Counted, faults_of_rejects, keepers_along, moment_shown
from analytics.queries.session import (
    COURSE_OF_SESSION,
    FAULTS_OF_SESSION,
    JUDGED_BURSTS_OF_SESSION,
    OUTSIDE_SESSION,
    USED_IN_SESSION,
)
from journal.notation import format_count, format_exposure_time, format_f_number, format_names
from journal.optics.nominal import engraved_place, nominal_f_number_name, nominal_iso_name, nominal_time_name
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
#: What a setting below the plan is, and one above it.
SIDES = {
    "exposure_time_s": ("faster", "slower"),
    "f_number": ("wider", "narrower"),
    "iso": ("lower", "higher"),
}
#: The engraved value nearest to one of them: a median may lie between two values that a camera has.
NOMINAL: dict[str, Callable[[float], str]] = {
    "exposure_time_s": lambda seconds: nominal_time_name(_sixths(seconds)),
    "f_number": lambda f_number: nominal_f_number_name(round(12 * log2(f_number))),
    "iso": lambda iso: nominal_iso_name(round(6 * log2(iso / 100))).removeprefix("ISO "),
}


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One setting: planned, used, and how many frames lie within the plan; `outside` says on which side the others."""

    setting: str
    planned: str
    used: str
    median: str
    n_within: int
    n_frames: int
    outside: str

    @property
    def n_outside(self) -> int:
        """Frames outside the plan."""
        return self.n_frames - self.n_within


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
    planned = planned_against_used(session, used)
    plan = [_plan_line(line) for line in planned]
    times = next((_planned_times(line) for line in planned if line.setting == "exposure_time_s"), None)
    dots = [{**dot, "tv6": engraved_place(dot["tv6"])} for dot in journal.rows(COURSE_OF_SESSION, {"number": number})]
    bursts = journal.rows(JUDGED_BURSTS_OF_SESSION, {"number": number})
    return SessionCourse(
        plan_sentence=_plan_sentence(plan),
        plan=plan,
        course=_course(_together(dots), session["n_frames"], _elsewhere(journal, session), times) if dots else None,
        along=keepers_along(bursts),
        faults=faults_of_rejects(bursts, journal.rows(FAULTS_OF_SESSION, {"number": number})),
    )


def _plan_line(line: PlannedAgainstUsed) -> PlanLine:
    name, written = PLANNED[line.setting]
    return PlanLine(
        setting=name,
        planned=_span(line.planned_min, line.planned_max, written),
        used=_span(line.used_min, line.used_max, written),
        median=NOMINAL[line.setting](line.used_median),
        n_within=line.n_within,
        n_frames=line.n_frames,
        outside=_sides(line),
    )


def _sides(line: PlannedAgainstUsed) -> str:
    """On which side of the plan frames lie: all lower; 60 faster, 22 slower; empty where none does."""
    sides = [(n, way) for n, way in zip((line.n_below, line.n_above), SIDES[line.setting], strict=True) if n]
    if len(sides) == 1:
        ((n, way),) = sides
        return way if n == 1 else f"all {way}"
    return ", ".join(f"{n} {way}" for n, way in sides)


def _planned_times(line: PlannedAgainstUsed) -> tuple[int, int]:
    return engraved_place(_sixths(line.planned_min)), engraved_place(_sixths(line.planned_max))


def _sixths(seconds: float) -> int:
    return round(6 * log2(seconds))


def _span(low: float, high: float, written: Callable[[Any], str]) -> str:
    return " to ".join(dict.fromkeys((written(low), written(high))))


def _plan_sentence(plan: list[PlanLine]) -> str:
    """The settings that left the plan, the one that did so most often first, or that none did."""
    if not plan:
        return ""
    missed = sorted(
        (line for line in plan if line.n_within < line.n_frames), key=lambda line: line.n_within / line.n_frames
    )
    if not missed:
        return f"Every frame lies within the planned {format_names([line.setting for line in plan])}."
    most = missed[0]
    verb = "lies" if most.n_outside == 1 else "lie"
    first = f"{most.n_outside} of {format_count(most.n_frames, 'frame')} {verb} outside the planned {most.setting}"
    first += f" ({most.outside})"
    others = [f"{line.n_outside} outside the planned {line.setting} ({line.outside})" for line in missed[1:]]
    return f"{', '.join([first, *others[:-1]])}{''.join(f' and {last}' for last in others[-1:])}."


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


def _elsewhere(journal: OpenJournal, session: dict[str, Any]) -> str:
    """How many frames were taken at another time than the session's; empty where none was."""
    ends = {name: session[name] for name in ("started_at", "ended_at")}
    n_outside = journal.rows(OUTSIDE_SESSION, {"number": session["session_id"], **ends})[0]["n_outside"]
    if not n_outside:
        return ""
    began, ended = (local_moment(moment, session["time_zone"]) for moment in ends.values())
    until = ended if began[:10] != ended[:10] else ended[11:]
    were = "was" if n_outside == 1 else "were"
    frames = format_count(session["n_frames"], "frame")
    return f" {n_outside} of {frames} {were} taken outside the session’s time, {began} to {until}."


def _course(dots: list[dict[str, Any]], n_frames: int, outside: str, planned: tuple[int, int] | None) -> Counted:
    began = [dot["began"] for dot in dots]
    is_of_days = are_of_days(began)
    at, upto = (slice(0, 10), slice(0, 10)) if is_of_days else (slice(11, 16), slice(0, 16))
    first, last = min(began)[at], max(began)[at]
    rows = [
        {**dot, "label": nominal_time_name(dot["tv6"]), "at": moment_shown(dot["began"][:19], is_of_days)}
        for dot in dots
    ]
    counts = {verdict: sum(dot["n_frames"] for dot in dots if dot["verdict"] == verdict) for verdict in _VERDICTS}
    said = ", ".join(format_count(counts[verdict], noun) for verdict, noun in _VERDICTS.items() if counts[verdict])
    sentence = f"At {first}: {said}." if min(began)[upto] == max(began)[upto] else f"From {first} to {last}: {said}."
    if elsewhere := n_frames - sum(counts.values()):
        sentence += f" {format_count(elsewhere, 'frame')} without a time of day or an exposure time: not drawn."
    sentence += outside
    shape, chart = course_shape_name(rows, planned is not None), course_chart(rows, sentence, planned)
    return Counted(COURSE_QUESTION, sentence, shape, chart, rows)


_VERDICTS = {"keeper": "keeper", "reject": "reject", "unjudged": "unjudged frame"}
