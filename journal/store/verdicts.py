"""Verdicts: every one is kept, the newest counts.

Newest means the latest `judged_at`; of two at the same moment, the one that was recorded later. A verdict given
directly (command line, page) adds nothing when the newest one says the same, from the same person and source. Ratings,
finished pictures and tables are read again and again, so a verdict from them adds nothing when that source's own last
word on the frame is the same: a second reading never undoes what somebody decided in between. Where a table says when
it was judged, that very entry is looked for instead.

Verdicts that were given at one go belong to one judging. A judging that was taken back stays in the history, but none
of its verdicts counts any more, so the earlier ones do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_instant
from journal.schema.ddl import FAULTS
from journal.store.opening import writing
from journal.store.summaries import refresh

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable
    from datetime import datetime

    from journal.records.verdicts import Verdict

VERDICTS = ("keeper", "reject", "unjudged")
#: Sources that are read again and again, rather than spoken once.
REPEATED_SOURCES = ("xmp", "finals", "csv")

#: Whether a verdict counts: its judging was not taken back.
COUNTS = """
not exists (select 1 from judgings where judgings.id = verdicts.judging_id and judgings.taken_back_at is not null)
"""

#: Verdicts on a frame, newest first; without the Z, "40" sorts before "40.5" as it must.
#: Parameters: :frame_id, :source - or null for all.
NEWEST = f"""
select id, verdict, judged_at, judged_by, source from verdicts
where frame_id = :frame_id and (:source is null or source = :source) and {COUNTS}
order by rtrim(judged_at, 'Z') desc, id desc limit 1
"""  # noqa: S608 - names of this file

#: The entry that a dated verdict would repeat. Parameters: :frame_id, :judged_at, :source
SAME_MOMENT = f"""
select id, verdict, judged_by, source from verdicts
where frame_id = :frame_id and judged_at = :judged_at and source = :source and {COUNTS}
order by id desc limit 1
"""  # noqa: S608 - names of this file

#: Every verdict on a frame, oldest first, also those that were taken back. Parameters: frame id
HISTORY = """
select verdict, verdicts.judged_at, verdicts.judged_by, verdicts.source,
    (select group_concat(fault, '; ') from verdict_faults where verdict_id = verdicts.id) as faults,
    judgings.description as judging, judgings.taken_back_at
from verdicts
left join judgings on judgings.id = verdicts.judging_id
where frame_id = ?
order by rtrim(verdicts.judged_at, 'Z'), verdicts.id
"""


def record(
    connection: sqlite3.Connection,
    verdicts: Iterable[Verdict],
    *,
    judged_by: str,
    source: str,
    judged_at: datetime,
    judging: str | None = None,
) -> list[int]:
    """Adds verdicts to the history of their frames; returns the sessions touched.

    All of them or none go in. A verdict that its source gave before adds nothing. With `judging`, what was done in
    words, they belong to one judging that can be taken back.

    Raises:
        JournalError: an unknown frame, verdict or fault, or a keeper with a fault.
    """
    touched: set[int | None] = set()
    judging_id: int | None = None
    with writing(connection):
        for verdict in verdicts:
            refuse_nonsense(verdict)
            origin = (
                format_instant(verdict.judged_at or judged_at),
                verdict.judged_by or judged_by,
                source,
            )
            session_id = _session_of(connection, verdict.frame_id)
            if _is_news(connection, verdict, origin):
                if judging is not None and judging_id is None:
                    judging_id = begin_judging(connection, judging, judged_by, judged_at)
                add(connection, verdict, origin, judging_id)
                touched.add(session_id)
        refresh(connection, touched)
    return sorted(number for number in touched if number is not None)


def begin_judging(connection: sqlite3.Connection, description: str, judged_by: str, made_at: datetime) -> int:
    """Notes that verdicts are given at one go; returns the judging's id."""
    cursor = connection.execute(
        "insert into judgings (made_at, judged_by, description) values (?, ?, ?)",
        [format_instant(made_at), judged_by, description],
    )
    return int(cursor.lastrowid or 0)


def would_add(connection: sqlite3.Connection, verdicts: Iterable[Verdict], *, judged_by: str, source: str) -> int:
    """How many of these verdicts `record` would add; nothing is written.

    Raises:
        JournalError: what `record` would refuse.
    """
    n_news = 0
    for verdict in verdicts:
        refuse_nonsense(verdict)
        _session_of(connection, verdict.frame_id)
        moment = format_instant(verdict.judged_at) if verdict.judged_at else ""
        n_news += _is_news(connection, verdict, (moment, verdict.judged_by or judged_by, source))
    return n_news


def refuse_nonsense(verdict: Verdict) -> None:
    """Refuses a verdict that no journal can hold.

    Raises:
        JournalError: an unknown verdict or fault, or a fault on a frame that is no reject.
    """
    if verdict.verdict not in VERDICTS:
        raise JournalError(f"{verdict.verdict!r} is no verdict.", f"Use one of: {', '.join(VERDICTS)}.")
    unknown = [fault for fault in verdict.faults if fault not in FAULTS]
    if unknown:
        raise JournalError(f"{unknown[0]!r} is no fault this journal knows.", f"Use one of: {', '.join(FAULTS)}.")
    if verdict.faults and verdict.verdict != "reject":
        raise JournalError(f"Frame {verdict.frame_id} is no reject, so it has no fault.", "Leave out the faults.")


def _session_of(connection: sqlite3.Connection, frame_id: int) -> int | None:
    frame = connection.execute("select session_id from frames where id = ?", [frame_id]).fetchone()
    if frame is None:
        raise JournalError(f"There is no frame {frame_id} in this journal.", "List the frames with: thirdstop frames")
    session_id: int | None = frame["session_id"]
    return session_id


def _is_news(connection: sqlite3.Connection, verdict: Verdict, origin: tuple[str, str, str]) -> bool:
    judged_at, judged_by, source = origin
    last = connection.execute(
        SAME_MOMENT if verdict.judged_at else NEWEST,
        {
            "frame_id": verdict.frame_id,
            "judged_at": judged_at,
            "source": source if verdict.judged_at or source in REPEATED_SOURCES else None,
        },
    ).fetchone()
    if last is None:
        return verdict.verdict != "unjudged" or _is_judged(connection, verdict.frame_id)
    same = (last["verdict"], last["judged_by"], last["source"]) == (verdict.verdict, judged_by, source)
    return not same or _faults(connection, last["id"]) != set(verdict.faults)


def _is_judged(connection: sqlite3.Connection, frame_id: int) -> bool:
    return bool(connection.execute("select verdict <> 'unjudged' from frames where id = ?", [frame_id]).fetchone()[0])


def _faults(connection: sqlite3.Connection, verdict_id: int) -> set[str]:
    return {row[0] for row in connection.execute("select fault from verdict_faults where verdict_id = ?", [verdict_id])}


def add(
    connection: sqlite3.Connection, verdict: Verdict, origin: tuple[str, str, str], judging_id: int | None = None
) -> int:
    """Adds one verdict with (judged_at, judged_by, source) to the history, without asking whether it is news.

    The summaries are not made anew. Returns the verdict's id.
    """
    cursor = connection.execute(
        "insert into verdicts (frame_id, verdict, judged_at, judged_by, source, judging_id) values (?, ?, ?, ?, ?, ?)",
        [verdict.frame_id, verdict.verdict, *origin, judging_id],
    )
    faults = [(cursor.lastrowid, fault) for fault in sorted(set(verdict.faults))]
    connection.executemany("insert into verdict_faults values (?, ?)", faults)
    repeat_newest(connection, verdict.frame_id)
    return int(cursor.lastrowid or 0)


def newest(connection: sqlite3.Connection, frame_id: int) -> sqlite3.Row | None:
    """The verdict that counts for a frame, or None where nobody judged it."""
    row: sqlite3.Row | None = connection.execute(NEWEST, {"frame_id": frame_id, "source": None}).fetchone()
    return row


def repeat_newest(connection: sqlite3.Connection, frame_id: int) -> None:
    """The frame repeats whichever verdict is newest now."""
    found = newest(connection, frame_id)
    connection.execute(
        "update frames set verdict = ? where id = ?", ["unjudged" if found is None else found["verdict"], frame_id]
    )
    connection.execute("delete from frame_faults where frame_id = ?", [frame_id])
    if found is not None:
        connection.executemany(
            "insert into frame_faults values (?, ?)",
            [(frame_id, fault) for fault in sorted(_faults(connection, found["id"]))],
        )


def history(connection: sqlite3.Connection, frame_id: int) -> list[sqlite3.Row]:
    """Every verdict on a frame, oldest first: who, when, from where, and the faults.

    Raises:
        JournalError: there is no such frame.
    """
    _session_of(connection, frame_id)
    return connection.execute(HISTORY, [frame_id]).fetchall()
