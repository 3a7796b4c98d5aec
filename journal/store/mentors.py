"""Links that let mentors in, and what mentors say on pages. None of it touches the photographer's own verdicts."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.notation import format_instant
from journal.records.mentors import MentorLink, Place, Said
from journal.schema.ddl import FAULTS
from journal.store.opening import writing

if TYPE_CHECKING:
    import sqlite3

#: Longest name of a mentor and longest comment [characters], as the tables have it.
MAX_NAME, MAX_BODY = 100, 4000
#: A link that somebody misuses must not fill the journal.
MOST_SAID = 2000
#: A link lasts at most this long [days].
MOST_DAYS = 366
LINK = "select id, link_key, mentor, made_at, expires_at, withdrawn_at from mentor_links"


class NothingToStoreError(JournalError):
    """What was said makes no sense in this journal; saying it again helps nothing."""


class TooMuchSaidError(JournalError):
    """A link through which more came than one mentor can mean."""


def add_link(connection: sqlite3.Connection, mentor: str, days: int, now: datetime) -> MentorLink:
    """Makes a link for a mentor; it ends after so many days.

    Raises:
        JournalError: the name is empty, too long or not printable, or the days are none or too many.
    """
    name = checked_name(mentor)
    if not 1 <= days <= MOST_DAYS:
        raise JournalError(f"A link cannot last {days} days.", f"Use 1 to {MOST_DAYS} days.")
    made, ends = format_instant(now), format_instant(now + timedelta(days=days))
    key = secrets.token_hex(16)
    with writing(connection):
        cursor = connection.execute(
            "insert into mentor_links (link_key, mentor, made_at, expires_at) values (?, ?, ?, ?)",
            [key, name, made, ends],
        )
    return MentorLink(int(cursor.lastrowid or 0), key, name, made, ends, None)


def checked_name(mentor: str) -> str:
    """A mentor's name without blanks around it.

    Raises:
        JournalError: it is empty, too long or not printable.
    """
    name = mentor.strip()
    if not name or len(name) > MAX_NAME or not name.isprintable():
        raise JournalError(f"{mentor!r} is no name for a mentor.", f"Use 1 to {MAX_NAME} printable characters.")
    return name


def link_with(connection: sqlite3.Connection, key: str) -> MentorLink | None:
    """The link with this key, whatever its state; `None` where this journal made none."""
    found = connection.execute(f"{LINK} where link_key = ?", [key]).fetchone()
    return None if found is None else MentorLink(*found)


def newest_open_link(connection: sqlite3.Connection, mentor: str, now: datetime) -> MentorLink | None:
    """The mentor's link that lasts longest of those that still let them in."""
    sql = f"{LINK} where mentor = ? and withdrawn_at is null and expires_at > ? order by expires_at desc, id desc"
    found = connection.execute(sql, [mentor.strip(), format_instant(now)]).fetchone()
    return None if found is None else MentorLink(*found)


def withdraw(connection: sqlite3.Connection, number: int, now: datetime) -> MentorLink:
    """Withdraws a link for good; one that is withdrawn already stays as it is.

    Raises:
        JournalError: there is no such link.
    """
    with writing(connection):
        connection.execute(
            "update mentor_links set withdrawn_at = ? where id = ? and withdrawn_at is null",
            [format_instant(now), number],
        )
        found = connection.execute(f"{LINK} where id = ?", [number]).fetchone()
    if found is None:
        raise JournalError(f"There is no mentor's link {number} in this journal.", "List them: thirdstop review links")
    return MentorLink(*found)


def say(connection: sqlite3.Connection, said: Said, link: MentorLink, now: datetime) -> bool:
    """Stores what a mentor said on a page, once for each key; returns whether it was new.

    Raises:
        NothingToStoreError: nothing is said, it is too long, or it is about nothing in this journal.
        TooMuchSaidError: more has come through this link than one mentor can mean.
    """
    _refuse_nonsense(said)
    moment = format_instant(now)
    with writing(connection):
        _refuse_elsewhere(connection, said.place)
        if _is_known(connection, said.key):
            return False
        if _n_said(connection, link.number) >= MOST_SAID:
            raise TooMuchSaidError(f"{MOST_SAID} comments came through this link.", "Ask for a new one.")
        if said.body:
            _store_comment(connection, said, link, moment)
        if said.verdict:
            _store_verdict(connection, said, link, moment)
    return True


def _refuse_nonsense(said: Said) -> None:
    if not said.body and not said.verdict:
        raise NothingToStoreError("Nothing was said.", "Write a comment, or say whether you would have kept it.")
    if len(said.body) > MAX_BODY:
        raise NothingToStoreError(f"A comment of {len(said.body)} characters is too long.", f"Use at most {MAX_BODY}.")
    if said.verdict not in ("", "keeper", "reject") or set(said.faults) - set(FAULTS):
        raise NothingToStoreError(
            "There is no such verdict or fault.", f"Use keeper or reject, and: {', '.join(FAULTS)}."
        )
    if said.verdict and said.place.about != "frame":
        raise NothingToStoreError("Only a frame can be kept or rejected.", "Say it on the frame's own page.")
    if said.faults and said.verdict != "reject":
        raise NothingToStoreError("Only a reject has faults.", "Say that you would have rejected it, or name no fault.")


def _refuse_elsewhere(connection: sqlite3.Connection, place: Place) -> None:
    tables = {"session": "sessions", "frame": "frames"}
    if place.about in tables:
        sql = f"select 1 from {tables[place.about]} where id = ?"  # noqa: S608 - names of this function
        if connection.execute(sql, [place.number]).fetchone() is None:
            raise NothingToStoreError(
                f"There is no {place.about} {place.number} in this journal.", "Go to another page."
            )
    elif place.about not in ("whole", "habit") or (place.about == "habit") != bool(place.habit):
        raise NothingToStoreError("This is about nothing that can be commented on.", "Write it on a page.")


def _is_known(connection: sqlite3.Connection, key: str) -> bool:
    tables = (("comments", "comment_key"), ("mentor_verdicts", "verdict_key"))
    sqls = [f"select 1 from {table} where {column} = ?" for table, column in tables]  # noqa: S608 - names of this line
    return any(connection.execute(sql, [key]).fetchone() is not None for sql in sqls)


def _n_said(connection: sqlite3.Connection, link: int) -> int:
    sql = (
        "select (select count(*) from comments where link_id = :link) + "
        "(select count(*) from mentor_verdicts where link_id = :link)"
    )
    return int(connection.execute(sql, {"link": link}).fetchone()[0])


def _store_comment(connection: sqlite3.Connection, said: Said, link: MentorLink, moment: str) -> None:
    place = said.place
    connection.execute(
        "insert into comments (comment_key, about, session_id, frame_id, habit, body, mentor, said_at, read_at, "
        "source, link_id) values (?, ?, ?, ?, ?, ?, ?, ?, ?, 'page', ?)",
        [
            *(said.key, place.about),
            *(place.number if place.about == about else None for about in ("session", "frame")),
            *(place.habit, said.body, link.mentor, moment, moment, link.number),
        ],
    )


def _store_verdict(connection: sqlite3.Connection, said: Said, link: MentorLink, moment: str) -> None:
    cursor = connection.execute(
        "insert into mentor_verdicts (verdict_key, frame_id, verdict, mentor, said_at, read_at, source, link_id) "
        "values (?, ?, ?, ?, ?, ?, 'page', ?)",
        [said.key, said.place.number, said.verdict, link.mentor, moment, moment, link.number],
    )
    faults = [(cursor.lastrowid, fault) for fault in said.faults]
    connection.executemany("insert into mentor_verdict_faults values (?, ?)", faults)
