"""After the pictures, the sessions: suggestions that know the burst, the intent and what is tolerated here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from analytics.examining.suggesting import agreement_of, judged_of, suggestions_of, tolerance_without
from analytics.pixels.tolerance import fitted_tolerance
from journal.store.measurements import (
    judged_and_measured,
    measured_of_session,
    sessions_left_alone,
    store_suggestions,
    suggested_in_session,
)

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Mapping

    from analytics.cli.examination import Examination
    from analytics.pixels.tolerance import Agreement, Judged, Tolerance
    from journal.errors import Problem
    from journal.records.measures import Suggestion

#: The newest judged frames that tolerance and agreement are learned from; more would only take longer.
MOST_JUDGED = 2000


@dataclass(frozen=True, slots=True)
class Outcome:
    """An examination in counts: what is suggested of the examined frames, and how that agrees with verdicts so far.

    `n_changed` counts the suggestions of frames examined earlier that are others now.
    """

    n_asked: int
    n_examined: int
    n_fine: int
    n_unsure: int
    n_by_fault: dict[str, int]
    problems: list[Problem]
    tolerance: Tolerance
    agreement: Agreement | None
    n_changed: int = 0


def look_at_sessions(
    connection: sqlite3.Connection, done: Examination, session_ids: Iterable[int], measure_version: int
) -> Outcome:
    """Looks at every session with newly examined pictures, and at the named ones again, now that more is judged.

    Args:
        connection: the open journal, for writing.
        done: the examination before it.
        session_ids: sessions that are looked at in any case.
        measure_version: measures of another version are passed over.
    """
    judged = _judged(connection, measure_version)
    learned = _learned(judged)
    tolerance = fitted_tolerance([frame for _, frame in learned])
    found, n_changed = dict(done.suggested), 0
    for session_id in dict.fromkeys([*sessions_left_alone(connection), *session_ids]):
        before = suggested_in_session(connection, session_id)
        told = suggest(connection, session_id, tolerance, measure_version)
        n_changed += _n_changed(before, {number: one for number, one in told.items() if number not in found})
        found |= {frame_id: told[frame_id] for frame_id in told.keys() & found.keys()}
    faults = [suggestion.fault for suggestion in found.values() if suggestion.fault is not None]
    return Outcome(
        n_asked=done.n_asked,
        n_examined=len(found),
        n_fine=sum(one.fault is None and not one.is_unsure for one in found.values()),
        n_unsure=sum(one.fault is None and one.is_unsure for one in found.values()),
        n_by_fault={fault: faults.count(fault) for fault in sorted(set(faults))},
        problems=done.problems,
        tolerance=tolerance,
        agreement=agreement_of(judged, _unaware(connection, learned, measure_version)) if judged else None,
        n_changed=n_changed,
    )


def look_again(connection: sqlite3.Connection, session_ids: Iterable[int], measure_version: int) -> int:
    """Makes the suggestions of sessions anew from what was measured, now that something else is stated.

    Returns:
        How many suggest something else than before.
    """
    learned = _learned(_judged(connection, measure_version))
    tolerance, n_changed = fitted_tolerance([frame for _, frame in learned]), 0
    for session_id in session_ids:
        before = suggested_in_session(connection, session_id)
        found = suggest(connection, session_id, tolerance, measure_version)
        n_changed += _n_changed(before, found)
    return n_changed


def _n_changed(before: Mapping[int, tuple[str | None, bool]], found: Mapping[int, Suggestion]) -> int:
    """How many frames are suggested something else than before."""
    return sum(before.get(number) != (one.fault, one.is_unsure) for number, one in found.items())


def _judged(connection: sqlite3.Connection, measure_version: int) -> list[dict[str, Any]]:
    return [dict(row) for row in judged_and_measured(connection, measure_version, MOST_JUDGED)]


def _learned(judged: Iterable[Mapping[str, Any]]) -> list[tuple[int | None, Judged]]:
    """Judged frames as tolerance is learned from them, each with its session."""
    return [(row["session_id"], judged_of(row)) for row in judged]


def _unaware(
    connection: sqlite3.Connection, learned: list[tuple[int | None, Judged]], measure_version: int
) -> dict[int, Suggestion]:
    """The suggestions of judged sessions as they would be without the verdicts of the session itself: what learned from
    a verdict agrees with it too easily. Nothing is stored.
    """
    found: dict[int, Suggestion] = {}
    for session_id in dict.fromkeys(session for session, _ in learned):
        found |= _suggestions(connection, session_id, tolerance_without(learned, session_id), measure_version)
    return found


def suggest(
    connection: sqlite3.Connection, session_id: int | None, tolerance: Tolerance, measure_version: int
) -> dict[int, Suggestion]:
    """Makes and stores the suggestions of one session, or of the frames of no session."""
    found = _suggestions(connection, session_id, tolerance, measure_version)
    store_suggestions(connection, found, datetime.now(UTC))
    return found


def _suggestions(
    connection: sqlite3.Connection, session_id: int | None, tolerance: Tolerance, measure_version: int
) -> dict[int, Suggestion]:
    session = connection.execute("select * from sessions where id = ?", [session_id]).fetchone()
    rows = [dict(row) for row in measured_of_session(connection, session_id, measure_version)]
    return suggestions_of(session if session is None else dict(session), rows, tolerance)
