"""Verdicts from the command line, ratings, finished pictures and tables; history; the session's takeaway."""

from __future__ import annotations

import json
import sqlite3
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from PIL import ExifTags, Image

from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.importing.finals import match_finished
from journal.importing.pairing import FrameFiles
from journal.importing.ratings import parse_kept_ratings, verdicts_of_ratings
from journal.importing.storing import Circumstances, store_chunk
from journal.importing.verdict_table import read_verdicts
from journal.records.files import FileFacts
from journal.records.sessions import Session
from journal.records.verdicts import Verdict
from journal.store.imports import begin_import
from journal.store.opening import journal_error, open_journal, writing
from journal.store.sessions import add_session
from journal.store.takeaway import session_takeaway
from journal.store.upkeep import check
from journal.store.verdicts import history, record, would_add

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def frame(number: int, at: str, iso: int = 400, rating: float | None = None) -> FrameFiles:
    return FrameFiles(
        (
            FileFacts(
                path=f"/card/A{number}.jpg", file_name=f"A{number}.jpg", kind="jpeg", size_bytes=1, mtime_ns=1,
                content_key=f"key {number}", make="Tidewell", model="M1", taken_at_local=f"2026-03-01T{at}",
                exposure_time_num=1, exposure_time_den=125, exposure_time_s=1 / 125, exposure_time_source="exif",
                f_number=5.6, f_number_source="exif", iso=iso, iso_source="exif", rating=rating,
            ),
        )
    )  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "test.journal"


@pytest.fixture
def journal(path: Path) -> Iterator[sqlite3.Connection]:
    """Frames 1 to 5, in bursts 1-2, 3, 4, 5; two of them in the same second."""
    connection = open_journal(path)
    dawn = Session(
        "2026-03-01T06:00:00Z", "2026-03-01T07:00:00Z", intent="dawn", planned_iso_min=100, planned_iso_max=400
    )
    add_session(connection, dawn)
    taken = [("06:00:00.250", 100, 4), ("06:00:00.750", 200, -1), ("06:10:00", 400, 2), ("06:20:00", 800, 0)]
    frames = [frame(number, at, iso, rating) for number, (at, iso, rating) in enumerate(taken, 1)]
    frames.append(frame(5, "06:30:00", 1600))
    with writing(connection):
        store_chunk(connection, frames, {}, Circumstances(UTC), begin_import(connection, ["/card"]))
    yield connection
    connection.close()


def judge(connection: sqlite3.Connection, *verdicts: Verdict, source: str = "command line", minutes: int = 0) -> None:
    record(connection, verdicts, judged_by="me", source=source, judged_at=NOON + timedelta(minutes=minutes))


def verdicts_of(connection: sqlite3.Connection) -> dict[int, str]:
    return dict(connection.execute("select id, verdict from frames order by id").fetchall())


def told(connection: sqlite3.Connection, frame_id: int) -> list[tuple[str, str, str | None]]:
    return [(row["verdict"], row["source"], row["faults"]) for row in history(connection, frame_id)]


def finished(path: Path, at: str, *, model: str | None = "M1", subsec: str | None = None) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Tidewell"
    if model:
        exif[ExifTags.Base.Model] = model
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.DateTimeOriginal] = f"2026:03:01 {at}"
    if subsec:
        details[ExifTags.Base.SubsecTimeOriginal] = subsec
    Image.new("RGB", (8, 8)).save(path, exif=exif)


def command(path: Path, capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> Any:
    load_commands()
    assert run([*arguments, "--journal", str(path), "--json"]) == code
    said = capsys.readouterr()
    return json.loads(said.out) if said.out else said.err


def test_every_verdict_is_kept_and_the_newest_counts(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "keeper"))
    judge(journal, Verdict(1, "reject", ("noise", "camera shake")), minutes=1)
    assert told(journal, 1) == [
        ("keeper", "command line", None),
        ("reject", "command line", "camera shake; noise"),
    ]
    assert verdicts_of(journal)[1] == "reject"
    faults = journal.execute("select fault from frame_faults where frame_id = 1 order by fault").fetchall()
    assert [row[0] for row in faults] == ["camera shake", "noise"]


def test_an_older_verdict_that_comes_later_joins_the_history_and_does_not_count(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "keeper"))
    judge(journal, Verdict(1, "reject", judged_at=NOON - timedelta(days=1)), source="csv", minutes=1)
    assert [row[0] for row in told(journal, 1)] == ["reject", "keeper"]
    assert verdicts_of(journal)[1] == "keeper"


def test_half_a_second_later_is_newer(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "reject", judged_at=NOON + timedelta(seconds=0.5)), source="csv")
    judge(journal, Verdict(1, "keeper", judged_at=NOON), source="csv")
    assert verdicts_of(journal)[1] == "reject"


def test_saying_the_same_again_adds_nothing_but_another_source_does(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "keeper"), source="xmp")
    judge(journal, Verdict(1, "keeper"), source="xmp", minutes=1)
    assert len(told(journal, 1)) == 1
    judge(journal, Verdict(1, "keeper"), minutes=2)
    judge(journal, Verdict(1, "keeper"), minutes=3)
    assert [row[1] for row in told(journal, 1)] == ["xmp", "command line"]


def test_reading_a_table_again_does_not_undo_a_verdict_given_in_between(journal: sqlite3.Connection) -> None:
    for minutes, source, word in ((0, "csv", "keeper"), (1, "command line", "reject"), (2, "csv", "keeper")):
        judge(journal, Verdict(1, word), source=source, minutes=minutes)
    assert verdicts_of(journal)[1] == "reject"


def test_a_verdict_can_be_taken_back_and_given_again(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "unjudged"))
    assert told(journal, 1) == []
    for minutes, word in enumerate(("keeper", "unjudged", "keeper")):
        judge(journal, Verdict(1, word), minutes=minutes)
    assert len(told(journal, 1)) == 3


@pytest.mark.parametrize(
    ("verdict", "problem"),
    [
        (Verdict(1, "keeper", ("noise",)), "Frame 1 is no reject, so it has no fault."),
        (Verdict(1, "reject", ("blur",)), "'blur' is no fault this journal knows."),
        (Verdict(1, "maybe"), "'maybe' is no verdict."),
        (Verdict(9, "keeper"), "There is no frame 9 in this journal."),
    ],
)
def test_one_impossible_verdict_stops_all_of_them(journal: sqlite3.Connection, verdict: Verdict, problem: str) -> None:
    with pytest.raises(JournalError) as refused:
        judge(journal, Verdict(2, "keeper"), verdict)
    assert refused.value.problem == problem
    assert set(verdicts_of(journal).values()) == {"unjudged"}
    with pytest.raises(JournalError):
        would_add(journal, [verdict], judged_by="me", source="csv")


def test_the_summaries_follow_the_verdicts(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "keeper"), Verdict(3, "reject", ("noise",)))
    summary = journal.execute("select n_judged, n_keepers, commonest_fault from session_summaries").fetchone()
    assert tuple(summary) == (2, 1, "noise")
    assert check(journal).faults == ()


def test_a_full_disk_stops_judging_and_loses_nothing(path: Path, journal: sqlite3.Connection) -> None:
    many = [frame(number, "06:40:00") for number in range(100, 700)]
    store_chunk(journal, many, {}, Circumstances(UTC), begin_import(journal, ["/card"]))
    journal.execute("vacuum")
    pages = journal.execute("pragma page_count").fetchone()[0]
    journal.execute(f"pragma max_page_count = {pages}")
    ids = list(verdicts_of(journal))
    with pytest.raises(sqlite3.OperationalError) as refused:
        judge(journal, *[Verdict(one, "reject", ("noise",)) for one in ids])
    assert journal_error(refused.value).problem == "The disk is full: the journal could not grow."
    assert set(verdicts_of(journal).values()) == {"unjudged"}


def test_the_takeaway_sets_the_plan_against_what_was_used(journal: sqlite3.Connection) -> None:
    found = session_takeaway(journal, 1)
    assert found is not None
    (iso,) = found.plan
    assert (iso.planned_min, iso.planned_max, iso.used_min, iso.used_median, iso.used_max) == (100, 400, 100, 400, 1600)
    assert (iso.share_within, iso.n_frames) == (pytest.approx(3 / 5), 5)
    assert session_takeaway(journal, 99) is None


def test_the_takeaway_says_little_until_three_bursts_are_judged(journal: sqlite3.Connection) -> None:
    judge(journal, Verdict(1, "keeper"), Verdict(2, "keeper"), Verdict(3, "reject", ("noise",)))
    early = session_takeaway(journal, 1)
    assert early is not None and early.sentence == "2 keepers of 3 judged; not enough judged yet to say more."
    judge(journal, Verdict(4, "reject", ("noise", "timing")))
    later = session_takeaway(journal, 1)
    assert later is not None
    assert later.sentence == "2 keepers of 4 judged; the commonest fault is noise, on 2 of 2 rejects."


def pictured(journal: sqlite3.Connection, folder: Path) -> tuple[list[int], list[str]]:
    found = match_finished(journal, folder)
    return [one.frame_id for one in found.keepers], [problem.problem for problem in found.problems]


@pytest.mark.parametrize(("subsec", "expected"), [("25", [1]), ("750", [2]), ("9", []), (None, [])])
def test_sub_seconds_that_differ_are_another_frame(
    journal: sqlite3.Connection, tmp_path: Path, subsec: str | None, expected: list[int]
) -> None:
    finished(tmp_path / "x.jpg", "06:00:00", subsec=subsec)
    assert pictured(journal, tmp_path)[0] == expected


def test_one_frame_in_a_second_is_still_another_where_sub_seconds_differ(
    journal: sqlite3.Connection, tmp_path: Path
) -> None:
    journal.execute("update frames set taken_at_local = '2026-03-01T06:10:00.250' where id = 3")
    finished(tmp_path / "x.jpg", "06:10:00", subsec="900")
    assert pictured(journal, tmp_path) == ([], ["No frame was taken at 2026-03-01T06:10:00.900."])


def test_another_body_or_none_or_an_original_makes_no_keeper(journal: sqlite3.Connection, tmp_path: Path) -> None:
    for number, model in enumerate(["S2", None, "M1"]):
        finished(tmp_path / f"{number}.jpg", "06:10:00", model=model)
    journal.execute("update files set path = ? where frame_id = 3", [str(tmp_path / "2.jpg")])
    keepers, problems = pictured(journal, tmp_path)
    assert keepers == []
    assert sorted(problems) == [
        "It is an original of this journal, no finished picture.",
        "No frame was taken at 2026-03-01T06:10:00.",
        "The finished picture names no body.",
    ]


def table_of(journal: sqlite3.Connection, path: Path, text: str) -> tuple[list[Verdict], list[tuple[str, str]]]:
    path.write_text(text, encoding="utf-8")
    verdicts, problems = read_verdicts(journal, path)
    return verdicts, [(problem.file.removeprefix(str(path)), problem.problem) for problem in problems]


def test_a_table_may_say_when_and_by_whom_and_is_read_twice_without_harm(
    journal: sqlite3.Connection, tmp_path: Path
) -> None:
    text = "file_name,verdict,faults,judged_at,judged_by\nA3.jpg,reject,Noise,2026-03-02T10:00Z,mentor\n"
    verdicts, problems = table_of(journal, tmp_path / "v.csv", text)
    at = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
    assert (verdicts, problems) == ([Verdict(3, "reject", ("noise",), judged_at=at, judged_by="mentor")], [])
    for _ in range(2):
        judge(journal, *verdicts, source="csv")
    assert len(told(journal, 3)) == 1


def test_bad_lines_of_a_table_keep_their_numbers_after_blank_ones(journal: sqlite3.Connection, tmp_path: Path) -> None:
    text = (
        "frame,verdict,faults,judged_at\n\n1,keeper,,\n77,keeper,,\n1,reject,,\n"
        "2,reject,noise,2026-03-02,shake\n2,keeper,,soon\n2,keeper,,2999-01-01\n2,keeper,,\n"
    )
    verdicts, problems = table_of(journal, tmp_path / "v.csv", text)
    assert [one.frame_id for one in verdicts] == [1, 2]
    assert problems == [
        (" line 4", "There is no frame '77' in this journal."),
        (" line 5", "Frame 1 is judged by an earlier line."),
        (" line 6", "'shake' stands beyond the last column."),
        (" line 7", "'soon' is no date and time."),
        (" line 8", "'2999-01-01' lies in the future."),
    ]


def test_any_file_of_a_frame_names_it(journal: sqlite3.Connection, tmp_path: Path) -> None:
    journal.execute("update frames set file_name = 'A3.dng' where id = 3")
    assert table_of(journal, tmp_path / "v.csv", "file_name,verdict\nA3.jpg,keeper\n")[0] == [Verdict(3, "keeper")]


def test_which_ratings_keep_is_the_photographers_choice() -> None:
    assert parse_kept_ratings(None, None) is None
    assert parse_kept_ratings(3, None) == {3, 4, 5}
    assert parse_kept_ratings(None, "4, 5") == {4, 5}
    for keep_from, keep_ratings in ((0, None), (6, None), (None, "7"), (None, ""), (3, "4")):
        with pytest.raises(JournalError):
            parse_kept_ratings(keep_from, keep_ratings)


def test_minus_one_rejects_and_neither_zero_nor_no_rating_says_anything(journal: sqlite3.Connection) -> None:
    found = verdicts_of_ratings(journal, frozenset({3, 4, 5}))
    assert [(one.frame_id, one.verdict) for one in found] == [(1, "keeper"), (2, "reject"), (3, "reject")]
    assert verdicts_of_ratings(journal, frozenset({2}))[0].verdict == "reject"


def test_the_kept_ratings_are_remembered_but_not_by_a_dry_run(
    path: Path, journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]
) -> None:
    command(path, capsys, "judge", "--ratings", "--keep-ratings", "2", "--dry-run")
    assert "Say it once" in command(path, capsys, "judge", "--ratings", code=1)
    assert set(verdicts_of(journal).values()) == {"unjudged"}
    command(path, capsys, "judge", "--ratings", "--keep-ratings", "2")
    assert command(path, capsys, "judge", "--ratings")["n_new"] == 0
    assert [verdicts_of(journal)[number] for number in (1, 2, 3)] == ["reject", "reject", "keeper"]


def test_a_session_names_which_frames_of_a_range_are_meant(
    path: Path, journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]
) -> None:
    journal.execute("update frames set session_id = null, burst_id = null where id = 2")
    said = command(path, capsys, "judge", "1-3", "--keeper", "--session", "1")
    assert (said["n_new"], verdicts_of(journal)[2]) == (2, "unjudged")


def test_a_dry_run_judges_nothing(path: Path, journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]) -> None:
    assert command(path, capsys, "judge", "1-2", "--keeper", "--dry-run")["n_new"] == 2
    assert set(verdicts_of(journal).values()) == {"unjudged"}


def test_verdicts_from_two_places_at_once_are_refused(
    path: Path, journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]
) -> None:
    said = command(path, capsys, "judge", "1", "--keeper", "--ratings", code=1)
    assert said.startswith("Error: Verdicts come from several places at once.\n  Next: ")


def test_frames_are_listed_with_their_verdicts(
    path: Path, journal: sqlite3.Connection, capsys: pytest.CaptureFixture[str]
) -> None:
    judge(journal, Verdict(3, "reject", ("noise",)))
    assert [row["id"] for row in command(path, capsys, "frames", "--unjudged")] == [1, 2, 4, 5]
    assert [row["faults"] for row in command(path, capsys, "frames", "--session", "1")][2] == "noise"
