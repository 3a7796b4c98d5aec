"""Links that let mentors in, as the journal keeps them, and the step that gives an older journal a place for them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from journals import small_journal

from journal.errors import JournalError
from journal.notation import format_instant
from journal.records.mentors import Place, Said
from journal.schema.mentors import MENTOR_LINKS
from journal.schema.migrations import STEPS, migrate, schema_version
from journal.store.mentors import add_link, link_with, newest_open_link, say, withdraw
from journal.store.opening import open_journal

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)


@pytest.fixture
def connection(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    opened = open_journal(small_journal(tmp_path / "a.journal", 1))
    yield opened
    opened.close()


def test_a_link_is_open_until_its_last_moment(connection: sqlite3.Connection) -> None:
    link = add_link(connection, "  Ada Quill ", 14, NOW)
    assert (link.mentor, link.expires_at) == ("Ada Quill", "2026-05-15T12:00:00.000Z")
    assert link_with(connection, link.key) == link
    before, after = NOW + timedelta(days=14, seconds=-1), NOW + timedelta(days=14)
    assert [link.state(format_instant(moment)) for moment in (before, after)] == ["open", "expired"]
    assert newest_open_link(connection, "Ada Quill", before) == link
    assert newest_open_link(connection, "Ada Quill", after) is None
    assert newest_open_link(connection, "Bo Ferris", before) is None


def test_a_link_is_withdrawn_once(connection: sqlite3.Connection) -> None:
    link = add_link(connection, "Ada Quill", 14, NOW)
    first = withdraw(connection, link.number, NOW + timedelta(hours=1))
    assert (first.state(format_instant(NOW)), first.withdrawn_at) == ("withdrawn", "2026-05-01T13:00:00.000Z")
    assert withdraw(connection, link.number, NOW + timedelta(hours=2)) == first
    assert newest_open_link(connection, "Ada Quill", NOW) is None
    with pytest.raises(JournalError) as caught:
        withdraw(connection, 9, NOW)
    assert str(caught.value) == (
        "There is no mentor's link 9 in this journal.\n  Next: List them: thirdstop review links"
    )


def test_two_links_have_keys_of_their_own(connection: sqlite3.Connection) -> None:
    first, second = (add_link(connection, "Ada Quill", days, NOW) for days in (14, 3))
    assert first.key != second.key
    assert newest_open_link(connection, "Ada Quill", NOW) == first  # it lasts longer


@pytest.mark.parametrize("name", ["", "   ", "a\nb", "x" * 101, "\x1b[31m"])
def test_a_name_is_one_that_can_be_printed(connection: sqlite3.Connection, name: str) -> None:
    with pytest.raises(JournalError) as caught:
        add_link(connection, name, 14, NOW)
    assert str(caught.value) == f"{name!r} is no name for a mentor.\n  Next: Use 1 to 100 printable characters."


@pytest.mark.parametrize("days", [0, -1, 367])
def test_a_link_ends_within_a_year(connection: sqlite3.Connection, days: int) -> None:
    with pytest.raises(JournalError) as caught:
        add_link(connection, "Ada Quill", days, NOW)
    assert str(caught.value) == f"A link cannot last {days} days.\n  Next: Use 1 to 366 days."


def test_what_is_said_of_a_frame_that_goes_away_stays(connection: sqlite3.Connection) -> None:
    link = add_link(connection, "Ada Quill", 14, NOW)
    assert say(connection, Said("1" * 32, Place("frame", 3), "nearer", "keeper"), link, NOW)
    assert not say(connection, Said("1" * 32, Place("frame", 3), "further away"), link, NOW)
    connection.execute("delete from frames where id = 3")
    assert [tuple(row) for row in connection.execute("select about, frame_id, body from comments")] == [
        ("frame", None, "nearer")
    ]


def test_a_journal_from_before_gets_the_table_and_keeps_its_comments(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    before = STEPS[: STEPS.index(MENTOR_LINKS)]
    import sqlite3

    old = sqlite3.connect(path, isolation_level=None)
    migrate(old, path, before)
    old.execute(
        "insert into comments (comment_key, about, body, mentor, said_at, read_at, source) "
        "values ('x', 'whole', 'kept', 'Ada Quill', 'x', 'x', 'review file')"
    )
    old.close()
    opened = open_journal(path)
    assert schema_version(opened) == len(STEPS)
    assert [tuple(row) for row in opened.execute("select body, link_id from comments")] == [("kept", None)]
    assert add_link(opened, "Ada Quill", 14, NOW).number == 1
    opened.close()
    assert path.with_name(f"old.journal.schema-{len(before)}.backup").exists()
