"""What the reading commands say of a small journal, and what they keep back."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import pytest

import analytics
from analytics.cli.export import defused
from journal.cli import load_commands, run
from journal.records.sessions import Session
from journal.store.opening import open_journal
from journal.store.sessions import add_session
from journal.store.summaries import refresh

INSTANT = "2026-03-01T06:40:00Z"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "test.journal"
    connection = open_journal(path)
    add_session(connection, Session(INSTANT, INSTANT, intent="=1+1", latitude=12.3456789, longitude=98.7654321))
    connection.execute("insert into bursts (id, session_id) values (1, 1)")
    connection.execute(
        "insert into frames (id, frame_key, session_id, burst_id, file_name, taken_at, exposure_time_s, f_number, iso,"
        " focal_length_mm, focal_length_35mm, subject_distance_m, stops_below_rule, latitude, longitude) "
        "values (7, 'k', 1, 1, '@evil.jpg', ?, 0.01, 8.0, 400, 50, 50, 5.0, ?, 12.3456789, 98.7654321)",
        [INSTANT, math.log2(0.5)],
    )
    refresh(connection, [1])
    connection.close()
    load_commands()
    return path


def said(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> str:
    assert run(list(arguments)) == code
    captured = capsys.readouterr()
    return captured.out if code == 0 else captured.err


def test_a_frame_is_told_in_one_sentence_and_its_depth_of_field(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = said(capsys, "frame", "7", "--journal", str(journal))
    assert text.startswith("@evil.jpg: 1/100, f/8, ISO 400; 1.0 stops above (faster than) the 1/focal-length rule.")
    facts: dict[str, Any] = json.loads(said(capsys, "frame", "7", "--json", "--journal", str(journal)))
    h, f, s = 0.05**2 / (8 * 0.00003) + 0.05, 0.05, 5.0
    assert facts["near_limit_of_focus_m"] == pytest.approx(s * (h - f) / (h + s - 2 * f), abs=0.006)


def test_a_frames_facts_are_read_in_the_words_and_units_of_the_trade(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = said(capsys, "frame", "7", "--journal", str(journal))
    lines = {tuple(part.strip() for part in line.split("  ") if part.strip()) for line in text.splitlines()}
    found = {line[0]: line[1] for line in lines if len(line) > 1}
    assert (found["exposure time"], found["aperture"], found["focal length"]) == ("1/100", "f/8", "50 mm")
    assert (found["subject distance"], found["diffraction spot"]) == ("5 m", "10.8 µm")
    assert "_" not in text.replace("@evil.jpg", "")


def test_an_offset_from_utc_is_no_formula() -> None:
    import pandas as pd

    rows = pd.DataFrame({"time_zone": ["+0100", "-03:30", "+1+1", "Europe/Lisbon"]})
    assert defused(rows)["time_zone"].tolist() == ["+0100", "-03:30", "'+1+1", "Europe/Lisbon"]


def test_a_frame_that_is_not_there_is_said_so(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "frame", "8", "--journal", str(journal), code=1)
    assert text == ("Error: There is no frame 8 in this journal.\n  Next: List the frames with: thirdstop frames\n")


@pytest.mark.parametrize("form", ["csv", "json"])
@pytest.mark.parametrize("what", ["frames", "sessions"])
def test_an_export_keeps_positions_back(
    journal: Path, capsys: pytest.CaptureFixture[str], what: str, form: str
) -> None:
    text = said(capsys, "export", what, "--format", form, "--journal", str(journal))
    assert "12.345" not in text
    assert "98.765" not in text


def test_a_formula_in_a_name_is_defused_in_csv(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = list(csv.DictReader(io.StringIO(said(capsys, "export", "frames", "--journal", str(journal)))))
    assert rows[0]["file_name"] == "'@evil.jpg"
    assert float(rows[0]["stops_below_rule"]) == -1.0
    sessions = list(csv.DictReader(io.StringIO(said(capsys, "export", "sessions", "--journal", str(journal)))))
    assert sessions[0]["intent"] == "'=1+1"


def test_parquet_holds_the_same_frames(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import pandas as pd

    target = tmp_path / "frames.parquet"
    said(capsys, "export", "frames", "--format", "parquet", "--output", str(target), "--journal", str(journal))
    assert pd.read_parquet(target)["iso"].tolist() == [400]


def test_a_notebook_reads_the_same_frame_table(journal: Path) -> None:
    frames = analytics.open_journal(journal).frames()
    assert frames["ev100"].isna().all()
    assert frames["f_number"].tolist() == [8.0]
    assert defused(frames)["file_name"].tolist() == ["'@evil.jpg"]


def test_nothing_judged_is_said_plainly(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "keepers", "iso", "--journal", str(journal)) == (
        "No frame is judged yet. Next: thirdstop judge\n"
    )
