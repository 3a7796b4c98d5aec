"""Why a picture could not be examined is kept until it is, and told wherever its frame is asked about."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image

from analytics.cli.examination import Asked, Measure, examine_frames, frames_to_examine
from analytics.dataset import OpenJournal
from analytics.pages.frame import comparison_page, explain_frame, frame_page
from analytics.pages.frame_look import frame_looks
from analytics.pages.judge import suggestion_words
from journal.cli import load_commands, run
from journal.errors import Problem
from journal.importing.run import import_files
from journal.importing.storing import Circumstances
from journal.store.judging import frame_to_judge
from journal.store.measurements import store_unexamined
from journal.store.opening import open_journal

STAND_IN = Measure("stand_ins:measure", 1)
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "test.journal"


@pytest.fixture
def journal(tmp_path: Path, path: Path) -> Iterator[sqlite3.Connection]:
    """Two pictures, of which the second is cut short."""
    card = tmp_path / "card"
    card.mkdir()
    for shade, name in enumerate(("sharp-1", "broken-2")):
        Image.new("RGB", (48, 32), (90 * shade, 80, 90)).save(card / f"{name}.jpg")
    connection = open_journal(path)
    import_files(connection, [card], Circumstances(UTC), previews=False)
    yield connection
    connection.close()


def examine(connection: sqlite3.Connection, path: Path) -> list[Problem]:
    return examine_frames(connection, path, frames_to_examine(connection, Asked(), STAND_IN), STAND_IN).problems


def number(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute("select id from frames where file_name = ?", [name]).fetchone()[0])


def test_it_is_told_by_the_explanation_the_comparison_and_where_one_judges(
    journal: sqlite3.Connection, path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = number(journal, "broken-2.jpg")
    assert frame_to_judge(journal, before).why_unexamined is None
    examine(journal, path)
    broken, sharp = before, number(journal, "sharp-1.jpg")
    with OpenJournal(path) as opened:
        (told,) = [part.before for part in frame_page(opened, broken, {}).parts if part.heading == "Suggestion"]
        assert told == (
            "None: the picture could not be examined. The file is cut short. Next, where its file is at hand: "
            "thirdstop examine",
        )
        seen = frame_looks(opened, [explain_frame(opened, each, {}) for each in (sharp, broken)])
        assert [look.has_original for look in seen] == [True, False]
        unknown = " ".join(str(part) for part in comparison_page(opened, sharp, broken, {}).parts)
        assert f"frame {broken}: its picture could not be examined" in unknown
    frame = frame_to_judge(journal, broken)
    assert (
        suggestion_words(frame.suggestion, None, frame.why_unexamined)
        == "none, for the picture could not be examined: The file is cut short"
    )
    load_commands()
    assert run(["judge", "--to-look-at", "--journal", str(path)]) == 0
    assert "could not be examined" in capsys.readouterr().out


def test_it_is_forgotten_as_soon_as_the_picture_is_examined(journal: sqlite3.Connection, path: Path) -> None:
    sharp = number(journal, "sharp-1.jpg")
    store_unexamined(journal, {sharp: Problem("/card/sharp-1.jpg", "The disk is away.", "Bring it back.")}, NOON)
    assert frame_to_judge(journal, sharp).why_unexamined == "The disk is away."
    examine(journal, path)
    assert frame_to_judge(journal, sharp).why_unexamined is None


def test_a_frame_that_was_deleted_meanwhile_is_passed_over(journal: sqlite3.Connection) -> None:
    store_unexamined(journal, {99: Problem("a.jpg", "It is gone.", "None.")}, NOON)
    assert journal.execute("select count(*) from unexamined").fetchone()[0] == 0


@pytest.mark.parametrize(
    ("problem", "told"),
    [
        ("a b.jpg is cut short.", "The file is cut short."),
        ("The original cannot be read: denied.", "The original cannot be read: denied."),
        ("a b.jpgs are many.", "a b.jpgs are many."),
    ],
)
def test_the_sentence_names_no_file(problem: str, told: str) -> None:
    assert Problem("/home/someone/a b.jpg", problem, "").about_the_file() == told
