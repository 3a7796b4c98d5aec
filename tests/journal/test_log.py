"""Logging an outing: its times and zones, its words, and what Enter accepts."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pexpect
import pytest

from journal.store.opening import open_journal

if TYPE_CHECKING:
    import sqlite3

RUN = "from journal.cli import main; main()"


def log(journal: Path, *arguments: str | bytes, zone_of_machine: str = "UTC") -> tuple[int, str]:
    """The exit code of `thirdstop log` without a terminal, and all that it said."""
    environment = os.environ | {"THIRDSTOP_JOURNAL": str(journal), "TZ": zone_of_machine}
    done = subprocess.run(
        [sys.executable, "-c", RUN, "log", *arguments],
        capture_output=True,
        env=environment,
        stdin=subprocess.DEVNULL,
    )
    return done.returncode, (done.stdout + done.stderr).decode()


def stored(journal: Path) -> list[dict[str, Any]]:
    connection: sqlite3.Connection = open_journal(journal)
    rows = [dict(row) for row in connection.execute("select * from sessions order by id")]
    connection.close()
    return rows


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return tmp_path / "test.journal"


@pytest.mark.parametrize(("day", "utc", "offset"), [("2026-07-01", "04:00", "+0200"), ("2026-01-15", "05:00", "+0100")])
def test_without_a_zone_it_is_the_machines_on_that_day(journal: Path, day: str, utc: str, offset: str) -> None:
    log(journal, "--start", f"{day} 06:00", "--end", "07:00", zone_of_machine="Europe/Berlin")
    (row,) = stored(journal)
    assert (row["started_at"], row["time_zone"]) == (f"{day}T{utc}:00.000Z", offset)


def test_an_end_without_a_zone_is_in_the_zone_that_the_begin_has(journal: Path) -> None:
    log(journal, "--start", "2026-03-01T06:40+05:00", "--end", "07:40")
    (row,) = stored(journal)
    assert (row["started_at"], row["ended_at"]) == ("2026-03-01T01:40:00.000Z", "2026-03-01T02:40:00.000Z")


def test_an_outing_past_midnight_ends_the_next_day(journal: Path) -> None:
    log(journal, "--start", "2026-03-01 23:00", "--end", "0:30", "--zone", "Europe/Lisbon")
    assert stored(journal)[0]["ended_at"] == "2026-03-02T00:30:00.000Z"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--start", "2026-03-01 06:40", "--end", "2999-01-01 00:00"], "'2999-01-01 00:00' lies in the future."),
        (
            ["--start", "0001-01-01 00:00", "--end", "01:00", "--zone", "+14:00"],
            "'0001-01-01 00:00' is before there were photographs, or too far ahead.",
        ),
        (
            ["--start", "2026-03-01 06:40", "--end", "9999-12-31 23:59"],
            "'9999-12-31 23:59' is before there were photographs, or too far ahead.",
        ),
        (
            ["--start", "2026-03-01 06:40", "--end", "2026-03-01 06:00"],
            "The outing ends (2026-03-01 06:00) before it begins.",
        ),
        (["--start", "2026-03-01 06:40"], "It is not said when the outing was."),
        (
            ["--start", "2026-03-01 06:40", "--end", "07:40", "--body", " "],
            "A body without a model cannot be told from others.",
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(journal: Path, arguments: list[str], message: str) -> None:
    code, said = log(journal, *arguments)
    assert code == 1
    assert said.startswith(f"Error: {message}\n  Next: ")
    assert stored(journal) == []


def test_an_end_more_than_a_day_ahead_is_refused_and_one_of_today_is_not(journal: Path) -> None:
    now = datetime.now().astimezone()
    begin = (now - timedelta(hours=1)).isoformat()
    assert log(journal, "--start", begin, "--end", (now + timedelta(hours=25)).isoformat())[0] == 1
    assert log(journal, "--start", begin, "--end", (now + timedelta(hours=1)).isoformat())[0] == 0


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere arguments are text before they arrive")
def test_bytes_that_are_no_text_are_refused_in_a_sentence(journal: Path) -> None:
    code, said = log(journal, "--start", "2026-03-01 06:40", "--end", "07:40", "--intent", b"wa\xffders")
    assert (code, "is not readable text.\n  Next: Write it in UTF-8." in said) == (1, True)
    assert stored(journal) == []


def test_a_log_that_names_gear_and_place_loads_no_numbers_library(journal: Path) -> None:
    heavy = ("pandas", "altair", "datasette", "sqlite_utils", "pydantic", "numpy", "scipy")
    arguments = ["log", "--start", "2026-03-01 06:00", "--end", "07:00", "--journal", str(journal)]
    arguments += ["--body", "Tidewell M1", "--lens", "35 mm", "--position", "51.48,0", "--time", "1/500", "--yes"]
    code = (
        "import sys, json\nfrom journal.cli import load_commands, run\nload_commands()\n"
        f"code = run({arguments!r})\nprint(json.dumps([code, [n for n in {heavy!r} if n in sys.modules]]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.splitlines()[-1]) == [0, []]


def spawn(journal: Path, *arguments: str) -> pexpect.spawn[str]:
    environment = os.environ | {"TERM": "dumb", "TZ": "UTC"}
    command = ["-c", RUN, "log", *arguments, "--journal", str(journal)]
    return pexpect.spawn(sys.executable, command, encoding="utf-8", timeout=20, env=environment)


def finish(child: pexpect.spawn[str]) -> None:
    child.expect("is logged")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0


def test_enter_ends_an_outing_of_last_week_two_hours_after_it_began(journal: Path) -> None:
    child = spawn(journal)
    for answer in ("2026-03-01 06:00", *[""] * 7):
        child.expect(": ")
        child.sendline(answer)
    finish(child)
    (row,) = stored(journal)
    assert (row["started_at"], row["ended_at"]) == ("2026-03-01T06:00:00.000Z", "2026-03-01T08:00:00.000Z")


def test_a_time_that_is_none_is_asked_for_again_and_no_answer_is_lost(journal: Path) -> None:
    child = spawn(journal, "--intent", "rowing at dawn")
    for question, answer in (
        ("begin", "yesterday"),
        ("is no date and time.*begin", "2026-03-01 06:00"),
        ("end", "2026-02-01 06:00"),
        ("before it begins.*end", "07:15"),
        ("came first", "depth"),
        *((question, "") for question in ("fast was", "camera held", "light like", "Where was it")),
    ):
        child.expect(question)
        child.sendline(answer)
    finish(child)
    (row,) = stored(journal)
    assert (row["ended_at"], row["intent"], row["priority"]) == ("2026-03-01T07:15:00.000Z", "rowing at dawn", "depth")


def test_yes_asks_nothing_even_at_a_terminal(journal: Path) -> None:
    finish(spawn(journal, "--start", "2026-03-01 06:00", "--end", "07:00", "--yes"))
    assert stored(journal)[0]["intent"] == ""
