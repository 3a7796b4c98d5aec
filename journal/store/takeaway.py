"""What one session's verdicts and settings say together; no estimate, only what is in the journal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.notation import format_count
from journal.records.planned import planned_against_used
from journal.records.verdicts import Takeaway
from journal.schema.setting_keys import CHOSEN_SETTINGS

if TYPE_CHECKING:
    import sqlite3

#: Fewer judged bursts than this say nothing about a session: frames of a burst are not independent.
ENOUGH_BURSTS = 3
#: A session with its summary. Parameters: session id
SESSION = "select * from sessions join session_summaries on session_id = id where id = ?"
#: Bursts with a verdict. Parameters: session id
JUDGED_BURSTS = "select count(distinct burst_id) from frames where session_id = ? and verdict <> 'unjudged'"
#: Settings of each frame that somebody chose. Parameters: session id
USED = f"select {CHOSEN_SETTINGS} from frames where session_id = ?"  # noqa: S608 - columns, no values


def session_takeaway(connection: sqlite3.Connection, session_id: int) -> Takeaway | None:
    """The summary of a session, or None where there is no such session."""
    session = connection.execute(SESSION, [session_id]).fetchone()
    if session is None:
        return None
    n_judged_bursts = int(connection.execute(JUDGED_BURSTS, [session_id]).fetchone()[0])
    used = connection.execute(USED, [session_id]).fetchall()
    return Takeaway(
        session_id=session_id,
        intent=session["intent"],
        n_judged_bursts=n_judged_bursts,
        plan=planned_against_used(session, used),
        sentence=_sentence(session, n_judged_bursts),
        **{name: session[name] for name in _COUNTS},
    )


_COUNTS = ("n_frames", "n_bursts", "n_judged", "n_keepers", "n_rejects", "commonest_fault", "n_commonest_fault")


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
