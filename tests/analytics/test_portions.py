"""Long tables are read in portions: nothing is left out, nothing comes twice, no statement spans a whole table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest
from journals import changed, empty_journal, small_journal

from analytics import queries
from analytics.dataset import OpenJournal, choice_sql, portions

if TYPE_CHECKING:
    from pathlib import Path

PORTIONED = {
    "frames": (queries.JUDGED_FRAMES, {}),
    "faults": (queries.JUDGED_FAULTS, {}),
    "bursts": (queries.JUDGED_BURSTS, {}),
    "counts": (queries.COUNTS_BY_SETTING, {"setting": "exposure_time"}),
    "choices": (choice_sql.CHOICES, {"sessions": "[1, 2]"}),
}

TABLES = ("frames", "frame_faults", "bursts", "setting_counts", "choices")


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """Numbers of frames with gaps, as after a session was removed."""
    return changed(
        small_journal(tmp_path / "a.journal"),
        "pragma foreign_keys = off",
        "update frame_faults set frame_id = frame_id * 100 where frame_id > 20",
        "update frames set id = id * 100 where id > 20",
    )


@pytest.mark.parametrize("size", [1, 3, 7, 1000])
def test_the_table_of_frames_is_the_same_in_portions_of_any_size(
    journal: Path, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    with OpenJournal(journal) as opened:
        whole = opened.judged_frames(), opened.setting_counts("exposure_time")
        monkeypatch.setattr(portions, "FRAMES_A_TIME", size)
        monkeypatch.setattr(portions, "SESSIONS_A_TIME", size)
        parts = opened.judged_frames(), opened.setting_counts("exposure_time")
    assert len(whole[0]) == 40
    assert len(whole[1]) > 1
    for one, other in zip(whole, parts, strict=True):
        pd.testing.assert_frame_equal(one, other)


def test_a_portion_has_no_more_frames_than_it_should(journal: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(portions, "FRAMES_A_TIME", 7)
    with OpenJournal(journal) as opened:
        sizes = [len(rows) for rows in portions.by_frames(opened.connection, queries.JUDGED_FRAMES)]
    assert sum(sizes) == 40
    assert max(sizes) <= 7


def test_a_journal_without_frames_has_no_portions(tmp_path: Path) -> None:
    with OpenJournal(empty_journal(tmp_path / "a.journal")) as opened:
        assert list(portions.by_frames(opened.connection, queries.JUDGED_FRAMES)) == []
        assert opened.setting_counts("iso").empty


@pytest.mark.parametrize("name", PORTIONED)
def test_no_statement_of_a_portion_looks_through_a_whole_table(journal: Path, name: str) -> None:
    sql, parameters = PORTIONED[name]
    with OpenJournal(journal) as opened:
        steps = opened.rows(f"explain query plan {sql}", {"after": 5, "last": 9, **parameters})
    details = [step["detail"].split() for step in steps]
    assert any(words[0] == "SEARCH" and words[1] in TABLES for words in details)
    assert not [words for words in details if words[0] == "SCAN" and words[1] in TABLES]
