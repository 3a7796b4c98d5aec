"""Backups that open and hold everything, and checks that find what is broken."""

from __future__ import annotations

import os
import re
import sqlite3
from typing import TYPE_CHECKING

import pytest

from journal.errors import JournalError
from journal.records.sessions import Session
from journal.schema.migrations import STEPS, migrate
from journal.store.opening import open_journal, open_read_only, writing
from journal.store.recompute import recompute_if_needed
from journal.store.sessions import add_session
from journal.store.upkeep import back_up, check

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(tmp_path / "test.journal")
    add_session(connection, Session("2026-03-01T06:40:00Z", "2026-03-01T07:40:00Z", intent="dawn"))
    yield connection
    connection.close()


def test_a_backup_holds_what_is_committed_while_another_change_is_open(
    journal: sqlite3.Connection, tmp_path: Path
) -> None:
    other = open_journal(tmp_path / "test.journal")
    with writing(other):
        other.execute("update sessions set intent = 'dusk'")
        back_up(journal, tmp_path / "copy.journal")
    other.close()
    copy = open_journal(tmp_path / "copy.journal")
    assert copy.execute("select intent from sessions").fetchone()[0] == "dawn"
    copy.close()


def test_a_backup_replaces_nothing_unasked(journal: sqlite3.Connection, tmp_path: Path) -> None:
    target = tmp_path / "copy.journal"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(JournalError, match="There is a file at"):
        back_up(journal, target)
    assert target.read_text(encoding="utf-8") == "mine"
    assert back_up(journal, target, overwrite=True) > 4096


def test_a_sound_journal_has_no_faults(journal: sqlite3.Connection) -> None:
    assert check(journal).faults == ()


def test_a_summary_that_is_not_current_is_found(journal: sqlite3.Connection) -> None:
    journal.execute("update session_summaries set n_frames = 3")
    assert check(journal).faults == ("The summaries of 1 sessions are not current.",)


def test_a_row_that_points_nowhere_is_found(journal: sqlite3.Connection) -> None:
    journal.execute("pragma foreign_keys = off")
    journal.execute("insert into session_bodies values (1, 99)")
    assert check(journal).faults == ("1 rows point to rows that are gone.",)


def test_a_migration_makes_a_backup_first_and_takes_its_step(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    connection = open_journal(path)
    add_session(connection, Session("2026-03-01T06:40:00Z", "2026-03-01T07:40:00Z", intent="dawn"))
    backup = migrate(connection, path, (*STEPS, "create table tides (height_m real) strict;"))
    connection.execute("select height_m from tides")
    connection.close()
    assert backup == tmp_path / f"old.journal.schema-{len(STEPS)}.backup"
    copy = open_journal(backup)
    assert copy.execute("select intent from sessions").fetchone()[0] == "dawn"
    copy.close()


def test_a_journal_of_the_first_schema_keeps_what_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "first.journal"
    first = sqlite3.connect(path, isolation_level=None)
    migrate(first, path, STEPS[:1])
    first.execute(
        "insert into sessions (intent, started_at, ended_at, created_at, changed_at) "
        "values ('dawn', '2026-03-01T06:40:00Z', '2026-03-01T07:40:00Z', '', '')"
    )
    first.close()
    connection = open_journal(path)
    row = connection.execute("select intent, is_backlit, subject_depth_m from sessions").fetchone()
    assert tuple(row) == ("dawn", None, None)
    assert connection.execute("select count(*) from measurements").fetchone()[0] == 0
    assert (tmp_path / "first.journal.schema-1.backup").exists()
    connection.close()


def test_a_migration_that_fails_half_way_leaves_the_journal_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    connection = open_journal(path)
    broken = "create table tides (height_m real) strict;\ninsert into nowhere values (1);"
    with pytest.raises(sqlite3.OperationalError):
        migrate(connection, path, (*STEPS, broken))
    assert connection.execute("pragma user_version").fetchone()[0] == len(STEPS)
    assert connection.execute("select count(*) from sqlite_master where name = 'tides'").fetchone()[0] == 0
    connection.close()


def test_numbers_of_an_older_formula_are_computed_again_once(journal: sqlite3.Connection) -> None:
    journal.execute("insert into bursts (id, session_id) values (1, 1)")
    journal.execute(
        "insert into frames (id, frame_key, session_id, burst_id, file_name, exposure_time_s, f_number, iso, ev100) "
        "values (1, 'a', 1, 1, 'a', 1.0, 1.0, 100, 99.0)"
    )
    assert check(journal).faults[-1] == "1 frames have derived numbers of another version."
    assert (recompute_if_needed(journal), recompute_if_needed(journal)) == (1, 0)
    assert journal.execute("select ev100 from frames").fetchone()[0] == 0
    assert check(journal).faults == ()


def test_every_table_is_strict_and_its_references_are_checked(journal: sqlite3.Connection) -> None:
    tables = journal.execute("select name, sql from sqlite_master where type = 'table'").fetchall()
    for table in tables:
        if not table["name"].startswith("sessions_fts"):
            assert re.search(r"\) strict\b", table["sql"]), table["name"]
    assert journal.execute("pragma foreign_keys").fetchone()[0] == 1


def test_a_full_disk_is_said_in_plain_words_and_loses_nothing(journal: sqlite3.Connection) -> None:
    pages = journal.execute("pragma page_count").fetchone()[0]
    journal.execute(f"pragma max_page_count = {pages}")
    big = Session("2026-03-02T06:40:00Z", "2026-03-02T07:40:00Z", notes="long " * 200_000)
    with pytest.raises(Exception) as refused:
        add_session(journal, big)
    assert getattr(refused.value, "sqlite_errorname", "") == "SQLITE_FULL"
    assert journal.execute("select count(*) from sessions").fetchone()[0] == 1


def test_a_backup_never_replaces_the_journal_itself(journal: sqlite3.Connection, tmp_path: Path) -> None:
    (tmp_path / "link.journal").symlink_to(tmp_path / "test.journal")
    for name in ("test.journal", "link.journal"):
        with pytest.raises(JournalError, match="is the journal itself"):
            back_up(journal, tmp_path / name, overwrite=True)


def test_a_folder_is_no_target_of_a_backup_and_nothing_is_left_behind(
    journal: sqlite3.Connection, tmp_path: Path
) -> None:
    with pytest.raises(JournalError, match="is a folder"):
        back_up(journal, tmp_path, overwrite=True)
    back_up(journal, tmp_path / "copy.journal")
    assert not [path.name for path in tmp_path.iterdir() if path.name.startswith(".backup")]


@pytest.mark.parametrize("column", ["n_bursts", "n_judged", "n_keepers", "n_rejects"])
def test_every_count_of_a_summary_is_checked(journal: sqlite3.Connection, column: str) -> None:
    journal.execute(f"update session_summaries set {column} = 3")
    assert check(journal).faults == ("The summaries of 1 sessions are not current.",)


def test_a_verdict_without_history_is_found(journal: sqlite3.Connection) -> None:
    journal.execute(
        "insert into frames (frame_key, file_name, verdict, derived_version) values ('a', 'a', 'keeper', 1)"
    )
    told = "1 frames have a verdict that is not the newest of their history."
    assert told in check(journal).faults


def test_a_damaged_file_is_said_to_be_damaged(journal: sqlite3.Connection, tmp_path: Path) -> None:
    back_up(journal, tmp_path / "copy.journal")
    data = bytearray((tmp_path / "copy.journal").read_bytes())
    data[4096 * 3 : 4096 * 12] = b"\xff" * (4096 * 9)
    (tmp_path / "copy.journal").write_bytes(data)
    damaged = sqlite3.connect(tmp_path / "copy.journal")
    faults = check(damaged).faults
    damaged.close()
    assert faults and all(fault.startswith("SQLite: ") for fault in faults)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is forbidden to root")
def test_a_journal_on_a_read_only_disk_can_be_read_and_not_written(journal: sqlite3.Connection, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    back_up(journal, disk / "kept.journal")
    (disk / "kept.journal").chmod(0o444)
    disk.chmod(0o555)
    opened = open_read_only(disk / "kept.journal")
    assert opened.execute("select intent from sessions").fetchone()[0] == "dawn"
    opened.close()
    with pytest.raises(JournalError, match="cannot be written"):
        open_journal(disk / "new.journal")
    disk.chmod(0o755)
