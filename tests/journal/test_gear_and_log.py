"""Gear that is stated, frames that follow, and logging with a terminal."""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pexpect
import pytest

from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.records.sessions import Session
from journal.store.frames import body_id
from journal.store.gear import find_body, link_gear, list_bodies, state_body, state_lens
from journal.store.opening import open_journal
from journal.store.sessions import add_session, similar_session

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

INSTANT = "2026-03-01T06:40:00Z"


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(tmp_path / "test.journal")
    add_session(connection, Session(INSTANT, "2026-03-01T07:40:00Z", intent="rowing at dawn", place="Oxmere"))
    connection.execute("insert into bodies (id, make, model) values (1, 'Tidewell', 'S2')")
    connection.executemany(
        "insert into frames (id, frame_key, session_id, body_id, file_name, taken_at, exposure_time_s, "
        "focal_length_mm, focal_length_35mm, focal_length_35mm_source) values (?, ?, 1, 1, 'a', ?, 0.01, 50, ?, ?)",
        [(1, "a", "2026-03-01T07:00:00Z", None, None), (2, "b", "2026-03-01T07:00:01Z", 75, "exif")],
    )
    yield connection
    connection.close()


def test_stating_the_sensor_gives_frames_their_equivalent_focal_length(journal: sqlite3.Connection) -> None:
    state_body(journal, "S2", sensor_width_mm=23.5, sensor_height_mm=15.6)
    rows = journal.execute("select focal_length_35mm, focal_length_35mm_source from frames order by id").fetchall()
    assert [tuple(row) for row in rows] == [(76.7, "sensor"), (75.0, "exif")]


def test_the_stops_below_the_rule_follow_the_sensor(journal: sqlite3.Connection) -> None:
    import math

    state_body(journal, "S2", sensor_width_mm=23.5, sensor_height_mm=15.6)
    below = journal.execute("select stops_below_rule from frames where id = 1").fetchone()[0]
    assert below == pytest.approx(math.log2(0.01 * 76.7))


def test_a_clock_that_was_ahead_moves_its_frames_back_once(journal: sqlite3.Connection) -> None:
    for _ in range(2):
        state_body(journal, "S2", clock_offset_s=3600)
    assert journal.execute("select taken_at from frames where id = 1").fetchone()[0] == "2026-03-01T06:00:00.000Z"


def sessions_of_frames(journal: sqlite3.Connection) -> list[int]:
    return [row[0] for row in journal.execute("select session_id from frames order by id")]


def test_a_clock_that_is_put_right_moves_frames_to_the_session_they_belong_to(journal: sqlite3.Connection) -> None:
    dusk = add_session(journal, Session("2026-03-01T18:40:00Z", "2026-03-01T19:40:00Z", intent="wading birds"))
    state_body(journal, "S2", clock_offset_s=-12 * 3600)
    assert sessions_of_frames(journal) == [dusk, dusk]
    counts = journal.execute("select session_id, n_frames, n_bursts from session_summaries order by session_id")
    assert [tuple(row) for row in counts] == [(1, 0, 0), (dusk, 2, 1)]
    state_body(journal, "S2", clock_offset_s=0)
    assert sessions_of_frames(journal) == [1, 1]


def test_where_no_session_fits_any_more_one_is_suggested_and_grows_with_its_frames(journal: sqlite3.Connection) -> None:
    journal.execute("update frames set taken_at = '2026-03-01T07:45:00Z' where id = 2")
    state_body(journal, "S2", clock_offset_s=-5 * 3600)
    (suggested,) = set(sessions_of_frames(journal))
    row = journal.execute(
        "select started_at, ended_at, is_suggested from sessions where id = ?", [suggested]
    ).fetchone()
    assert tuple(row) == ("2026-03-01T12:00:00.000Z", "2026-03-01T12:45:00.000Z", 1)
    state_body(journal, "S2", clock_offset_s=0)
    assert sessions_of_frames(journal) == [1, 1]
    assert journal.execute("select count(*) from sessions where is_suggested = 1").fetchone()[0] == 0


def test_frames_that_were_put_into_a_session_by_hand_stay_there(journal: sqlite3.Connection) -> None:
    journal.execute("update frames set taken_at = '2026-02-01T07:00:00Z'")
    state_body(journal, "S2", clock_offset_s=-12 * 3600)
    assert sessions_of_frames(journal) == [1, 1]


def test_a_frame_of_a_clock_that_was_ahead_is_listed_at_the_time_it_was(
    journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]
) -> None:
    journal.execute("update frames set taken_at_local = '2026-03-01T07:00:00', utc_offset_min = 0 where id = 1")
    state_body(journal, "S2", clock_offset_s=3600)
    path = journal.execute("pragma database_list").fetchone()["file"]
    load_commands()
    assert run(["frames", "--journal", path]) == 0
    shown = capsys.readouterr().out
    assert "2026-03-01 06:00:00" in shown and "07:00:00" not in shown


def test_a_body_that_was_stated_before_its_first_frame_is_that_frames_body(journal: sqlite3.Connection) -> None:
    stated = state_body(journal, "M1", sensor_width_mm=36.0, sensor_height_mm=24.0)
    assert body_id(journal, "Tidewell", "M1", "SIM-1") == stated
    row = journal.execute("select make, serial_number, sensor_width_mm from bodies where id = ?", [stated]).fetchone()
    assert tuple(row) == ("Tidewell", "SIM-1", 36.0)
    assert body_id(journal, "Tidewell", "M1", "SIM-2") != stated


def test_frames_that_were_imported_with_an_offset_are_not_moved_twice(journal: sqlite3.Connection) -> None:
    journal.execute("update frames set clock_offset_s = 3600, taken_at = '2026-03-01T06:00:00.000Z' where id = 1")
    state_body(journal, "S2", clock_offset_s=3600)
    assert journal.execute("select taken_at from frames where id = 1").fetchone()[0] == "2026-03-01T06:00:00.000Z"


def test_two_bodies_of_a_model_are_told_apart_by_serial_number(journal: sqlite3.Connection) -> None:
    journal.execute("insert into bodies (make, model, serial_number) values ('Tidewell', 'S2', '77')")
    with pytest.raises(JournalError, match="There are 2 bodies of the model S2"):
        state_body(journal, "S2", base_iso=100)
    state_body(journal, "S2", serial_number="77", base_iso=200)
    assert {row["serial_number"]: row["base_iso"] for row in list_bodies(journal)} == {"": None, "77": 200}


def test_a_session_knows_its_gear(journal: sqlite3.Connection) -> None:
    state_lens(journal, "35 mm", focal_length_min_mm=35.0, focal_length_max_mm=35.0)
    link_gear(journal, 1, ["S2", "new body"], ["35 mm"])
    assert journal.execute("select count(*) from session_bodies").fetchone()[0] == 2
    assert find_body(journal, "NEW BODY") is not None


def test_defaults_come_from_the_last_similar_session(journal: sqlite3.Connection) -> None:
    add_session(journal, Session("2026-03-02T06:40:00Z", "2026-03-02T07:40:00Z", intent="folk dance"))
    for intent, place, expected in (
        ("rowing", "", "rowing at dawn"),
        ("", "oxmere", "rowing at dawn"),
        ("", "", "folk dance"),
    ):
        found = similar_session(journal, intent, place)
        assert found is not None
        assert found["intent"] == expected


def spawn(journal: Path, *arguments: str) -> pexpect.spawn[str]:
    command = ["-c", "from journal.cli import main; main()", *arguments, "--journal", str(journal)]
    environment = os.environ | {"TERM": "dumb"}
    return pexpect.spawn(sys.executable, command, encoding="utf-8", timeout=20, env=environment)


def test_logging_asks_eight_questions_and_asks_again_where_a_word_is_unknown(tmp_path: Path) -> None:
    journal = tmp_path / "asked.journal"
    child = spawn(journal, "log")
    for question, answer in (
        ("begin", "2026-03-01 18:00"),
        ("end", "20:00"),
        ("pictures for", "wading birds"),
        ("came first", "motion"),
        ("fast was the subject", "leisurely"),
        ("fast was the subject", "walking"),
        ("camera held", ""),
        ("light like", "low sun"),
        ("Where was it", ""),
    ):
        child.expect(question)
        child.sendline(answer)
    child.expect("Session 1 is logged")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    connection = open_journal(journal)
    row = connection.execute("select * from sessions").fetchone()
    stated = (row["intent"], row["priority"], row["subject_pace"], row["camera_support"], row["light"], row["place"])
    connection.close()
    assert stated == ("wading birds", "motion", "walking", None, "low sun", "")


def test_enter_takes_what_the_last_similar_session_said(tmp_path: Path) -> None:
    journal = tmp_path / "again.journal"
    connection = open_journal(journal)
    add_session(connection, Session(INSTANT, INSTANT, intent="rowing at dawn", subject_pace="running", place="Oxmere"))
    connection.close()
    child = spawn(journal, "log")
    for _ in range(8):
        child.expect(": ")
        child.sendline("")
    child.expect("is logged")
    child.expect(pexpect.EOF)
    child.close()
    connection = open_journal(journal)
    row = connection.execute("select * from sessions where id = 2").fetchone()
    assert (row["intent"], row["subject_pace"], row["place"]) == ("rowing at dawn", "running", "Oxmere")
    connection.close()


def test_an_interrupted_log_stores_nothing_and_says_so(tmp_path: Path) -> None:
    journal = tmp_path / "stopped.journal"
    child = spawn(journal, "log")
    child.expect(r"When did it begin.*\]: ")
    time.sleep(0.5)  # a signal between the question's last byte and Python's wait for the answer waits for the next key
    child.sendintr()
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 130
    connection = open_journal(journal)
    assert connection.execute("select count(*) from sessions").fetchone()[0] == 0
    connection.close()


def test_a_quick_log_loads_nothing_heavy(tmp_path: Path) -> None:
    import subprocess

    heavy = ("pandas", "altair", "datasette", "sqlite_utils", "pydantic", "numpy", "scipy")
    arguments = ["log", "--start", "2026-03-01 06:00", "--end", "07:00", "--journal", str(tmp_path / "q.journal")]
    code = (
        "import sys, json\nfrom journal.cli import load_commands, run\nload_commands()\n"
        f"code = run({arguments!r})\nprint(json.dumps([code, [n for n in {heavy!r} if n in sys.modules]]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, stdin=subprocess.DEVNULL
    )
    said: Any = json.loads(done.stdout.splitlines()[-1])
    assert said == [0, []]
