"""Reviews and their answers in the journal: taken in once, only where they belong, beside the own verdicts."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from journals import small_journal

from journal.errors import JournalError
from journal.records.reviews import Answer, Comment, MentorVerdict, Review
from journal.schema.migrations import STEPS, migrate, schema_version
from journal.store.opening import open_journal
from journal.store.reviews import add_review, sort_answer, take_in
from journal.store.upkeep import check

AT = "2026-04-02T18:00:00Z"
READ = datetime(2026, 4, 3, 8, tzinfo=UTC)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """Four sessions of eleven frames; the review holds session 2 (frames 12 to 22) and frame 1."""
    connection = open_journal(small_journal(tmp_path / "a.journal"))
    add_review(connection, Review("r" * 32, AT, ("Too slow?", "Too dark?"), (2,), (1,)))
    yield connection
    connection.close()


def comment(key: str, **place: int | str) -> Comment:
    about = {"session_id": "session", "frame_id": "frame", "question": "question", "habit": "habit"}
    return Comment(key, about.get(next(iter(place), ""), "whole"), "Well seen.", AT, **place)  # type: ignore[arg-type]


def test_an_answer_is_taken_in_once_however_often_it_is_read(journal: sqlite3.Connection) -> None:
    verdicts = (MentorVerdict("v1", 12, "reject", ("noise", "framing"), AT),)
    answer = Answer("r" * 32, "Ida", (comment("c1"), comment("c2", frame_id=13)), verdicts)
    assert len(sort_answer(journal, answer).comments) == 2
    first, second = take_in(journal, answer, READ), take_in(journal, answer, READ)
    assert (len(first.comments), len(first.verdicts), first.n_known) == (2, 1, 0)
    assert (len(second.comments), len(second.verdicts), second.n_known) == (0, 0, 3)
    rows = journal.execute("select mentor, about, frame_id, said_at, read_at from comments order by id").fetchall()
    assert [tuple(row) for row in rows] == [
        ("Ida", "whole", None, AT, "2026-04-03T08:00:00.000Z"),
        ("Ida", "frame", 13, AT, "2026-04-03T08:00:00.000Z"),
    ]
    faults = journal.execute("select fault from mentor_verdict_faults order by fault").fetchall()
    assert [row[0] for row in faults] == ["framing", "noise"]


def test_the_own_verdicts_stay_as_they_are(journal: sqlite3.Connection) -> None:
    before = [tuple(row) for row in journal.execute("select id, verdict from frames")]
    take_in(journal, Answer("r" * 32, "Ida", (), (MentorVerdict("v1", 12, "reject", (), AT),)), READ)
    assert [tuple(row) for row in journal.execute("select id, verdict from frames")] == before
    assert journal.execute("select count(*) from verdicts").fetchone()[0] == 0


def test_an_answer_to_another_review_is_refused(journal: sqlite3.Connection) -> None:
    with pytest.raises(JournalError) as refused:
        take_in(journal, Answer("s" * 32, "Ida", (comment("c1"),), ()), READ)
    assert str(refused.value) == (
        "These comments answer a review that this journal did not make.\n"
        "  Next: Choose the journal that made it with --journal PATH."
    )
    assert journal.execute("select count(*) from comments").fetchone()[0] == 0


def test_what_is_about_no_place_of_the_review_is_left_out(journal: sqlite3.Connection) -> None:
    inside = (
        comment("c1", question=2),
        comment("c2", session_id=2),
        comment("c3", frame_id=1),
        comment("c4", habit="x"),
    )
    outside = (comment("c5", question=3), comment("c6", session_id=1), comment("c7", frame_id=2))
    verdicts = (MentorVerdict("v1", 2, "keeper", (), AT), MentorVerdict("v2", 1, "keeper", (), AT))
    found = take_in(journal, Answer("r" * 32, "Ida", (*inside, *outside), verdicts), READ)
    assert ([one.key for one in found.comments], [one.key for one in found.verdicts]) == (
        ["c1", "c2", "c3", "c4"],
        ["v2"],
    )
    assert found.n_elsewhere == 4


def test_an_answer_that_fails_half_way_leaves_nothing(journal: sqlite3.Connection) -> None:
    broken = Answer("r" * 32, "Ida", (comment("c1"),), (MentorVerdict("v1", 12, "perhaps", (), AT),))
    with pytest.raises(sqlite3.IntegrityError):
        take_in(journal, broken, READ)
    assert journal.execute("select count(*) from comments").fetchone()[0] == 0


def test_a_comment_outlives_the_session_that_it_is_about(journal: sqlite3.Connection) -> None:
    take_in(journal, Answer("r" * 32, "Ida", (comment("c1", session_id=2),), ()), READ)
    journal.execute("delete from sessions where id = 2")
    assert tuple(journal.execute("select session_id, body from comments").fetchone()) == (None, "Well seen.")


def test_a_journal_from_before_reviews_keeps_what_it_holds(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "new.journal")
    tables = ("sessions", "frames", "bursts", "frame_faults", "previews", "setting_counts", "session_summaries")
    old = sqlite3.connect(tmp_path / "old.journal", isolation_level=None)
    migrate(old, tmp_path / "old.journal", STEPS[:2])
    assert schema_version(old) == 2
    old.execute("attach ? as new", [str(path)])
    for table in ("bodies", "lenses", *tables):
        old.execute(f"insert into main.{table} select * from new.{table}")
    old.execute("insert into advice (habit, advice, given_at) values ('slow_by_hand', 'faster', ?)", [AT])
    held = {table: old.execute(f"select * from main.{table}").fetchall() for table in (*tables, "advice")}
    old.close()
    connection = open_journal(tmp_path / "old.journal")
    assert schema_version(connection) == len(STEPS)
    assert {name: [tuple(row) for row in connection.execute(f"select * from {name}")] for name in held} == held
    assert add_review(connection, Review("r" * 32, AT, (), (1,), ())) == 1
    connection.close()
    backup = tmp_path / "old.journal.schema-2.backup"
    assert backup.exists()


def test_a_journal_with_answers_is_sound(journal: sqlite3.Connection) -> None:
    before = check(journal).faults
    take_in(journal, Answer("r" * 32, "Ida", (comment("c1", frame_id=12),), ()), READ)
    assert check(journal).faults == before
