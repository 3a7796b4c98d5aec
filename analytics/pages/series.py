"""Test series: a design for every limit that is not known well yet, and what a series that was shot has found."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics import queries
from analytics.charts.limits import limit_chart
from analytics.pages.drawn import AXES, SAFE_STOPS
from analytics.pages.limit_words import HEADINGS, QUESTIONS, REFERENCE_MM, axis_names, key_name, value_name
from analytics.pages.limits import WANTED_HALF_WIDTH, limits_page
from analytics.pages.series_words import (
    series_caution,
    series_found,
    series_kept,
    series_logged,
    series_none,
    series_sentence,
    series_values,
    stops_name,
)
from analytics.planning.series import (
    N_TIMES,
    ONE_PER_SESSION,
    SIX_PER_DAY,
    BySession,
    effort,
    series_design,
    usual_limit,
)
from analytics.statistics.limits import ISO, KINDS, USUAL
from analytics.statistics.series import fit_series, limit_of, series_counts, series_curve
from journal.errors import JournalError
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from analytics.dataset import OpenJournal
    from analytics.pages.judged import Ground
    from analytics.pages.limits import LimitLine, LimitsPage
    from analytics.planning.series import Effort
    from analytics.statistics.results import SeriesLimit

#: Sessions that the page offers to read as a series; as many as a series can have.
SESSIONS_OFFERED = 60
#: The end of a limit's interval is shown so far beyond the frames of its series [stops].
SHOWN_BEYOND = 2.0
#: Chosen sessions that are named where they tell nothing.
MOST_NAMED = 6
#: Frames at each setting that the page offers: from many days with little work to few days with more. A day of a series
#: that was shot counts as the next smaller one of these.
EFFORTS = (ONE_PER_SESSION, 3, SIX_PER_DAY)


@dataclass(frozen=True, slots=True)
class AskedSeries:
    """What a visitor asks to be read: sessions of a series, and the limit that it is about."""

    sessions: tuple[int, ...] = ()
    limit: str = ""


@dataclass(frozen=True, slots=True)
class Aim:
    """A limit that a series can find. `stops` is where it is expected, `whose` says by what.

    `by_all` is what all frames together say of it, with the interval, empty where they say nothing yet; `is_known`
    whether that is sure enough.
    """

    kind: str
    key: bool | str
    stops: float
    whose: str
    by_all: str = ""
    is_known: bool = False

    @property
    def word(self) -> str:
        """How the limit is asked for."""
        return f"{self.kind}:{int(self.key) if isinstance(self.key, bool) else self.key}"

    @property
    def name(self) -> str:
        """What it is called: slowest hand-held time, stabilised."""
        return f"{HEADINGS[self.kind]}, {key_name(self.kind, self.key)}"


@dataclass(frozen=True, slots=True)
class Design:
    """How the next day of a series is shot; `otherwise` says what would do without a series, where that is less."""

    aim: Aim
    sentence: str
    values: list[str]
    kept: str
    caution: str
    logged: str
    otherwise: str = ""


@dataclass(frozen=True, slots=True)
class SessionChoice:
    """A session that may have been a day of a series."""

    number: int
    name: str
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class FoundSeries:
    """What a series has found, with its chart and its counts."""

    aim: Aim
    question: str
    sentence: str
    further: str
    chart: dict[str, Any] | None
    counts: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class SeriesPage:
    """The page of test series."""

    simulated: str | None
    sentence: str
    judged: str
    found: FoundSeries | None
    designs: list[Design]
    untold: list[str]
    efforts: list[Effort]
    aims: list[Aim]
    asked: str
    sessions: list[SessionChoice]


@dataclass(frozen=True, slots=True)
class Offered:
    """What the page says whatever is asked, and the frames that any series is read from.

    `untold` names the limits that no frame tells anything of yet, and that no series is designed for.
    """

    sentence: str
    designs: list[Design]
    untold: list[str]
    efforts: list[Effort]
    aims: list[Aim]
    frames: BySession | None


def series_page(journal: OpenJournal, ground: Ground, asked: AskedSeries, offered: Offered | None = None) -> SeriesPage:
    """Designs for what is not known yet, and what the sessions asked for have found.

    Args:
        journal: for its sessions.
        ground: the judged frames.
        asked: what a visitor asks.
        offered: where it is known already.

    Raises:
        JournalError: a session or a limit that the journal does not have.
    """
    known = offered or series_offered(journal, ground)
    numbers = _known_sessions(journal, asked.sessions)
    found = _found(known.frames, numbers, _asked_aim(known.aims, asked.limit)) if numbers else None
    designs = known.designs
    if found and not found.aim.is_known and not any(design.aim.word == found.aim.word for design in designs):
        designs = [_design(found.aim, journal.totals()["n_sessions"], ""), *designs]  # how its further days are shot
    return SeriesPage(
        simulated=ground.simulated,
        sentence=found.sentence if found else known.sentence,
        judged=ground.missing or ground.said,
        found=found,
        designs=designs,
        untold=known.untold,
        efforts=known.efforts,
        aims=known.aims,
        asked=found.aim.word if found else known.aims[0].word,
        sessions=_choices(journal, numbers),
    )


def series_offered(journal: OpenJournal, ground: Ground, limits: LimitsPage | None = None) -> Offered:
    """What does not depend on what is asked; `limits` where they are reckoned already."""
    page = limits or limits_page(ground)
    lines = page.told
    told = [_aim(line) for line in lines]
    by_hand = [_usual("hand-held", key) for key in (False, True) if not any(_is_of(aim, key) for aim in told)]
    new = by_hand if len(by_hand) == 2 else []
    unsure = [_aim(line) for line in sorted(lines, key=_is_told) if _is_wanted(line)] + new
    others = [_usual(line.kind, line.key) for line in page.lines if not line.is_told and line.kind != "hand-held"]
    aims = told + by_hand + others
    efforts = [effort(frames, WANTED_HALF_WIDTH) for frames in EFFORTS]
    n_sessions = journal.totals()["n_sessions"]
    sooner = [(aim, line) for aim, line in zip(told, lines, strict=True) if line.n_more and line.bound == "both"]
    otherwise = {(aim.kind, aim.key): line.surer for aim, line in sooner}
    return Offered(
        sentence=_sentence(len(unsure), len(told) + len(new), efforts),
        designs=[_design(aim, n_sessions, otherwise.get((aim.kind, aim.key), "")) for aim in unsure],
        untold=page.untold_of([kind for kind in KINDS if not (new and kind == "hand-held")]),
        efforts=efforts,
        aims=aims,
        frames=BySession(ground.frames) if len(ground.frames) else None,
    )


def _is_of(aim: Aim, is_stabilised: bool) -> bool:
    return aim.kind == "hand-held" and aim.key == is_stabilised


def _is_told(line: LimitLine) -> bool:
    return line.is_enough and line.bound == "both"


def _is_wanted(line: LimitLine) -> bool:
    return not _is_told(line) or bool(line.n_more)


def _aim(line: LimitLine) -> Aim:
    """The limit of a line; of one that was never reached, what is sure of it."""
    key = line.name == "stabilised" if line.kind == "hand-held" else line.key
    stops = line.estimate if line.bound == "both" else line.low
    if not math.isfinite(stops):
        return _usual(line.kind, key)
    at = f" at {REFERENCE_MM:.0f} mm" if line.kind == "hand-held" else ""
    whose = "what your frames say so far" if line.is_enough else "a first guess"
    if line.bound == "at least":
        whose = "what your frames vouch for so far"
    by_all = f"{line.shown} ({line.interval})" if _is_told(line) else ""
    return Aim(line.kind, key, stops, f"{whose}, {value_name(line.kind, stops)}{at}", by_all, not _is_wanted(line))


def _usual(kind: str, key: bool | str) -> Aim:
    return Aim(kind, key, USUAL[kind].get(key, ISO), "the usual limit, for yours is not known yet")


def _asked_aim(aims: list[Aim], word: str) -> Aim:
    for aim in aims:
        if aim.word == word or not word:
            return aim
    raise JournalError(f"There is no limit {word!r} to be found.", "Choose one of the limits on the page.")


def _known_sessions(journal: OpenJournal, asked: Sequence[int]) -> tuple[int, ...]:
    numbers = tuple(sorted(set(asked)))
    if len(numbers) > SESSIONS_OFFERED:
        raise JournalError(f"{len(numbers)} sessions are too many for a series.", f"Choose at most {SESSIONS_OFFERED}.")
    for number in numbers:
        if not journal.rows(queries.ONE_SESSION, {"number": number}):
            raise JournalError(f"There is no session {number} in this journal.", "Choose from the list on the page.")
    return numbers


def _design(aim: Aim, n_sessions: int, otherwise: str) -> Design:
    """The same order until the next session is logged, so that the page can be looked at again out there."""
    rng = np.random.default_rng(zlib.crc32(f"{aim.word} {n_sessions}".encode()))
    design = series_design(aim.stops, REFERENCE_MM, rng, ONE_PER_SESSION, aim.kind)
    return Design(
        aim=aim,
        sentence=series_sentence(design, aim.key),
        values=series_values(design),
        kept=series_kept(aim.kind, aim.key),
        caution=series_caution(aim.kind),
        logged=series_logged(aim.kind, aim.key),
        otherwise=otherwise,
    )


def _sentence(n_unsure: int, n_limits: int, efforts: list[Effort]) -> str:
    if not n_unsure:
        return f"All your {n_limits} limits are known to half a stop; no test series is needed."
    known = "is not known"
    if n_unsure == n_limits:
        which = "Your limit" if n_limits == 1 else f"None of the {n_limits} limits here"
        known = known if n_limits == 1 else "is known"
    elif n_unsure == 1:
        which = f"1 of the {n_limits} limits here"
    else:
        which, known = f"{n_unsure} of the {n_limits} limits here", "are not known"
    least, most = efforts[-1], efforts[0]
    return (
        f"{which} {known} to half a stop yet; a test series alone is expected to find one with {least.frames_a_day} "
        f"frames on each of {least.n_days} days, or with {most.frames_a_day} on each of {most.n_days}."
    )


def _found(frames: BySession | None, numbers: tuple[int, ...], aim: Aim) -> FoundSeries:
    shot = frames.shot(numbers, aim.kind, aim.key) if frames else None
    usual = usual_limit(aim.kind, aim.key)
    question = QUESTIONS[aim.kind].format(name=key_name(aim.kind, aim.key))
    if shot is None or not len(shot.day):
        judged = frames.judged(numbers) if frames else None
        return FoundSeries(aim, question, *series_none(judged, len(numbers), aim.kind, aim.key), None, [])
    fitted = fit_series(shot, usual=usual)
    found = limit_of(fitted)
    sentence = series_found(found, aim.kind, aim.key, aim.is_known)
    counts = [{"label": value_name(aim.kind, row["dose"]), **row} for row in _rows(series_counts(shot))]
    curve = _rows(series_curve(fitted))
    limit = {
        "estimate": found.estimate,
        "low": found.low,
        "high": found.high,
        "label": value_name(aim.kind, found.estimate),
    }
    doses = [row["dose"] for row in curve]
    first = max(min(doses), math.floor(found.low - SAFE_STOPS))
    axis = (
        AXES[aim.kind],
        axis_names(aim.kind, first, max(*doses, first + 1, min(found.high, max(doses) + SHOWN_BEYOND))),
    )
    shown = [row for row in curve if row["dose"] >= first], [row for row in counts if row["dose"] >= first]
    chart = limit_chart(*shown, limit, axis, (question, sentence)) if len(counts) > 1 else None
    silent = _silent([number for number in numbers if number not in set(shot.day.tolist())], len(numbers))
    return FoundSeries(aim, question, sentence, silent + _further(found, aim), chart, counts)


def _silent(without: list[int], n_chosen: int) -> str:
    """Which chosen sessions say nothing of the limit; empty where all do."""
    if not without:
        return ""
    named = ", ".join(str(number) for number in without[:MOST_NAMED])
    more = f" and {len(without) - MOST_NAMED} more" if len(without) > MOST_NAMED else ""
    told, (have, s) = format_count(n_chosen, "chosen session"), ("has", "") if len(without) == 1 else ("have", "s")
    return f"{len(without)} of {told} {have} no frame that tells this limit: session{s} {named}{more}. "


def _rows(table: Mapping[str, NDArray[Any]]) -> list[dict[str, Any]]:
    """The rows of a small table of numbers."""
    columns = {name: values.tolist() for name, values in table.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _further(found: SeriesLimit, aim: Aim) -> str:
    """What all frames say beside it, and how many days more, shot as so far, would make it sure to half a stop."""
    half = (found.high - found.low) / 2
    if aim.is_known:
        return (
            f"The series alone knows it to {stops_name(half)} either way. All your frames together say {aim.by_all}, "
            "and know it to half a stop already."
        )
    beside = f" All your frames together say {aim.by_all}." if aim.by_all else ""
    return _more_days(found, half) + beside


def _more_days(found: SeriesLimit, half: float) -> str:
    if half <= WANTED_HALF_WIDTH:
        return f"This is known to {stops_name(half)} either way; the series has done its work."
    each = max(size for size in EFFORTS if size == ONE_PER_SESSION or size <= found.n_frames / found.n_days / N_TIMES)
    wanted = effort(each, WANTED_HALF_WIDTH)
    known = f"This is known to {stops_name(half)} either way."
    if wanted.n_days is None or wanted.n_days <= found.n_days:
        return f"{known} More days make it surer."
    more = format_count(wanted.n_days - found.n_days, "more day")
    return f"{known} About {more} of {wanted.frames_a_day} frames would make it half a stop."


def _choices(journal: OpenJournal, chosen: tuple[int, ...]) -> list[SessionChoice]:
    rows = journal.kept_rows(queries.SESSION_LINES, {"limit": SESSIONS_OFFERED})
    listed = {row["session_id"] for row in rows}
    rows += [journal.rows(queries.ONE_SESSION, {"number": number})[0] for number in chosen if number not in listed]
    return [
        SessionChoice(
            number=row["session_id"],
            name=f"{row['started_at'][:10]}, {row['intent'] or 'no intent'}: "
            f"{row['n_judged']} of {format_count(row['n_frames'], 'frame')} judged",
            is_chosen=row["session_id"] in chosen,
        )
        for row in rows
    ]
