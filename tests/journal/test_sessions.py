"""Sessions that were logged: shown as they were stated, changed without going stale."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from journal.cli import load_commands, run
from journal.store.gear import link_gear
from journal.store.opening import open_journal
from journal.store.sessions import search_sessions

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def journal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    load_commands()
    path = tmp_path / "test.journal"
    times = ["--start", "2026-06-21 11:30:20", "--end", "2026-06-21 12:30:50", "--zone", "UTC"]
    what = ["--position", "0,0.00001", "--ev100", "0", "--time", "1/1000-1/250", "--iso", "400"]
    assert run(["log", *times, *what, "--intent", "wading birds", "--journal", str(path)]) == 0
    capsys.readouterr()
    return path


def shown(journal: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    capsys.readouterr()
    assert run(["session", "1", "--json", "--journal", str(journal)]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_session_is_shown_with_local_times_and_settings_as_they_are_written(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(["edit", "1", "--zone", "+02:00", "--journal", str(journal)])
    capsys.readouterr()
    run(["session", "1", "--journal", str(journal)])
    said = {line.strip()[:22].strip(): line.strip()[22:].strip() for line in capsys.readouterr().out.splitlines()}
    assert said["began"] == "2026-06-21 13:30"
    assert said["planned exposure time"] == "1/1000 to 1/250"
    assert said["planned ISO"] == "ISO 400"


def test_a_light_of_zero_is_a_light_that_was_stated(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["session", "1", "--journal", str(journal)])
    assert any(line.split() == ["EV", "at", "ISO", "100", "0"] for line in capsys.readouterr().out.splitlines())


def test_the_gear_of_a_session_is_shown(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    connection = open_journal(journal)
    link_gear(connection, 1, [" Tidewell M1 "], ["35 mm"])
    connection.close()
    found = shown(journal, capsys)
    assert (found["bodies"], found["lenses"]) == (["Tidewell M1"], ["35 mm"])


def test_the_sun_follows_when_the_times_change(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert shown(journal, capsys)["sunlight"] == "day"
    times = ["--start", "2026-06-21 00:00", "--end", "2026-06-21 01:00"]
    assert run(["edit", "1", *times, "--journal", str(journal)]) == 0
    found = shown(journal, capsys)
    assert found["sunlight"] == "night"
    assert found["sun_elevation_deg"] < -18


def test_changing_the_begin_leaves_the_end_to_the_second(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["edit", "1", "--start", "2026-06-21 12:30:30", "--journal", str(journal)])
    found = shown(journal, capsys)
    assert (found["started_at"], found["ended_at"]) == ("2026-06-21T12:30:30.000Z", "2026-06-21T12:30:50.000Z")


def test_changing_words_leaves_the_times_as_they_were(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = shown(journal, capsys)
    run(["edit", "1", "--notes", "mist until eight", "--journal", str(journal)])
    changed = {name for name, value in shown(journal, capsys).items() if value != before[name]}
    assert changed <= {"notes", "changed_at"}
    assert "notes" in changed


def test_bytes_that_are_no_text_are_in_no_session(journal: Path) -> None:
    connection = open_journal(journal)
    assert search_sessions(connection, "\udcff") == []
    assert search_sessions(connection, "wading") == [1]
    connection.close()


def test_what_the_subject_was_like_is_stated_shown_and_changed(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    subject = ["--backlit", "--subject-depth", "40 cm", "--subject-distance", "12"]
    assert run(["edit", "1", *subject, "--journal", str(journal)]) == 0
    found = shown(journal, capsys)
    assert (found["is_backlit"], found["subject_depth_m"], found["subject_distance_m"]) == (1, 0.4, 12.0)
    run(["session", "1", "--journal", str(journal)])
    lines = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert ["backlit", "yes"] in lines and ["subject", "depth", "40", "cm"] in lines
    assert ["subject", "distance", "12", "m"] in lines
    assert run(["edit", "1", "--not-backlit", "--journal", str(journal)]) == 0
    assert shown(journal, capsys)["is_backlit"] == 0


def test_a_backlit_outing_is_logged_with_a_caution_for_the_eyes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_commands()
    times = ["--start", "2026-06-21 04:30", "--end", "05:30", "--zone", "UTC", "--yes"]
    assert run(["log", *times, "--backlit", "--journal", str(tmp_path / "a.journal")]) == 0
    assert "Mind your eyes: never look at the sun through an optical finder" in capsys.readouterr().out
    assert run(["log", *times, "--subject-depth", "thick", "--journal", str(tmp_path / "a.journal")]) == 1
    assert capsys.readouterr().err == (
        "Error: 'thick' is no distance.\n  Next: Write it in metres, for example 0.4 or 40 cm.\n"
    )


@pytest.mark.parametrize(
    ("end", "span"), [("05:30", "2026-06-21 04:30 to 05:30"), ("03:00", "2026-06-21 04:30 to 2026-06-22 03:00")]
)
def test_a_log_says_on_which_day_an_outing_ended(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], end: str, span: str
) -> None:
    load_commands()
    times = ["--start", "2026-06-21 04:30", "--end", end, "--zone", "+02:00", "--yes"]
    assert run(["log", *times, "--journal", str(tmp_path / "a.journal")]) == 0
    assert capsys.readouterr().out.startswith(f"Session 1 is logged, {span}.\n")


def test_a_session_without_a_frame_asks_for_the_card(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["session", "1", "--journal", str(journal)])
    assert "0 frames in 0 bursts, nothing imported yet. Next: thirdstop import CARD\n" in capsys.readouterr().out
