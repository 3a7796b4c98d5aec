"""One outing from log to keepers, through the command line, with pictures made on the spot."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational

from journal.demo.building import build_demo, making_alone
from journal.demo.scenario import PLANTED
from journal.store.opening import open_journal

ROOT = Path(__file__).resolve().parents[2]
FRAMES = Path(os.environ.get("THIRDSTOP_FRAMES", ROOT.parent / "shared" / "frames"))


def thirdstop(journal: Path, *arguments: str, code: int = 0) -> str:
    """Runs a command on the journal; its output, or what it said when it failed."""
    environment = os.environ | {"THIRDSTOP_JOURNAL": str(journal)}
    command = [sys.executable, "-c", "from journal.cli import main; main()", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, stdin=subprocess.DEVNULL)
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout if code == 0 else done.stderr


def as_json(journal: Path, *arguments: str) -> Any:
    return json.loads(thirdstop(journal, *arguments, "--json"))


def picture(path: Path, when: str, model: str = "Tidewell M1", rating: int | None = None) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Tidewell", model
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.ExposureTime] = IFDRational(1, 125)
    details[ExifTags.Base.FNumber] = IFDRational(56, 10)
    details[ExifTags.Base.ISOSpeedRatings] = 400
    details[ExifTags.Base.DateTimeOriginal] = when
    xmp = b""
    if rating is not None:
        xmp = sidecar(rating).encode()
    Image.new("RGB", (48, 32), (hash(when) % 255, 80, 90)).save(path, exif=exif, xmp=xmp)


def sidecar(rating: int) -> str:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
        f'xmp:Rating="{rating}"/></rdf:RDF></x:xmpmeta>'
    )


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    for second in (10, 11, 12, 40):
        picture(folder / f"A{second}.jpg", f"2026:03:01 23:59:{second}")
    picture(folder / "B.jpg", "2026:03:02 00:10:00", "Tidewell S2", rating=-1)
    return folder


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "test.journal"
    times = ["--start", "2026-03-01 23:00", "--end", "00:30", "--zone", "+00:00"]
    thirdstop(path, "log", *times, "--intent", "folk dance night", "--support", "hand-held", "--iso", "100-3200")
    return path


def test_frames_find_their_session_past_midnight_and_bursts_are_found(journal: Path, card: Path) -> None:
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (summary["n_frames"], summary["n_bursts"], summary["session_ids"], summary["problems"]) == (5, 3, [1], [])


def test_a_second_import_of_the_same_card_adds_nothing(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (summary["n_frames"], summary["n_unchanged"]) == (0, 5)


def test_a_renamed_file_is_the_same_frame(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    (card / "A40.jpg").rename(card / "dance.jpg")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (summary["n_frames"], summary["n_known"], len(as_json(journal, "frames"))) == (0, 1, 5)


def test_a_new_picture_under_the_name_of_an_old_one_is_a_frame_of_its_own(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    picture(card / "A40.jpg", "2026:04:09 18:00:00")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (summary["n_frames"], summary["n_known"], len(as_json(journal, "frames"))) == (1, 0, 6)


def test_a_picture_saved_again_in_its_place_is_the_same_frame(journal: Path, card: Path) -> None:
    from PIL import Image

    thirdstop(journal, "import", str(card), "--zone", "UTC")
    with Image.open(card / "A40.jpg") as opened:
        exif, changed = opened.getexif(), opened.point(lambda level: 255 - level)
    changed.save(card / "A40.jpg", exif=exif)
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (summary["n_frames"], summary["n_known"], len(as_json(journal, "frames"))) == (0, 1, 5)


def test_frames_that_come_later_close_the_gap_between_two_bursts(journal: Path, tmp_path: Path) -> None:
    card = tmp_path / "later"
    card.mkdir()
    for second in (0, 1, 5, 6, 20):
        picture(card / f"C{second:02}.jpg", f"2026:03:01 07:00:{second:02}")
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    assert bursts(journal) == [("C00.jpg", "C01.jpg"), ("C05.jpg", "C06.jpg"), ("C20.jpg",)]
    picture(card / "C03.jpg", "2026:03:01 07:00:03")
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    assert bursts(journal) == [("C00.jpg", "C01.jpg", "C03.jpg", "C05.jpg", "C06.jpg"), ("C20.jpg",)]


def bursts(journal: Path) -> list[tuple[str, ...]]:
    """The file names of each burst, in order of position; the counts that bursts state are checked on the way."""
    with closing(sqlite3.connect(journal)) as connection:
        rows = connection.execute(
            "select bursts.n_frames, bursts.started_at, frames.taken_at, position_in_burst, file_name, bursts.id "
            "from bursts left join frames on frames.burst_id = bursts.id order by bursts.started_at, position_in_burst"
        ).fetchall()
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(row[5], []).append(row)
    for members in found.values():
        assert [row[3] for row in members] == list(range(members[0][0]))
        assert members[0][1] == members[0][2]
    return [tuple(row[4] for row in members) for members in found.values()]


def test_a_sidecar_that_comes_later_joins_its_frame(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    (card / "A40.jpg.xmp").write_text(sidecar(4), encoding="utf-8")
    assert as_json(journal, "import", str(card), "--zone", "UTC")["n_frames"] == 0
    thirdstop(journal, "judge", "--ratings", "--keep-from", "3")
    verdicts = {frame["file_name"]: frame["verdict"] for frame in as_json(journal, "frames")}
    assert (verdicts["A40.jpg"], verdicts["B.jpg"], verdicts["A10.jpg"]) == ("keeper", "reject", "unjudged")


def test_a_command_that_writes_leaves_nothing_beside_the_journal(journal: Path, card: Path) -> None:
    thirdstop(journal, "frames")
    thirdstop(journal, "import", str(card))
    assert [path.name for path in journal.parent.iterdir() if path.name.startswith(journal.name)] == [journal.name]


def test_an_import_leaves_the_originals_as_they_were(journal: Path, card: Path) -> None:
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in card.iterdir()}
    thirdstop(journal, "import", str(card))
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in card.iterdir()} == before


def test_a_dry_run_says_what_would_happen_and_writes_nothing(journal: Path, card: Path) -> None:
    picture(card / "later.jpg", "2026:05:01 12:00:00")
    picture(card / "evening.jpg", "2026:05:01 19:00:00")
    foretold = as_json(journal, "import", str(card), "--zone", "UTC", "--dry-run")
    assert as_json(journal, "frames") == []
    done = as_json(journal, "import", str(card), "--zone", "UTC")
    assert (foretold["n_frames"], foretold["session_ids"], foretold["n_to_be_suggested"]) == (7, [1], 2)
    assert (done["n_frames"], done["session_ids"], done["suggested_ids"]) == (7, [1, 2, 3], [2, 3])
    again = as_json(journal, "import", str(card), "--zone", "UTC", "--dry-run")
    assert (again["n_frames"], again["n_unchanged"], again["n_to_be_suggested"]) == (0, 7, 0)


def test_a_dry_run_before_there_is_a_journal_makes_none(tmp_path: Path, card: Path) -> None:
    said = thirdstop(tmp_path / "none.journal", "import", str(card), "--zone", "UTC", "--dry-run")
    assert said == "5 frames would be new, 0 sessions, 1 session to be suggested, 0 problems.\n"
    assert not (tmp_path / "none.journal").exists()


def test_a_dry_run_refuses_a_session_that_is_not_there(journal: Path, card: Path) -> None:
    said = thirdstop(journal, "import", str(card), "--dry-run", "--session", "77", code=1)
    assert said == "Error: There is no session 77 in this journal.\n  Next: List them with: thirdstop sessions\n"


def test_a_frame_without_a_capture_time_goes_by_its_file_and_that_is_said(journal: Path, card: Path) -> None:
    for old in card.iterdir():
        old.unlink()
    Image.new("RGB", (48, 32), (9, 80, 90)).save(card / "undated.jpg")
    when = datetime(2026, 3, 1, 23, 30, tzinfo=UTC).timestamp()
    os.utime(card / "undated.jpg", (when, when))
    assert thirdstop(journal, "import", str(card)).splitlines()[:2] == [
        "1 frame new, 1 burst, 1 session, 0 problems.",
        "1 frame without a capture time: the time of the file decided on the session.",
    ]


@pytest.mark.parametrize(
    ("n_sessions", "last"),
    [
        (3, "Session 3 is suggested from the times of its frames; say what it was with: thirdstop edit 3"),
        (4, "... and 1 more session is suggested."),
        (5, "... and 2 more sessions are suggested."),
    ],
)
def test_of_many_suggested_sessions_three_are_named_and_the_others_counted(
    tmp_path: Path, n_sessions: int, last: str
) -> None:
    journal, card = tmp_path / "new.journal", tmp_path / "many"
    card.mkdir()
    for day in range(n_sessions):
        Image.new("RGB", (48, 32), (9, 80, 90 + day)).save(card / f"{day}.jpg")
        when = datetime(2026, 3, 1 + day, 12, 0, tzinfo=UTC).timestamp()
        os.utime(card / f"{day}.jpg", (when, when))
    said = thirdstop(journal, "import", str(card), "--no-examine").splitlines()
    assert [line for line in said if "suggested" in line][-1] == last


def test_files_and_a_table_at_one_go_are_refused_for_one_of_them_would_be_left_out(journal: Path, card: Path) -> None:
    said = thirdstop(journal, "import", str(card), "--table", "notes.csv", code=1)
    assert said == (
        "Error: Files and a table cannot be imported at one go.\n  Next: Import the files first, then the table.\n"
    )


def test_a_suggested_session_is_on_the_bodys_clock_and_says_that_it_is_suggested(tmp_path: Path, card: Path) -> None:
    journal = tmp_path / "late.journal"
    thirdstop(journal, "import", str(card), "--zone", "+02:00")
    said = thirdstop(journal, "session", "1")
    assert "It is suggested from the times of its frames; say what it was with: thirdstop edit 1\n" in said
    words = [line.split() for line in said.splitlines()]
    assert ["began", "2026-03-01", "23:59"] in words and ["time", "zone", "+02:00"] in words


@pytest.mark.skipif(os.name == "nt", reason="names of files are Unicode there")
def test_what_cannot_be_walked_or_stored_is_named_with_what_to_do(journal: Path, card: Path) -> None:
    elsewhere = card.parent / "elsewhere"
    elsewhere.mkdir()
    (card / "link").symlink_to(elsewhere)
    bad = Path(os.fsdecode(os.fsencode(card) + b"/d\xe9p\xf4t"))
    try:
        bad.mkdir()
    except OSError:
        pytest.skip("this file system takes only UTF-8")
    (bad / "A.jpg").write_bytes((card / "B.jpg").read_bytes())
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert summary["n_frames"] == 5
    assert {(Path(one["file"]).name, one["problem"], one["next_step"]) for one in summary["problems"]} == {
        ("A.jpg", "The name of its folder is not valid UTF-8.", "Rename the folder, or a copy of it."),
        (
            "link",
            "This is a link to a folder, and links are not followed.",
            "Import the folder that it points to, or leave it out.",
        ),
    }


def test_a_broken_file_is_named_and_the_rest_goes_in(journal: Path, card: Path) -> None:
    (card / "broken.jpg").write_bytes(b"no picture at all")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert summary["n_frames"] == 5
    assert [Path(problem["file"]).name for problem in summary["problems"]] == ["broken.jpg"]


def test_pictures_of_kinds_that_are_not_read_are_counted_once_and_the_rest_goes_in(journal: Path, card: Path) -> None:
    for name in ("screen.png", "second.PNG", "mail.webp", "._hidden.png", "notes.txt"):
        (card / name).write_bytes(b"whatever it is")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert summary["n_frames"] == 5
    assert [(one["file"], one["problem"]) for one in summary["problems"]] == [
        (str(card), "Passed over, for they are of kinds that are not read: 2 .png and 1 .webp.")
    ]


def test_a_copy_of_a_picture_beside_it_is_the_same_frame_and_counted_once(journal: Path, card: Path) -> None:
    (card / "copies").mkdir()
    (card / "copies" / "again.jpg").write_bytes((card / "B.jpg").read_bytes())
    foretold = as_json(journal, "import", str(card), "--zone", "UTC", "--dry-run")
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert foretold["n_frames"] == summary["n_frames"] == 5
    assert len(as_json(journal, "frames")) == 5


def test_frames_without_a_session_get_one_suggested_and_a_later_log_takes_them(tmp_path: Path, card: Path) -> None:
    journal = tmp_path / "late.journal"
    summary = as_json(journal, "import", str(card), "--zone", "UTC")
    assert summary["suggested_ids"] == [1]
    thirdstop(journal, "log", "--start", "2026-03-01 23:00", "--end", "00:30", "--zone", "+00:00", "--intent", "dance")
    sessions = as_json(journal, "sessions")
    assert [(row["intent"], row["n_frames"]) for row in sessions] == [("dance", 5)]


def test_an_import_that_is_killed_goes_on_where_it_was(journal: Path, tmp_path: Path) -> None:
    many = tmp_path / "many"
    many.mkdir()
    for number in range(1200):
        picture(many / f"C{number:04}.jpg", f"2026:03:01 23:{number // 60:02}:{number % 60:02}")
    code = "from journal.cli import main; main()"
    command = [sys.executable, "-c", code, "import", str(many), "--zone", "UTC", "--journal", str(journal)]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not stored_frames(journal):
        time.sleep(0.02)
    running.kill()
    running.wait()
    left = stored_frames(journal)
    summary = as_json(journal, "import", str(many), "--zone", "UTC")
    assert 0 < left < 1200
    assert summary["n_frames"] == 1200 - left
    assert stored_frames(journal) == 1200


def stored_frames(journal: Path) -> int:
    connection = sqlite3.connect(journal)
    count: int = connection.execute("select count(*) from frames").fetchone()[0]
    connection.close()
    return count


def test_two_imports_at_once_store_every_frame_once(journal: Path, card: Path) -> None:
    code = "from journal.cli import main; main()"
    command = [sys.executable, "-c", code, "import", str(card), "--zone", "UTC", "--journal", str(journal)]
    both = [subprocess.Popen(command, stdout=subprocess.DEVNULL) for _ in range(2)]
    assert [process.wait() for process in both] == [0, 0]
    assert stored_frames(journal) == 5


def test_a_verdict_given_by_hand_outweighs_the_rating_of_a_file(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    (number,) = [frame["id"] for frame in as_json(journal, "frames") if frame["file_name"] == "B.jpg"]
    thirdstop(journal, "judge", str(number), "--keeper")
    thirdstop(journal, "judge", "--ratings", "--keep-from", "3", code=1)
    verdicts = {frame["file_name"]: frame["verdict"] for frame in as_json(journal, "frames")}
    assert verdicts["B.jpg"] == "keeper"


def test_judging_counts_keepers_and_names_the_commonest_fault(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    thirdstop(journal, "judge", "1-3", "--keeper")
    said = thirdstop(journal, "judge", "4-5", "--reject", "--fault", "camera shake", "--fault", "noise")
    assert "3 keepers of 5 judged" in said
    assert as_json(journal, "keepers", "iso")["rates"][0]["estimate"] == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["judge", "99", "--keeper"], "There is no frame 99 in this journal."),
        (["session", "7"], "There is no session 7 in this journal."),
        (["delete", "7", "--yes"], "There is no session 7 in this journal."),
        (["keepers", "mood"], "Keepers cannot be counted by 'mood'."),
        (["judge", "1", "--keeper", "--reject"], "It is not clear what the verdict is."),
        (["log", "--start", "2026-03-01 06:00", "--end", "07:00", "--time", "1/0"], "'1/0' is no exposure time."),
        (["log", "--start", "2999-03-01 06:00", "--end", "07:00"], "'2999-03-01 06:00' lies in the future."),
        (["log"], "It is not said when the outing was."),
        (["import", "nowhere"], "There is nothing at nowhere."),
    ],
)
def test_bad_input_gets_a_sentence_and_a_next_step(journal: Path, arguments: list[str], message: str) -> None:
    said = thirdstop(journal, *arguments, code=1)
    assert said.startswith(f"Error: {message}\n  Next: ")


def test_an_empty_folder_is_said_to_be_empty(journal: Path, tmp_path: Path) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    said = thirdstop(journal, "import", str(folder), code=1)
    assert said == (
        f"Error: There are no pictures in {folder}.\n  Next: Name a folder that holds JPEG, HEIF, TIFF or raw files.\n"
    )


@pytest.mark.parametrize(
    "arguments", [["keepers", "iso"], ["sessions"], ["judge", "1", "--keeper"], ["serve"], ["check"]]
)
def test_without_a_journal_the_next_step_is_said(tmp_path: Path, arguments: list[str]) -> None:
    path = tmp_path / "none.journal"
    said = thirdstop(path, *arguments, code=1)
    assert (
        said == f"Error: There is no journal at {path}.\n  Next: Make one with: thirdstop log, or see: thirdstop demo\n"
    )
    assert not path.exists()


def test_a_card_that_is_pulled_out_loses_only_what_was_not_read(journal: Path, card: Path, tmp_path: Path) -> None:
    from journal.importing.run import import_files
    from journal.importing.storing import Circumstances

    connection = open_journal(journal)
    away = tmp_path / "away"
    (card / "A40.jpg").rename(away)
    (card / "A40.jpg").symlink_to(tmp_path / "gone")  # listed, and not there when it is read
    summary = import_files(connection, [card], Circumstances(UTC))
    assert summary.n_frames == 4
    assert [Path(problem.file).name for problem in summary.problems] == ["A40.jpg"]
    (card / "A40.jpg").unlink()
    away.rename(card / "A40.jpg")
    assert import_files(connection, [card], Circumstances(UTC)).n_frames == 1
    connection.close()


def test_a_file_that_is_no_journal_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("not a database, but a long enough text" * 50, encoding="utf-8")
    assert "is not an SQLite file" in thirdstop(path, "sessions", code=1)
    assert path.read_text(encoding="utf-8").startswith("not a database")


def test_a_journal_from_a_newer_version_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "new.journal"
    connection = open_journal(path)
    connection.execute("pragma user_version = 999")
    connection.close()
    assert "has schema 999" in thirdstop(path, "log", "--start", "2026-03-01 06:00", "--end", "07:00", code=1)


def test_search_takes_any_text_as_words(journal: Path) -> None:
    for text in ("1/500", "f/2.8", "it's", "-blur", 'a "quote', "iso:"):
        assert as_json(journal, "sessions", "--search", text) == []
    assert len(as_json(journal, "sessions", "--search", "DANCE")) == 1


def test_a_deleted_session_leaves_its_frames(journal: Path, card: Path) -> None:
    thirdstop(journal, "import", str(card), "--zone", "UTC")
    assert "5 frames stay" in thirdstop(journal, "delete", "1", "--yes")
    assert len(as_json(journal, "frames")) == 5


def test_the_height_of_the_sun_names_the_light(tmp_path: Path) -> None:
    path = tmp_path / "sun.journal"
    times = ["--start", "2026-06-21 11:30", "--end", "12:30", "--zone", "+00:00"]
    thirdstop(path, "log", *times, "--position", "51.48,0.0")
    row = as_json(path, "session", "1")
    assert row["sun_elevation_deg"] == pytest.approx(90 - 51.48 + 23.44, abs=0.3)
    assert row["sunlight"] == "day"


def test_the_simulated_year_is_the_same_from_the_same_seed(tmp_path: Path) -> None:
    built = build_demo(tmp_path / "a.journal", tmp_path / "a")
    again = build_demo(tmp_path / "b.journal", tmp_path / "b")
    assert built == again
    assert built.n_sessions >= 30
    assert built.n_frames >= 6000
    assert built.n_rendered >= 200
    assert keepers_of(tmp_path / "a.journal") == keepers_of(tmp_path / "b.journal")


def keepers_of(path: Path) -> list[tuple[object, ...]]:
    connection = sqlite3.connect(path)
    rows = connection.execute("select file_name, verdict, exposure_time_s, stops_below_rule from frames order by 1")
    found = rows.fetchall()
    connection.close()
    return found


def test_the_planted_truth_is_listed_as_it_is() -> None:
    listed = json.loads((ROOT / "demo_db" / "planted.json").read_text(encoding="utf-8"))
    assert listed == json.loads(json.dumps(PLANTED))


@pytest.mark.skipif(not (FRAMES / "facts.json").exists(), reason="no folder of real photographs beside the project")
def test_all_real_frames_go_in_with_the_facts_of_an_independent_decoder(tmp_path: Path) -> None:
    journal = tmp_path / "real.journal"
    facts = json.loads((FRAMES / "facts.json").read_text(encoding="utf-8"))
    summary = as_json(journal, "import", str(FRAMES), "--zone", "UTC")
    assert (summary["n_frames"], summary["problems"]) == (len(facts), [])
    for frame in as_json(journal, "frames"):
        expected = facts[frame["file_name"]]
        assert frame["exposure_time_s"] == pytest.approx(expected["exposure_time_s"], rel=1e-9)
        assert round(frame["f_number"], 1) == expected["f_number"]
        assert frame["iso"] == expected["iso"]
        assert round(frame["focal_length_mm"], 1) == expected["focal_length_mm"]


def test_two_simulated_journals_are_not_made_in_one_place_at_once(tmp_path: Path) -> None:
    place = tmp_path / "new" / "demo.journal"
    with making_alone(place):
        said = thirdstop(place, "demo", "--journal", str(place), "--no-serve", code=1)
        assert "being made at" in said and not place.exists()
    assert list(place.parent.iterdir()) == []


def test_whoever_is_killed_while_making_a_simulated_journal_leaves_the_place_free(tmp_path: Path) -> None:
    place = tmp_path / "demo.journal"
    program = "import os, sys; from pathlib import Path; from journal.demo.building import making_alone as alone\n"
    program += "with alone(Path(sys.argv[1])): os._exit(9)"
    assert subprocess.run([sys.executable, "-c", program, str(place)]).returncode == 9
    with making_alone(place):
        pass
