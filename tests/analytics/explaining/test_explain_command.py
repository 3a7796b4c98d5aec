"""`thirdstop explain` on a small journal."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from journals import small_journal

from analytics.dataset import OpenJournal
from analytics.statistics.limits import limits
from journal.cli import load_commands, run
from journal.store.opening import open_journal


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = small_journal(tmp_path / "test.journal", n_sessions=1)
    connection = open_journal(path)
    connection.execute(
        "update bodies set sensor_width_mm = 36, sensor_height_mm = 24, highest_iso = 6400, base_iso = 100"
    )
    connection.execute("update lenses set widest_f_number = 1.8")
    connection.execute("update sessions set subject_distance_m = 5, subject_depth_m = 0.5, subject_pace = 'walking'")
    connection.close()
    load_commands()
    return path


def said(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> str:
    assert run(list(arguments)) == code
    captured = capsys.readouterr()
    return captured.out if code == 0 else captured.err


def test_a_frame_is_explained_sentence_first(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "explain", "8", "--journal", str(journal))
    assert text.startswith("Frame 8 (1/15, f/4, ISO 400 at 50 mm): rejected for camera shake; the largest blur")
    for part in (
        "Depth of field",
        "focused at 5 m (as stated)",
        "Blur budget",
        "What would have fixed it",
        "your own limits",
    ):
        assert part in text
    assert "the picture has not been examined" in text


def test_the_json_holds_all_the_numbers(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(said(capsys, "explain", "8", "--json", "--journal", str(journal)))
    assert told["facts"]["frame_id"] == 8
    assert {part["name"] for part in told["budget"]["parts"]} >= {"hand-held smear", "diffraction", "pixel"}
    assert 2 <= len(told["fixes"]["remedies"]) <= 4
    assert told["depth"]["near_m"] < 5 < told["depth"]["far_m"]


def test_two_frames_are_compared(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "explain", "1", "8", "--journal", str(journal))
    assert text.startswith("Frame 1 (1/500, f/4, ISO 400) and frame 8 (1/15, f/4, ISO 400) differ most in")
    told = json.loads(said(capsys, "explain", "1", "8", "--json", "--journal", str(journal)))
    assert (told["comparison"]["first_id"], len(told["frames"])) == (1, 2)


def test_measures_and_suggestion_are_shown_as_such(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    connection = open_journal(journal)
    connection.execute(
        "insert into measurements values (8, 1, 'picture', '8', '2026-03-01T06:40:00Z', ?)",
        [json.dumps({"ev": -0.7, "noise_sigma": 3.25, "blur_px": 11.5, "blur": {"spread_px": 2.5}})],
    )
    connection.execute(
        "insert into suggestions values (8, '1', 'camera shake', 0.91, 0, ?, ?, '2026-03-01T06:40:00Z')",
        [
            json.dumps({"camera shake": 0.91}),
            json.dumps(["edges spread 6.1 px along 14°", "edges spread 6.0 px along 15°"]),
        ],
    )
    connection.close()
    text = said(capsys, "explain", "8", "--journal", str(journal))
    assert "camera shake, probability 0.91; a suggestion, not a verdict." in text
    assert text.count("edges spread 6") == text.count("- edges spread 6.1 px along 14°") == 1  # told twice once
    assert "Measured in the picture: a blur of about 12 px from end to end." in text
    assert "The sharpest quarter of all edges spreads up to 2.5 px, as a standard deviation." in text
    assert "0.7 stops too dark" in text


def test_the_own_limits_of_the_simulated_photographer_are_used(
    simulated_year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_commands()
    path = simulated_year
    told = json.loads(said(capsys, "explain", "1500", "--json", "--journal", str(path)))
    lines = {line["kind"]: line for line in told["to_spare"]}
    body = told["facts"]["gear"]["body"]
    with OpenJournal(path) as opened:
        own = limits(opened.judged_frames(), "iso").set_index("key").loc[body]
    dose = math.log2(told["facts"]["iso"] / 100)
    assert lines["iso"]["low"] == pytest.approx(own["low"] - dose, abs=0.01)
    assert lines["iso"]["high"] == pytest.approx(own["high"] - dose, abs=0.01)


def test_a_frame_that_is_not_there_is_said_so(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "explain", "1", "99", "--journal", str(journal), code=1) == (
        "Error: There is no frame 99 in this journal.\n  Next: List the frames with: thirdstop frames\n"
    )


def test_a_frame_is_not_compared_with_itself(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "explain", "7", "7", "--journal", str(journal), code=1) == (
        "Error: Frame 7 is compared with itself.\n  Next: Name two frames, like: thirdstop explain 12 15\n"
    )


@pytest.mark.parametrize(
    ("ev", "chances", "exposure", "suggested"),
    [
        (-1.9, {"underexposed": 0.03}, "1.9 stops too dark, if it was not meant so", "does not tell.\n"),
        (-1.9, {"underexposed": 0.41}, "1.9 stops too dark", "does not tell; perhaps underexposed (probability 0.41)."),
    ],
)
def test_what_is_hardly_a_fault_is_told_with_care(
    journal: Path,
    capsys: pytest.CaptureFixture[str],
    ev: float,
    chances: dict[str, float],
    exposure: str,
    suggested: str,
) -> None:
    connection = open_journal(journal)
    connection.execute(
        "insert into measurements values (8, 1, 'picture', '8', '2026-03-01T06:40:00Z', ?)", [json.dumps({"ev": ev})]
    )
    connection.execute(
        "insert into suggestions values (8, '1', null, 0.41, 1, ?, '[]', '2026-03-01T06:40:00Z')",
        [json.dumps(chances)],
    )
    connection.close()
    text = said(capsys, "explain", "8", "--journal", str(journal))
    (line,) = (line for line in text.splitlines() if line.strip().startswith("measured exposure"))
    assert line.strip().endswith(exposure)
    assert f"None, for the picture {suggested}" in text
