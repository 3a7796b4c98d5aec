"""Taking sure suggestions as verdicts, at one go, and what is left for the eyes.

Only a person makes a suggestion a verdict: here at one go for all that are sure enough, with a summary before. A reject
is taken where a fault is at least so probable; a keeper where it is at least so probable that the frame has none of the
faults. What cannot be told, and what somebody judged already, is never taken.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_count
from journal.records.measures import ACCEPTED
from journal.records.verdicts import Verdict
from journal.store.judging import suggestion_in
from journal.store.opening import writing
from journal.store.verdicts import record

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable
    from datetime import datetime

    from journal.records.measures import Suggestion

#: Below this a suggestion is as likely wrong as right.
LEAST_SURE = 0.5

#: Unjudged frames with their suggestions. Parameters: :session_id or null
UNJUDGED = """
select
    frames.id as frame_id, frames.file_name, frames.session_id, frames.burst_id, frames.exposure_time_s,
    frames.f_number, frames.iso, suggestions.fault, suggestions.probability, suggestions.is_unsure,
    suggestions.probabilities, suggestions.evidence, suggestions.model_version, unexamined.problem as why_unexamined
from frames
left join suggestions on suggestions.frame_id = frames.id
left join unexamined on unexamined.frame_id = frames.id
where frames.verdict = 'unjudged' and (:session_id is null or frames.session_id = :session_id)
order by frames.taken_at, frames.id
"""


@dataclass(frozen=True, slots=True)
class Acceptable:
    """What would be taken: keepers, rejects by fault, and how many unjudged frames would be left."""

    n_keepers: int
    n_rejects: int
    n_by_fault: dict[str, int]
    n_left: int


@dataclass(frozen=True, slots=True)
class ToLookAt:
    """A frame that needs eyes: what is suggested, and how sure that is; see `certainty`."""

    frame_id: int
    session_id: int | None
    file_name: str
    suggestion: Suggestion | None
    certainty: float
    why_unexamined: str | None = None


def verdict_of(frame_id: int, suggestion: Suggestion | None, above: float) -> Verdict | None:
    """The verdict that a suggestion stands for at this certainty; None where it is not sure enough.

    Args:
        frame_id: the frame.
        suggestion: what is suggested, or None.
        above: least probability of a fault, or of none at all, from 0.5 to below 1.
    """
    if suggestion is None or suggestion.is_unsure:
        return None
    sure = tuple(fault for fault, chance in suggestion.probabilities.items() if chance >= above)
    if suggestion.fault in sure:
        return Verdict(frame_id, "reject", sure)
    none = math.prod(1 - chance for chance in suggestion.probabilities.values()) if suggestion.probabilities else 0.0
    return Verdict(frame_id, "keeper") if suggestion.fault is None and none >= above else None


def acceptable(connection: sqlite3.Connection, above: float, session_id: int | None = None) -> Acceptable:
    """What `accept` would take; nothing is written.

    Raises:
        JournalError: a certainty that is none.
    """
    return _counted(*_sorted_out(connection, above, session_id))


def accept(
    connection: sqlite3.Connection, above: float, session_id: int | None, judged_by: str, now: datetime
) -> tuple[Acceptable, list[int]]:
    """Takes the sure suggestions of unjudged frames as one judging; what was taken, and the sessions touched.

    Raises:
        JournalError: a certainty that is none.
    """
    with writing(connection):
        verdicts, n_left = _sorted_out(connection, above, session_id)
        told = _counted(verdicts, n_left)
        description = f"{ACCEPTED} from {above:g} on: {_counts(told)}"
        touched = record(
            connection, verdicts, judged_by=judged_by, source="command line", judged_at=now, judging=description
        )
    return told, touched


def _counts(told: Acceptable) -> str:
    return f"{format_count(told.n_keepers, 'keeper')}, {format_count(told.n_rejects, 'reject')}"


def _sorted_out(connection: sqlite3.Connection, above: float, session_id: int | None) -> tuple[list[Verdict], int]:
    """The verdicts that unjudged frames would get, and how many frames would be left."""
    if not LEAST_SURE <= above < 1:
        raise JournalError(
            f"Suggestions cannot be accepted from {above:g} on.", "Use a probability from 0.5 to below 1, like 0.9."
        )
    rows = connection.execute(UNJUDGED, {"session_id": session_id}).fetchall()
    found = [verdict_of(row["frame_id"], suggestion_in(row), above) for row in rows]
    verdicts = [verdict for verdict in found if verdict is not None]
    return verdicts, len(found) - len(verdicts)


def _counted(verdicts: Iterable[Verdict], n_left: int) -> Acceptable:
    kinds = Counter(verdict.verdict for verdict in verdicts)
    faults = Counter(fault for verdict in verdicts for fault in verdict.faults)
    return Acceptable(kinds["keeper"], kinds["reject"], dict(faults.most_common()), n_left)


def to_look_at(connection: sqlite3.Connection, above: float, session_id: int | None = None) -> list[ToLookAt]:
    """Unjudged frames whose suggestion is not sure enough to be accepted, the easiest first and the hardest last."""
    rows = connection.execute(UNJUDGED, {"session_id": session_id}).fetchall()
    frames = [(row, suggestion_in(row)) for row in rows]
    left = [
        ToLookAt(
            row["frame_id"],
            row["session_id"],
            row["file_name"],
            suggestion,
            certainty(suggestion),
            row["why_unexamined"],
        )
        for row, suggestion in frames
        if verdict_of(row["frame_id"], suggestion, above) is None
    ]
    return sorted(left, key=lambda frame: -frame.certainty)


def certainty(suggestion: Suggestion | None) -> float:
    """How far the likeliest fault is from a toss-up: |2 p - 1|; below 0 where it cannot be told or is not examined."""
    if suggestion is None:
        return -2.0
    if suggestion.probability is None:
        return -1.0
    sure = abs(2 * suggestion.probability - 1)
    return sure - 1 if suggestion.is_unsure else sure
