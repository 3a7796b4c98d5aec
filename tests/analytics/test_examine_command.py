"""`thirdstop examine` with the measures that are shipped, on small pictures made on the spot."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageFilter

from journal.cli import load_commands, run
from journal.store.opening import open_journal


def textured(path: Path, second: int, blur_px: float) -> None:
    """Overlapping rectangles of many greys, blurred evenly."""
    rng = np.random.default_rng(second)
    grey = np.full((400, 600), 120, np.uint8)
    for _ in range(120):
        x, y, width, height = rng.integers(0, 560), rng.integers(0, 360), rng.integers(10, 120), rng.integers(10, 90)
        grey[y : y + height, x : x + width] = rng.integers(20, 235)
    exif = Image.Exif()
    exif[ExifTags.Base.Model] = "Tidewell M1"
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = f"2026:03:01 06:40:{second:02}"
    Image.fromarray(grey).filter(ImageFilter.GaussianBlur(blur_px)).save(path, exif=exif, quality=95)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    load_commands()
    folder = tmp_path / "card"
    folder.mkdir()
    for second, blur_px in ((5, 0.6), (25, 5.0)):
        textured(folder / f"A{second}.jpg", second, blur_px)
    return folder


def told(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> Any:
    capsys.readouterr()
    assert run(list(arguments)) == code
    said = capsys.readouterr()
    return said.err if code else json.loads(said.out) if "--json" in arguments else said.out


def test_an_import_examines_and_an_examination_finds_nothing_more_to_do(
    tmp_path: Path, card: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "j"
    journal = ["--journal", str(path)]
    assert "2 frames examined: " in told(capsys, "import", str(card), "--examine", *journal)
    assert told(capsys, "examine", *journal) == (
        "Nothing to examine: all frames with an original are examined already.\n"
    )
    connection = open_journal(path)
    chances = {row[0]: json.loads(row[1]) for row in connection.execute(
        "select file_name, probabilities from suggestions join frames on frames.id = frame_id"
    )}  # fmt: skip
    connection.close()
    soft, sharp = chances["A25.jpg"], chances["A5.jpg"]
    assert soft["missed focus"] > sharp["missed focus"]
    explained = told(capsys, "explain", "1", "2", "--json", *journal)
    measured = [frame["facts"]["measured"]["edge_spread_px"] for frame in explained["frames"]]
    assert measured[0] == pytest.approx(0.6, abs=0.4)
    assert measured[1] == pytest.approx(5.0, abs=0.7)


def test_sessions_and_paths_are_examined_and_what_is_not_there_is_said(
    tmp_path: Path, card: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = ["--journal", str(tmp_path / "j")]
    told(capsys, "import", str(card), "--no-examine", *journal)
    assert told(capsys, "examine", str(card / "A5.jpg"), "--json", *journal)["n_examined"] == 1
    (card / "A25.jpg").unlink()
    done = told(capsys, "examine", "1", "--json", *journal)
    assert (done["n_asked"], done["n_examined"], len(done["problems"])) == (1, 0, 1)
    assert done["problems"][0]["problem"] == "The original is not where it was imported from."
    assert "There is no session 9 in this journal." in told(capsys, "examine", "9", *journal, code=1)
    assert told(capsys, "examine", "1", str(card), *journal, code=1) == (
        "Error: Sessions and paths are mixed.\n  Next: Examine one, then the other.\n"
    )
    nowhere = tmp_path / "nowhere"
    assert told(capsys, "examine", str(nowhere), *journal, code=1) == (
        f"Error: No frame of this journal has a picture at {nowhere}.\n"
        f"  Next: Import it first: thirdstop import {nowhere}\n"
    )
    assert told(capsys, "examine", "1", "--again", "--json", *journal)["n_asked"] == 2
