"""Sessions in the journal: add, change, delete, list, search."""

from __future__ import annotations

from dataclasses import asdict, fields
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from journal.errors import JournalError
from journal.notation import format_instant
from journal.records.sessions import Session
from journal.store.frames import adopt_frames
from journal.store.opening import writing
from journal.store.summaries import refresh

if TYPE_CHECKING:
    import sqlite3

#: The columns a photographer may change; names that reach SQL come from here only.
COLUMNS = tuple(field.name for field in fields(Session))


def add_session(connection: sqlite3.Connection, session: Session) -> int:
    """Stores a session, lets it take the frames of suggested sessions that lie in its time; returns its id."""
    now = format_instant(datetime.now(UTC))
    row = asdict(session) | {"created_at": now, "changed_at": now}
    marks = ", ".join(f":{name}" for name in row)
    with writing(connection):
        cursor = connection.execute(f"insert into sessions ({', '.join(row)}) values ({marks})", row)  # noqa: S608
        session_id = int(cursor.lastrowid or 0)
        touched = adopt_frames(connection, session_id)
        refresh(connection, {session_id, *touched})
    return session_id


def change_session(connection: sqlite3.Connection, session_id: int, changes: dict[str, Any]) -> None:
    """Changes the named columns of a session.

    Raises:
        JournalError: there is no such session.
    """
    get_session(connection, session_id)
    row = {name: changes[name] for name in COLUMNS if name in changes}
    row |= {"changed_at": format_instant(datetime.now(UTC)), "is_suggested": 0}
    sets = ", ".join(f"{name} = :{name}" for name in row)
    with writing(connection):
        connection.execute(f"update sessions set {sets} where id = :id", row | {"id": session_id})  # noqa: S608
        touched = adopt_frames(connection, session_id)
        refresh(connection, {session_id, *touched})


def delete_session(connection: sqlite3.Connection, session_id: int) -> int:
    """Deletes a session; its frames stay in the journal without one. Returns how many those are."""
    get_session(connection, session_id)
    with writing(connection):
        count = connection.execute("select count(*) from frames where session_id = ?", [session_id]).fetchone()[0]
        connection.execute("delete from sessions where id = ?", [session_id])
        refresh(connection, [session_id])
    return int(count)


def get_session(connection: sqlite3.Connection, session_id: int) -> sqlite3.Row:
    """One session.

    Raises:
        JournalError: there is no such session.
    """
    row: sqlite3.Row | None = connection.execute("select * from sessions where id = ?", [session_id]).fetchone()
    if row is None:
        raise JournalError(f"There is no session {session_id} in this journal.", "List them with: thirdstop sessions")
    return row


def similar_session(connection: sqlite3.Connection, intent: str, place: str) -> sqlite3.Row | None:
    """The last session at this place or with a word of this intent; failing that, the last one."""
    words = {word.lower() for word in intent.split() if len(word) > 3}
    rows = connection.execute(
        "select * from sessions where is_suggested = 0 order by started_at desc, id desc limit 200"
    ).fetchall()
    for row in rows:
        same_place = place and row["place"].lower() == place.lower()
        if same_place or words & {word.lower() for word in row["intent"].split()}:
            return row  # type: ignore[no-any-return]
    return rows[0] if rows else None


#: Sessions with their counts, oldest first. Parameters: :ids - JSON list of ids, or null for all.
LIST = """
select sessions.*, coalesce(n_frames, 0) as n_frames, coalesce(n_judged, 0) as n_judged,
       coalesce(n_keepers, 0) as n_keepers, commonest_fault
from sessions
left join session_summaries on session_summaries.session_id = sessions.id
where :ids is null or sessions.id in (select value from json_each(:ids))
order by started_at, sessions.id
"""


def list_sessions(connection: sqlite3.Connection, search: str | None = None) -> list[sqlite3.Row]:
    """Sessions with their counts, oldest first; with `search`, those whose words match."""
    import json

    ids = None if search is None else json.dumps(search_sessions(connection, search))
    return connection.execute(LIST, {"ids": ids}).fetchall()


def search_sessions(connection: sqlite3.Connection, text: str) -> list[int]:
    """Ids of the sessions whose intent, light, place or notes hold every word of the text; no word is syntax."""
    text = text.encode("utf-8", "replace").decode()  # bytes that are no text are in no session
    words = ['"' + word.replace('"', '""') + '"' for word in text.split()]
    if not words:
        return []
    found = connection.execute("select rowid from sessions_fts where sessions_fts match ?", [" ".join(words)])
    return [row[0] for row in found]
