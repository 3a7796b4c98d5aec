"""Frames written down by hand, with Exif's names as headings."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image

from journal.cli import load_commands, run

HEAD = "FileName,DateTimeOriginal,ExposureTime,FNumber,PhotographicSensitivity,FocalLength,Model,LensModel"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    load_commands()
    path = tmp_path / "film.journal"
    times = ["--start", "2026-03-01 06:00", "--end", "08:00", "--zone", "+00:00", "--iso", "400"]
    assert run(["log", *times, "--yes", "--journal", str(path)]) == 0
    return path


def told(capsys: pytest.CaptureFixture[str], journal: Path, *arguments: str) -> Any:
    capsys.readouterr()
    assert run([*arguments, "--json", "--journal", str(journal)]) == 0
    return json.loads(capsys.readouterr().out)


def table(tmp_path: Path, *rows: str) -> str:
    path = tmp_path / "notes.csv"
    path.write_text("\n".join([HEAD, *rows]), encoding="utf-8")
    return str(path)


def test_film_frames_go_in_as_stated(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = ("roll1-01,2026:03:01 07:00:00,1/60,5.6,400,50,Tidewell F,50 mm", ",2026-03-01 07:10,1/125,f/8,,50,,")
    summary = told(capsys, journal, "import", "--table", table(tmp_path, *rows), "--zone", "UTC")
    assert (summary["n_frames"], summary["session_ids"], summary["problems"]) == (2, [1], [])
    frame = told(capsys, journal, "frame", "1")
    settings = (frame["exposure_time_s"], frame["f_number"], frame["iso"], frame["exposure_time_source"])
    assert settings == (pytest.approx(1 / 60), 5.6, 400, "stated")


def test_what_the_session_states_fills_what_the_table_leaves_out(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(capsys, journal, "import", "--table", table(tmp_path, ",2026-03-01 07:10,1/125,f/8,,50,,"), "--zone", "UTC")
    frame = told(capsys, journal, "frame", "1")
    assert (frame["iso"], frame["iso_source"]) == (400, "stated")


def test_the_same_table_again_adds_nothing_and_a_mended_row_is_taken(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for time in ("1/60", "1/30"):
        name = table(tmp_path, f"roll1-01,2026-03-01 07:00,{time},5.6,400,50,,", ",2026-03-01 07:10,1/125,8,,,,")
        told(capsys, journal, "import", "--table", name, "--zone", "UTC")
    frames = told(capsys, journal, "frames")
    assert [frame["exposure_time_s"] for frame in frames] == [pytest.approx(1 / 30), pytest.approx(1 / 125)]


def test_equal_rows_are_frames_of_their_own(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    row = ",2026-03-01 07:10,1/125,8,,,,"
    for _ in range(2):
        told(capsys, journal, "import", "--table", table(tmp_path, row, row), "--zone", "UTC")
    assert len(told(capsys, journal, "frames")) == 2


def test_an_adapted_lens_gets_its_aperture_and_keeps_what_the_body_says(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    exif = Image.Exif()
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.DateTimeOriginal] = "2026:03:01 07:00:00"
    details[ExifTags.Base.ISOSpeedRatings] = 800
    Image.new("RGB", (48, 32)).save(tmp_path / "A1.jpg", exif=exif)
    told(capsys, journal, "import", str(tmp_path / "A1.jpg"), "--zone", "UTC")
    summary = told(capsys, journal, "import", "--table", table(tmp_path, "A1.jpg,,1/250,f/2,100,58,,"))
    assert (summary["n_frames"], summary["n_known"]) == (0, 1)
    frame = told(capsys, journal, "frame", "1")
    assert (frame["f_number"], frame["f_number_source"], frame["iso"], frame["iso_source"]) == (
        2,
        "stated",
        800,
        "exif",
    )


def test_bad_rows_are_named_and_the_rest_goes_in(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ("a,2026-03-01 07:00,1/0,,,,,", "b,yesterday,,,,,,", "c,2026-03-01 07:00,1/60,,,,,")
    summary = told(capsys, journal, "import", "--table", table(tmp_path, *rows), "--zone", "UTC")
    assert [problem["problem"] for problem in summary["problems"]] == [
        "'1/0' is no exposure time.",
        "'yesterday' is no date and time.",
    ]
    assert summary["n_frames"] == 1


def test_a_table_without_a_name_of_exif_is_refused(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "other.csv"
    path.write_text("shutter,stop\n1/60,8\n", encoding="utf-8")
    assert run(["import", "--table", str(path), "--journal", str(journal)]) == 1
    assert "has no column with a name of Exif" in capsys.readouterr().err
