"""What one session's verdicts and settings say together; no estimate, only what is in the journal."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

from journal.notation import format_count
from journal.records.verdicts import PlannedAgainstUsed, Takeaway

if TYPE_CHECKING:
    import sqlite3

#: Fewer judged bursts than this say nothing about a session: frames of a burst are not independent.
ENOUGH_BURSTS = 3
#: Nominal and exact values of one setting differ (1/60 is 1/64 s): a sixth of a stop still counts as the plan.
SIXTH = 2 ** (1 / 6)

#: Settings with their plan: column of frames, lowest, highest, and the factor that a sixth of a stop is.
#: An f-number enters exposure squared, so its factor is the root.
PLANNED = (
    ("exposure_time_s", ("planned_exposure_time_min_s", "planned_exposure_time_max_s"), SIXTH),
    ("f_number", ("planned_f_number_min", "planned_f_number_max"), SIXTH**0.5),
    ("iso", ("planned_iso_min", "planned_iso_max"), SIXTH),
)

#: A session with its summary. Parameters: session id
SESSION = "select * from sessions join session_summaries on session_id = id where id = ?"
#: Bursts with a verdict. Parameters: session id
JUDGED_BURSTS = "select count(distinct burst_id) from frames where session_id = ? and verdict <> 'unjudged'"
#: Settings the photographer or the body chose for each frame; what was only stated is the plan itself.
#: Parameters: session id
USED = """
select
    case when exposure_time_source is not 'stated' then exposure_time_s end as exposure_time_s,
    case when f_number_source is not 'stated' then f_number end as f_number,
    case when iso_source is not 'stated' then iso end as iso
from frames where session_id = ?
"""


def session_takeaway(connection: sqlite3.Connection, session_id: int) -> Takeaway | None:
    """The summary of a session, or None where there is no such session."""
    session = connection.execute(SESSION, [session_id]).fetchone()
    if session is None:
        return None
    n_judged_bursts = int(connection.execute(JUDGED_BURSTS, [session_id]).fetchone()[0])
    used = connection.execute(USED, [session_id]).fetchall()
    plan = [_against_plan(session, used, *columns) for columns in PLANNED]
    return Takeaway(
        session_id=session_id,
        intent=session["intent"],
        n_judged_bursts=n_judged_bursts,
        plan=tuple(line for line in plan if line is not None),
        sentence=_sentence(session, n_judged_bursts),
        **{name: session[name] for name in _COUNTS},
    )


_COUNTS = ("n_frames", "n_bursts", "n_judged", "n_keepers", "n_rejects", "commonest_fault", "n_commonest_fault")


def _against_plan(
    session: sqlite3.Row, used: list[sqlite3.Row], column: str, ends: tuple[str, str], sixth: float
) -> PlannedAgainstUsed | None:
    values = [row[column] for row in used if row[column] is not None]
    low, high = session[ends[0]], session[ends[1]]
    if low is None or high is None or not values:
        return None
    within = sum(low / sixth <= value <= high * sixth for value in values)
    return PlannedAgainstUsed(
        column, low, high, min(values), median(values), max(values), within / len(values), len(values)
    )


def _sentence(session: sqlite3.Row, n_judged_bursts: int) -> str:
    if session["n_frames"] == 0:
        return "nothing imported yet. Next: thirdstop import CARD"
    if session["n_judged"] == 0:
        return "none judged yet. Next: thirdstop judge"
    kept = f"{format_count(session['n_keepers'], 'keeper')} of {session['n_judged']} judged"
    if n_judged_bursts < ENOUGH_BURSTS:
        return f"{kept}; not enough judged yet to say more."
    if session["n_rejects"] == 0:
        return f"{kept}; nothing was rejected."
    if session["n_commonest_fault"] == 0:
        return f"{kept}; no fault was written down."
    return (
        f"{kept}; the commonest fault is {session['commonest_fault']}, "
        f"on {session['n_commonest_fault']} of {session['n_rejects']} rejects."
    )
