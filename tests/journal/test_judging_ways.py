"""Verdicts from finished pictures and tables, and the history of a frame."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image

from journal.cli import load_commands, run
from journal.store.opening import open_journal


def picture(path: Path, when: str, subsec: str | None = None, model: str = "Tidewell M1", shade: int = 90) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Model] = model
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.DateTimeOriginal] = when
    if subsec is not None:
        details[ExifTags.Base.SubsecTimeOriginal] = subsec
    Image.new("RGB", (48, 32), (shade, 80, 90)).save(path, exif=exif)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    load_commands()
    path, card = tmp_path / "test.journal", tmp_path / "card"
    card.mkdir()
    for number, subsec in enumerate(("10", "50", "90")):
        picture(card / f"A{number}.jpg", "2026:03:01 07:00:00", subsec, shade=number)
    picture(card / "A3.jpg", "2026:03:01 07:05:00", shade=3)
    picture(card / "B0.jpg", "2026:03:01 07:05:00", model="Tidewell S2", shade=4)
    assert run(["import", str(card), "--zone", "UTC", "--journal", str(path)]) == 0
    return path


@pytest.fixture
def finals(tmp_path: Path) -> Path:
    folder = tmp_path / "finals"
    folder.mkdir()
    return folder


def verdicts(journal: Path) -> dict[str, str]:
    connection = open_journal(journal)
    rows = connection.execute("select file_name, verdict from frames").fetchall()
    connection.close()
    return {row["file_name"]: row["verdict"] for row in rows}


def judged(capsys: pytest.CaptureFixture[str], journal: Path, *arguments: str) -> Any:
    capsys.readouterr()
    assert run(["judge", *arguments, "--json", "--journal", str(journal)]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_finished_picture_makes_its_frame_a_keeper_by_time_and_body(
    journal: Path, finals: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture(finals / "dawn, final.jpg", "2026:03:01 07:05:00", shade=200)
    assert judged(capsys, journal, "--finals", str(finals))["problems"] == []
    assert verdicts(journal) == {
        "A0.jpg": "unjudged",
        "A1.jpg": "unjudged",
        "A2.jpg": "unjudged",
        "A3.jpg": "keeper",
        "B0.jpg": "unjudged",
    }


def test_the_rest_are_rejects_only_where_the_photographer_says_so(
    journal: Path, finals: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture(finals / "final.jpg", "2026:03:01 07:05:00", shade=200)
    judged(capsys, journal, "1", "--keeper")
    judged(capsys, journal, "--finals", str(finals), "--rest-rejects")
    found = verdicts(journal)
    assert sorted(found.values()) == ["keeper", "keeper", "reject", "reject", "reject"]
    assert found["A3.jpg"] == "keeper"


def test_sub_seconds_tell_the_frames_of_a_burst_apart(
    journal: Path, finals: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture(finals / "peak.jpg", "2026:03:01 07:00:00", "50", shade=200)
    judged(capsys, journal, "--finals", str(finals))
    assert [name for name, word in verdicts(journal).items() if word == "keeper"] == ["A1.jpg"]


def test_a_burst_keeps_its_order_across_the_whole_second(journal: Path) -> None:
    connection = open_journal(journal)
    connection.execute("delete from frames")
    connection.close()
    card = journal.parent / "seconds"
    card.mkdir()
    for number, (second, subsec) in enumerate((("00", None), ("00", "50"), ("01", None), ("01", "50"))):
        picture(card / f"D{number}.jpg", f"2026:03:01 09:00:{second}", subsec, shade=50 + number)
    assert run(["import", str(card), "--zone", "UTC", "--journal", str(journal)]) == 0
    connection = open_journal(journal)
    rows = connection.execute("select file_name from frames order by position_in_burst").fetchall()
    connection.close()
    assert [row["file_name"] for row in rows] == ["D0.jpg", "D1.jpg", "D2.jpg", "D3.jpg"]


def test_a_finished_picture_that_fits_several_frames_or_none_is_a_problem(
    journal: Path, finals: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture(finals / "unclear.jpg", "2026:03:01 07:00:00", shade=200)
    picture(finals / "elsewhere.jpg", "2020:03:01 07:00:00", shade=201)
    said = judged(capsys, journal, "--finals", str(finals))
    assert said["n_verdicts"] == 0
    assert {Path(one["file"]).name: one["problem"] for one in said["problems"]} == {
        "unclear.jpg": "3 frames were taken in that second.",
        "elsewhere.jpg": "No frame was taken at 2020-03-01T07:00:00.",
    }


def test_a_table_judges_and_its_bad_rows_are_named(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "verdicts.csv"
    path.write_text(
        "file_name,verdict,faults\nA0.jpg,keeper,\nA1.jpg,reject,Camera shake; noise\n"
        "A2.jpg,lovely,\nnone.jpg,keeper,\nA3.jpg,reject,wobble\nB0.jpg,keeper,noise\n",
        encoding="utf-8-sig",
    )
    said = judged(capsys, journal, "--csv", str(path))
    assert said["n_verdicts"] == 2
    assert [(one["file"].rsplit(" ", 2)[-1], one["problem"]) for one in said["problems"]] == [
        ("4", "'lovely' is no verdict."),
        ("5", "There is no frame 'none.jpg' in this journal."),
        ("6", "'wobble' is no fault this journal knows."),
        ("7", "A frame that is keeper has no fault."),
    ]


def test_the_history_says_who_when_and_from_where_and_nothing_is_overwritten(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judged(capsys, journal, "2", "--reject", "--fault", "timing", "--fault", "noise")
    judged(capsys, journal, "2", "--keeper", "--by", "mentor")
    judged(capsys, journal, "2", "--keeper", "--by", "mentor")
    rows = judged(capsys, journal, "2", "--history")
    assert [(row["verdict"], row["judged_by"], row["source"], row["faults"]) for row in rows] == [
        ("reject", "photographer", "command line", "noise; timing"),
        ("keeper", "mentor", "command line", None),
    ]


def test_a_table_that_is_none_is_refused(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"\xff\xfe\x00\x81")
    assert run(["judge", "--csv", str(path), "--journal", str(journal)]) == 1
    assert "cannot be read as a table" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "problem", "next_step"),
    [
        (
            [],
            "It is not said which frames are meant.",
            "List them with thirdstop frames --unjudged, then name them, like: thirdstop judge 12 20-31 --keeper",
        ),
        (["1"], "It is not clear what the verdict is.", "Give one of --keeper, --reject and --unjudged."),
        (
            ["--ratings", "--keep-from", "3"],
            "No frame has a rating.",
            "Rate them, import their folder again, or judge by number: thirdstop judge 12 20-31 --keeper",
        ),
        (["--csv", "none.csv"], "There is no table at none.csv.", "Check the path."),
        (["--csv", "empty.csv"], "empty.csv is empty.", "Give it a first line with the names of its columns."),
        (
            ["--csv", "names.csv"],
            "The table judges no frame.",
            "Give it a line for each frame under: file_name,verdict,faults",
        ),
    ],
)
def test_where_there_is_nothing_to_judge_the_way_that_was_asked_for_is_explained(
    journal: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    problem: str,
    next_step: str,
) -> None:
    monkeypatch.chdir(journal.parent)
    Path("empty.csv").touch()
    Path("names.csv").write_text("file_name,verdict,faults\n")
    capsys.readouterr()
    assert run(["judge", *arguments, "--journal", str(journal)]) == 1
    assert capsys.readouterr().err == f"Error: {problem}\n  Next: {next_step}\n"


def test_the_history_on_a_terminal_is_in_words_and_on_this_machines_clock(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    judged(capsys, journal, "2", "--keeper")
    assert run(["judge", "2", "--history", "--journal", str(journal)]) == 0
    shown = capsys.readouterr().out
    assert "judged at" in shown and "judged_at" not in shown
    assert re.search(r"keeper +20\d\d-\d\d-\d\d \d\d:\d\d:\d\d +photographer", shown)


def test_one_verdict_is_one_verdict(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run(["judge", "2", "--keeper", "--journal", str(journal)]) == 0
    assert capsys.readouterr().out.startswith("1 verdict taken, 0 problems.\nSession 1: 5 frames in ")
