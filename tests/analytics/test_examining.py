"""Examining pictures: which ones, what is stored, and what happens when a picture or the whole run comes to grief."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import deque
from datetime import UTC
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational
from stand_ins import VERSIONS

from analytics.cli.examination import Asked, Measure, examine_frames, frames_to_examine, left_to_do, start_of
from analytics.cli.suggesting import Outcome, look_at_sessions
from analytics.examining.findings import suggestion_of
from journal.importing.run import import_files
from journal.importing.storing import Circumstances
from journal.store.measurements import to_examine
from journal.store.opening import open_journal

STAND_IN = Measure("stand_ins:measure", 1)
ROOT = Path(__file__).resolve().parents[2]


def picture(path: Path, second: int) -> Path:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Tidewell", "Tidewell M1"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.ExposureTime] = IFDRational(1, 125)
    details[ExifTags.Base.FNumber] = IFDRational(4, 1)
    details[ExifTags.Base.BrightnessValue] = IFDRational(5, 2)
    details[ExifTags.Base.SubjectLocation] = (10, 20)
    details[0x9214] = (10, 20, 8)
    details[ExifTags.Base.DateTimeOriginal] = f"2026:03:01 06:{second // 60:02}:{second % 60:02}"
    Image.new("RGB", (48, 32), (second % 255, 80, 90)).save(path, exif=exif)
    return path


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    for second, name in enumerate(("sharp-1", "shaken-2", "dark-3", "plain-4")):
        picture(folder / f"{name}.jpg", 5 * second)
    return folder


def imported(path: Path, card: Path) -> sqlite3.Connection:
    connection = open_journal(path)
    import_files(connection, [card], Circumstances(UTC), previews=False)
    return connection


def examine(
    connection: sqlite3.Connection, path: Path, measure: Measure = STAND_IN, asked: Asked | None = None
) -> Outcome:
    asked = asked or Asked()
    done = examine_frames(connection, path, frames_to_examine(connection, asked, measure), measure, asked.again)
    return look_at_sessions(connection, done, asked.session_ids or (), measure.version)


def suggestions(connection: sqlite3.Connection) -> dict[str, tuple[str | None, int]]:
    rows = connection.execute(
        "select file_name, suggestions.fault, is_unsure from suggestions join frames on frames.id = frame_id"
    )
    return {row[0]: (row[1], row[2]) for row in rows}


def test_each_picture_is_measured_and_its_fault_suggested(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    connection = imported(path, card)
    done = examine(connection, path)
    assert suggestions(connection) == {
        "sharp-1.jpg": (None, 0),
        "shaken-2.jpg": ("camera shake", 0),
        "dark-3.jpg": ("underexposed", 0),
        "plain-4.jpg": (None, 1),
    }
    assert (done.n_examined, done.n_fine, done.n_unsure) == (4, 1, 1)
    assert done.n_by_fault == {"camera shake": 1, "underexposed": 1}
    evidence = connection.execute("select evidence from suggestions where fault = 'camera shake'").fetchone()[0]
    assert json.loads(evidence) == ["edges spread 4.2 px along 10°, 1.1 px across it"]
    connection.close()


def test_the_measure_gets_the_settings_by_their_exif_names(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    connection = imported(path, card)
    connection.execute("update sessions set subject_pace = 'walking'")
    examine(connection, path)
    measures = json.loads(connection.execute("select measures from measurements").fetchone()[0])
    assert measures["exif"] == {
        "ExposureTime": 1 / 125,
        "FNumber": 4.0,
        "Model": "Tidewell M1",
        "subject_pace": "walking",
        "BrightnessValue": 2.5,
        "SubjectArea": [10, 20, 8],
    }
    connection.close()


def test_a_suggestion_is_no_verdict(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    connection = imported(path, card)
    examine(connection, path)
    assert connection.execute("select count(*) from verdicts").fetchone()[0] == 0
    assert {row[0] for row in connection.execute("select verdict from frames")} == {"unjudged"}
    assert connection.execute("select sum(n_judged) from cells").fetchone()[0] == 0
    connection.close()


def test_what_is_examined_is_passed_over_until_version_or_file_changes(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    connection = imported(path, card)
    examine(connection, path)
    assert to_examine(connection, 1) == []
    assert len(to_examine(connection, 2)) == 4
    assert len(to_examine(connection, 1, again=True)) == 4
    connection.execute("update files set content_key = 'another' where file_name = 'dark-3.jpg'")
    assert [Path(frame.path).name for frame in to_examine(connection, 1)] == ["dark-3.jpg"]
    connection.close()


def test_sessions_files_and_folders_narrow_what_is_examined(tmp_path: Path, card: Path) -> None:
    connection = imported(tmp_path / "j", card)
    session = connection.execute("select session_id from frames").fetchone()[0]
    assert len(to_examine(connection, 1, session_ids=[session])) == 4
    assert to_examine(connection, 1, session_ids=[session + 1]) == []
    assert len(to_examine(connection, 1, paths=[str(card)])) == 4
    assert to_examine(connection, 1, paths=[str(card)[:-1]]) == []
    assert len(to_examine(connection, 1, paths=[str(card / "dark-3.jpg")])) == 1
    connection.close()


def test_a_finished_picture_stands_for_its_raw_file_and_tables_have_no_pixels(tmp_path: Path, card: Path) -> None:
    connection = imported(tmp_path / "j", card)
    number = connection.execute("select id from frames where file_name = 'sharp-1.jpg'").fetchone()[0]
    for name, kind in (("a.nef", "raw"), ("b.xmp", "sidecar"), ("c.csv", "table")):
        connection.execute("insert into files values (null, ?, ?, ?, ?, 1, 1, 'k')", [number, f"/{name}", name, kind])
    (chosen,) = [frame for frame in to_examine(connection, 1) if frame.frame_id == number]
    assert (Path(chosen.path).name, chosen.source) == ("sharp-1.jpg", "picture")
    connection.execute("delete from files where file_name = 'sharp-1.jpg'")
    (chosen,) = [frame for frame in to_examine(connection, 1) if frame.frame_id == number]
    assert (chosen.path, chosen.source) == ("/a.nef", "embedded preview")
    connection.execute("update files set path = 'simulated/a.nef' where path = '/a.nef'")
    assert number not in {frame.frame_id for frame in to_examine(connection, 1)}
    connection.close()


def test_missing_changed_and_broken_pictures_are_problems_and_the_rest_is_examined(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    picture(card / "broken-5.jpg", 60)
    connection = imported(path, card)
    (card / "dark-3.jpg").unlink()
    picture(card / "plain-4.jpg", 99)
    os.utime(card / "plain-4.jpg", (1, 1))
    done = examine(connection, path)
    assert {Path(one.file).name: (one.problem, one.next_step) for one in done.problems} == {
        "dark-3.jpg": (
            "The original is not where it was imported from.",
            "Bring it back, or import it from where it is now: thirdstop import FOLDER",
        ),
        "plain-4.jpg": (
            "The picture has changed since it was imported.",
            f"Import it again: thirdstop import {card}",
        ),
        "broken-5.jpg": ("broken-5.jpg is cut short.", "Copy it from the card again."),
    }
    assert set(suggestions(connection)) == {"sharp-1.jpg", "shaken-2.jpg"}
    connection.close()


def test_a_picture_that_ends_its_worker_costs_only_itself(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    picture(card / "deadly-5.jpg", 60)
    connection = imported(path, card)
    done = examine(connection, path)
    (problem,) = done.problems
    assert Path(problem.file).name == "deadly-5.jpg"
    assert problem.problem == "The program that examines pictures ended on this one."
    assert problem.next_step == "Judge it by eye; where this befalls every picture, install thirdstop again."
    assert done.n_examined == 4
    connection.close()


def test_a_picture_that_never_ends_is_given_up(tmp_path: Path, card: Path) -> None:
    from analytics.examining import examine_pictures
    from journal.errors import Problem

    picture(card / "endless-5.jpg", 60)
    connection = imported(tmp_path / "j", card)
    found = dict(examine_pictures(to_examine(connection, 1), STAND_IN.name, seconds=1))
    (problem,) = [answer for answer in found.values() if isinstance(answer, Problem)]
    assert problem.problem == "The picture could not be examined within 1 s."
    assert len(found) == 5
    connection.close()


def run_elsewhere(path: Path) -> subprocess.Popen[bytes]:
    code = (
        f"import sys; sys.path[:] = {sys.path!r}\n"
        "from pathlib import Path\n"
        "from analytics.cli.examination import Asked, Measure, examine_frames, frames_to_examine\n"
        "from journal.store.opening import open_journal\n"
        f"path, measure = Path({str(path)!r}), Measure('stand_ins:slow', 1)\n"
        "connection = open_journal(path)\n"
        "examine_frames(connection, path, frames_to_examine(connection, Asked(), measure), measure)\n"
    )
    return subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, start_new_session=True, stderr=subprocess.DEVNULL)


def n_measured(path: Path) -> int:
    connection = sqlite3.connect(path)
    number: int = connection.execute("select count(*) from measurements").fetchone()[0]
    connection.close()
    return number


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="no process groups here")
def test_an_examination_that_is_killed_goes_on_where_it_was(tmp_path: Path) -> None:
    card, path = tmp_path / "many", tmp_path / "j"
    card.mkdir()
    for second in range(80):
        picture(card / f"sharp-{second}.jpg", second)
    connection = imported(path, card)
    running = run_elsewhere(path)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not n_measured(path):
        time.sleep(0.05)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    left = n_measured(path)
    assert 0 < left < 80
    assert examine(connection, path).n_examined == 80 - left
    assert n_measured(path) == 80
    connection.close()


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="no process groups here")
def test_control_c_keeps_what_was_found_and_leaves_no_process(tmp_path: Path) -> None:
    card, path = tmp_path / "many", tmp_path / "j"
    card.mkdir()
    for second in range(80):
        picture(card / f"sharp-{second}.jpg", second)
    imported(path, card).close()
    running = run_elsewhere(path)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not n_measured(path):
        time.sleep(0.05)
    before = n_measured(path)
    time.sleep(0.5)  # some more pictures are found, and not stored yet
    os.killpg(running.pid, signal.SIGINT)
    running.wait(timeout=30)
    assert before < n_measured(path) < 80
    with pytest.raises(ProcessLookupError):
        os.killpg(running.pid, 0)


def test_two_examinations_at_once_examine_everything_once(tmp_path: Path) -> None:
    card, path = tmp_path / "many", tmp_path / "j"
    card.mkdir()
    for second in range(24):
        picture(card / f"sharp-{second}.jpg", second)
    connection = imported(path, card)
    both = [run_elsewhere(path) for _ in range(2)]
    assert [process.wait(timeout=60) for process in both] == [0, 0]
    assert n_measured(path) == 24
    assert to_examine(connection, 1) == []
    connection.close()


def test_examinations_started_one_after_the_other_begin_far_apart() -> None:
    for process in range(1, 40_000):
        for later in (1, 2, 3, 4):
            forwards = (start_of(process + later, 240) - start_of(process, 240)) % 240
            assert min(forwards, 240 - forwards) > 20
    assert {start_of(process, 24) for process in range(100)} == set(range(24))
    assert start_of(4711, 0) == 0


@pytest.mark.parametrize("others_start", [20, 53, 77, 120])
@pytest.mark.parametrize("others_pace", [1, 2, 5])
def test_two_examinations_at_once_do_hardly_anything_twice(others_start: int, others_pace: int) -> None:
    frames: list[Any] = list(range(140))
    stored: set[int] = set()
    runs = [
        left_to_do(frames, stored.__contains__),
        left_to_do(frames[others_start:] + frames[:others_start], stored.__contains__),
    ]
    done, not_stored = [], deque[int]()
    while now := [frame for run, pace in zip(runs, (1, others_pace), strict=True) for frame in islice(run, pace)]:
        done += now
        not_stored += now
        while len(not_stored) > 10:  # what was found last is stored a little later
            stored.add(not_stored.popleft())
    assert set(done) == set(frames)
    assert len(done) <= len(frames) + 2 * 10


def test_an_examination_alone_goes_through_its_frames_in_order() -> None:
    frames: list[Any] = [3, 4, 0, 1, 2]
    assert list(left_to_do(frames, lambda _frame: False)) == frames
    assert list(left_to_do([], lambda _frame: False)) == []


def test_a_frame_that_is_deleted_meanwhile_is_passed_over(tmp_path: Path, card: Path) -> None:
    path = tmp_path / "j"
    connection = imported(path, card)
    frames = frames_to_examine(connection, Asked(), STAND_IN)
    connection.execute("delete from frames where file_name = 'sharp-1.jpg'")
    examine_frames(connection, path, frames, STAND_IN)
    assert len(suggestions(connection)) == 3
    connection.close()


def test_without_texture_only_exposure_and_noise_are_suggested() -> None:
    plain = {"focus": 0.9, "shake": 0.8, "subject_motion": 0.1, "noise": 0.1, "cant_tell": True, **VERSIONS}
    assert suggestion_of(plain).fault is None
    assert suggestion_of(plain).is_unsure
    assert suggestion_of(plain | {"noise": 0.7}).fault == "noise"


def test_between_fine_and_suggested_it_cannot_be_told() -> None:
    found = {"focus": 0.3, "shake": 0.1, "subject_motion": 0.1, "noise": 0.1, "exposure": 0.1, "ev": 0.4, **VERSIONS}
    middling = suggestion_of(found)
    assert (middling.fault, middling.is_unsure, middling.probability) == (None, True, 0.3)
    assert suggestion_of({**found, "exposure": 0.8}).fault == "overexposed"
    assert suggestion_of({**found, "exposure": 0.8, "ev": -1.0}).fault == "underexposed"
