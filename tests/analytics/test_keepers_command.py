"""What `thirdstop keepers` says, against frames counted by hand."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from journals import empty_journal, small_journal

from journal.cli import load_commands, run
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(autouse=True)
def _commands() -> None:
    load_commands()


def said(capsys: pytest.CaptureFixture[str], *arguments: object, code: int = 0) -> str:
    assert run([str(argument) for argument in arguments]) == code
    captured = capsys.readouterr()
    return captured.out if code == 0 else captured.err


def rates(capsys: pytest.CaptureFixture[str], *arguments: object) -> list[dict[str, Any]]:
    return list(json.loads(said(capsys, *arguments, "--json"))["rates"])


def test_keepers_are_counted_by_the_engraved_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 6)
    found = rates(capsys, "keepers", "exposure-time", "--journal", path)
    counted = [(row["key"], row["n_frames"], row["n_bursts"], row["n_sessions"], row["estimate"]) for row in found]
    assert counted == [("1/500", 30, 6, 6, 0.8), ("1/15", 30, 6, 6, 0.2)]


def test_the_first_line_is_the_sentence_and_the_table_holds_frames_and_bursts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 12)
    lines = said(capsys, "keepers", "exposure-time", "--journal", path).splitlines()
    assert lines[0].startswith("You keep 80 (") and " of 100 frames at 1/500 and 20 (" in lines[0]
    assert lines[2].split() == ["exposure", "time", "keepers", "of", "100", "interval", "frames", "bursts", "sessions"]
    assert lines[4].split()[:2] == ["1/500", "80"]
    assert lines[4].split()[3:] == ["60", "12", "12"]


def test_the_aperture_may_be_called_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 6)
    assert rates(capsys, "keepers", "aperture", "--journal", path) == (
        rates(capsys, "keepers", "f-number", "--journal", path)
    )
    crossed = [rates(capsys, "keepers", "iso", name, "--journal", path) for name in ("aperture", "f-number")]
    assert crossed[0] == crossed[1]


def test_too_little_is_said_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "keepers", "iso", "--journal", small_journal(tmp_path / "a.journal", 2))
    assert text.splitlines()[0] == ("There is nothing to compare by ISO: all judged frames here are at ISO 400.")
    line = text.splitlines()[4].split()
    assert (line[:3], line[4:]) == (["ISO", "400", "50"], ["20", "4", "2", "not", "enough", "yet"])


def test_a_journal_without_verdicts_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged'")
    refresh_all(connection)
    connection.close()
    for typed in (["iso"], ["iso", "lens"]):
        text = said(capsys, "keepers", *typed, "--journal", path)
        assert text == "None of the 22 frames is judged yet. Next: thirdstop judge\n"
    assert rates(capsys, "keepers", "iso", "--journal", path) == []


def test_a_journal_without_frames_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "keepers", "iso", "--journal", empty_journal(tmp_path / "a.journal"))
    assert text == "There are no frames in this journal yet. Next: thirdstop import CARD\n"


def test_two_settings_are_crossed_within_bursts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 3)
    connection = open_journal(path)
    connection.execute("update frames set sv6 = 0 where id = 1")  # one keeper of burst 1 at ISO 100
    connection.execute("update frames set lens_id = null where id = 5")  # the reject of burst 1 through no known lens
    refresh_all(connection)
    connection.close()
    by_iso = rates(capsys, "keepers", "exposure-time", "iso", "--journal", path)
    counted = [(row["key"], row["key2"], row["n_frames"], row["n_bursts"], row["estimate"]) for row in by_iso]
    assert counted == [
        ("1/500", "ISO 100", 1, 1, 1.0),
        ("1/500", "ISO 400", 14, 3, pytest.approx(11 / 14)),
        ("1/15", "ISO 400", 15, 3, 0.2),
    ]
    by_lens = rates(capsys, "keepers", "exposure-time", "lens", "--journal", path)
    assert [(row["key"], row["key2"], row["n_frames"]) for row in by_lens] == [
        ("1/500", "Tidewell 50 mm", 14),
        ("1/500", None, 1),
        ("1/15", "Tidewell 50 mm", 15),
    ]
    table = said(capsys, "keepers", "exposure-time", "lens", "--journal", path)
    assert "unknown" in table


def test_crossing_with_a_setting_of_one_value_changes_no_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 6)
    one = rates(capsys, "keepers", "exposure-time", "--journal", path)
    two = rates(capsys, "keepers", "exposure-time", "body", "--journal", path)
    assert [{**row, "key2": "M1"} for row in one] == two


def test_chosen_frames_alone_are_counted_and_said_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 12)
    options = [
        "--camera-support",
        "hand-held",
        "--lens",
        "Tidewell 50 mm",
        "--from",
        "2026-03-03",
        "--to",
        "2026-03-08",
    ]
    options += ["--only", "exposure-time=1/30..", "--priority", "motion", "--body", "M1", "--light", "-", "--pace", "-"]
    text = said(capsys, "keepers", "exposure-time", *options, "--journal", path)
    assert text.startswith(
        "Hand-held with the Tidewell 50 mm on the M1, priority motion, subject pace unknown, kind of light unknown, "
        "1/30 and slower, from 2026-03-03 to 2026-03-08: 20 of 100 kept ("
    )
    assert (
        "), 30 judged frames in 6 bursts and 6 sessions. There is nothing to compare by exposure time: all judged "
        "frames here are at 1/15." in text
    )
    found = json.loads(said(capsys, "keepers", "exposure-time", *options, "--journal", path, "--json"))
    assert [(row["key"], row["n_frames"]) for row in found["rates"]] == [("1/15", 30)]
    assert (found["kept"]["n_frames"], found["kept"]["estimate"]) == (30, 0.2)
    assert found["chosen"]["exposure-time-from"] == "1/30"


def test_frames_that_nothing_is_known_of_are_said_to_be_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 3)
    text = said(capsys, "keepers", "iso", "--only", "iso=1600..", "--journal", path)
    assert text == "ISO 1600 and higher: no judged frame.\n"
    text = said(capsys, "keepers", "iso", "--only", "exposure-time=-", "--journal", path)
    assert text == "Exposure time unknown: no judged frame; 3 unjudged frames.\n"


def test_a_lower_level_gives_a_narrower_interval(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 6)
    wide, narrow = (
        rates(capsys, "keepers", "iso", "--level", level, "--journal", path)[0] for level in ("0.95", "0.5")
    )
    assert wide["low"] < narrow["low"] < narrow["high"] < wide["high"]


def test_simulated_data_is_called_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 3, is_simulated=True)
    assert said(capsys, "keepers", "iso", "--journal", path).startswith("Simulated data. ")
    assert json.loads(said(capsys, "keepers", "iso", "--json", "--journal", path))["simulated"] == "Simulated data"


@pytest.mark.parametrize(
    ("arguments", "problem", "next_step"),
    [
        (["luck"], "Keepers cannot be counted by 'luck'.", "Use one of: exposure-time, f-number, "),
        (["aperture", "f-number"], "Keepers cannot be counted by 'f-number' twice.", "Name two different settings"),
        (["iso", "iso"], "Keepers cannot be counted by 'iso' twice.", "Name two different settings, or one."),
        (["iso", "--level", "1"], "An interval of level 1 says nothing.", "Use a level like 0.95."),
        (["iso", "--lens", "85"], "There is no lens '85' in this journal.", "Known: Tidewell 50 mm."),
        (["iso", "--pace", "brisk"], "'brisk' is no pace.", "Use one of: still, slow, walking, running, fast."),
        (["iso", "--only", "iso"], "'iso' is no range of a setting.", "Write it like iso=1600.. or iso=400..1600."),
        (["iso", "--only", "iso=.."], "'iso=..' is no range of a setting.", "Write it like iso=1600.. or "),
    ],
)
def test_what_cannot_be_counted_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], problem: str, next_step: str
) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    text = said(capsys, "keepers", *arguments, "--journal", path, code=1)
    assert text.startswith(f"Error: {problem}\n  Next: {next_step}")


def test_a_frame_tells_its_smear_at_a_stated_rotation(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    facts = json.loads(said(capsys, "frame", "6", "--rotation", "2", "--json", "--journal", path))
    # 50 mm, 1/15 s at 2 degrees a second: 50 tan(2/15 degree) = 0.11636 mm; 43.267 mm over 7211 px is 6.000 µm a pixel.
    assert facts["pixel_pitch_um"] == 6.0
    assert facts["smear_at_that_rotation_px"] == pytest.approx(0.11636 / 0.0060, abs=0.05)
    text = said(capsys, "frame", "6", "--journal", path)
    assert [line.split()[-1] for line in text.splitlines() if line.split()[:2] == ["exposure", "time"]] == ["exif"]
    refused = said(capsys, "frame", "6", "--rotation", "0", "--journal", path, code=1)
    assert refused == "Error: A rotation of 0 degrees per second is no shake.\n  Next: Use a rate like 0.5.\n"


def test_an_export_holds_positions_and_serials_only_when_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    bare = said(capsys, "export", "frames", "--journal", path)
    assert "12.345" not in bare and "SERIAL-77" not in bare
    full = said(capsys, "export", "frames", "--with-positions", "--with-serials", "--journal", path)
    assert "12.3456789" in full and "SERIAL-77" in full
    assert "12.3456789" in said(capsys, "export", "sessions", "--with-positions", "--journal", path)
    assert said(capsys, "export", "sessions", "--with-serials", "--journal", path, code=1) == (
        "Error: Sessions have no serial numbers.\n  Next: Leave --with-serials out, or export frames.\n"
    )
