"""Every statement of the reading side on an empty and a small journal, and what the opened journal keeps back."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest
from journals import INSTANT, empty_journal, small_journal

import analytics
from analytics import queries
from analytics.dataset import OpenJournal, choice_sql
from analytics.dataset.choosing import NAME_OF
from analytics.dataset.scales import SCALES, WORDS
from analytics.pages.settings import NAMES, SETTINGS
from analytics.queries import mentors, publishing
from analytics.queries import session as of_session
from journal.errors import JournalError
from journal.schema.migrations import SCHEMA_VERSION
from journal.schema.setting_keys import SETTING_KEYS
from journal.store.opening import open_journal

if TYPE_CHECKING:
    from pathlib import Path

STATEMENTS = {
    name: text
    for module in (queries, choice_sql, mentors, publishing, of_session)
    for name, text in vars(module).items()
    if isinstance(text, str) and text.lstrip().startswith(("select", "with")) and name.isupper()
}
#: What a small journal has none of.
MAY_BE_EMPTY = {"ADVICE", "WITH_ORIGINAL", "ORIGINAL", "REVIEWS", "COMMENTS", "MENTOR_VERDICTS", "RECENT_LIGHT"} | {
    "ANCHOR_ROUNDS",
    "MENTOR_LINKS",
    "COMMENTS_ON",
    "COMMENTS_BY",
    "MENTOR_VERDICTS_ON",
    "MENTOR_VERDICTS_BY",
}
PARAMETERS = {
    "setting": "iso",
    "number": 1,
    "limit": 5,
    "offset": 0,
    "instant": "2026-03-04",
    "numbers": "[1, 5]",
    "fault": "camera shake",
    "sessions": "[1]",
    "since": None,
    "until": None,
    "review": None,
    "bursts": "[1]",
    "verdict": None,
    "about": "frame",
    "session": None,
    "frame": 1,
    "habit": None,
    "mentor": None,
    "after": 0,
    "last": 100,
    "size": 5,
    "now": "2026-03-04T00:00:00Z",
    "started_at": "2026-03-01T06:40:00Z",
    "ended_at": "2026-03-01T06:40:00Z",
}


@pytest.mark.parametrize("make", [empty_journal, small_journal])
@pytest.mark.parametrize("name", sorted(STATEMENTS))
def test_every_statement_runs(tmp_path: Path, name: str, make: object) -> None:
    with OpenJournal(make(tmp_path / "a.journal")) as journal:  # type: ignore[operator]
        sql = STATEMENTS[name]
        rows = journal.rows(sql.format(more="", where="1") if "{" in sql else sql, PARAMETERS)
        assert rows or make is empty_journal or name in MAY_BE_EMPTY
    assert len(STATEMENTS) >= 11


def test_the_totals_of_an_empty_journal_are_zeros(tmp_path: Path) -> None:
    with OpenJournal(empty_journal(tmp_path / "a.journal")) as journal:
        assert set(journal.totals().values()) == {0}
        assert journal.frames().empty
        assert journal.sessions().empty
        assert journal.setting_counts("iso").empty
        assert not len(journal.choices().burst)
        assert journal.simulated() is None


def test_totals_count_frames_of_no_session_apart(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", n_sessions=2)
    connection = open_journal(path)
    connection.execute("insert into frames (frame_key, file_name) values ('alone', 'a.jpg')")
    connection.close()
    with OpenJournal(path) as journal:
        assert journal.totals() == {"n_frames": 22, "n_judged": 20, "n_keepers": 10, "n_sessions": 2, "n_outside": 1}


def test_every_setting_that_can_be_typed_has_a_name_and_a_key() -> None:
    assert set(SETTINGS.values()) == set(NAMES) == {*SCALES, *WORDS} > set(SETTING_KEYS)
    assert {setting: name for name, setting in SETTINGS.items()} == NAME_OF


def test_positions_and_serial_numbers_come_only_when_asked_for(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal")) as journal:
        frames, sessions = journal.frames(), journal.sessions()
        assert not {"latitude", "longitude", "place", "body_serial_number"} & {*frames.columns, *sessions.columns}
        more = journal.frames(with_positions=True, with_serials=True)
        assert (more["latitude"][0], more["body_serial_number"][0]) == (12.3456789, "SERIAL-77")
        assert journal.sessions(with_positions=True)["latitude"][0] == 12.3456789


def test_unknown_stays_unknown_in_the_frame_table(tmp_path: Path) -> None:
    frames = analytics.open_journal(small_journal(tmp_path / "a.journal", 1)).frames()
    unjudged = frames[frames["verdict"] == "unjudged"].iloc[0]
    assert unjudged[["exposure_time_s", "ev100", "lens", "faults"]].isna().all()
    assert frames["iso"].tolist() == [400] * 11


def test_an_opened_journal_cannot_be_changed(tmp_path: Path) -> None:
    with (
        OpenJournal(small_journal(tmp_path / "a.journal")) as journal,
        pytest.raises(sqlite3.OperationalError),
    ):
        journal.connection.execute("delete from frames")


def test_a_journal_under_a_name_with_signs_of_an_address_opens(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "50%? #1.journal", 1)) as journal:
        assert journal.totals()["n_frames"] == 11


def test_inside_a_snapshot_everything_is_of_one_moment(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    writer = open_journal(path)
    with OpenJournal(path) as journal:
        before = journal.version()
        with journal.snapshot():
            n_before = len(journal.frames())
            writer.execute("insert into frames (frame_key, file_name) values ('new', 'a.jpg')")
            assert len(journal.frames()) == n_before
        assert len(journal.frames()) == n_before + 1
        assert journal.version() != before
    writer.close()


def test_simulated_sessions_are_said_to_be(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 3, is_simulated=True)
    with OpenJournal(path) as journal:
        assert journal.simulated() == "Simulated data"
    writer = open_journal(path)
    writer.execute(
        "insert into sessions (started_at, ended_at, created_at, changed_at) values (?, ?, ?, ?)", [INSTANT] * 4
    )
    writer.close()
    with OpenJournal(path) as journal:
        assert journal.simulated() == "Simulated data in 3 of 4 sessions"


def test_what_cannot_be_read_is_refused_with_a_next_step(tmp_path: Path) -> None:
    missing, text, newer = tmp_path / "none.journal", tmp_path / "text.journal", tmp_path / "newer.journal"
    text.write_text("not a database", encoding="utf-8")
    connection = sqlite3.connect(empty_journal(newer))
    connection.execute("pragma user_version = 99")
    connection.close()
    said = {}
    for path in (missing, text, newer):
        with pytest.raises(JournalError) as caught:
            OpenJournal(path)
        said[path] = (caught.value.problem, caught.value.next_step)
    assert said == {
        missing: (f"There is no journal at {missing}.", "Make one with: thirdstop log, or see: thirdstop demo"),
        text: (f"{text} is not a journal.", "Choose a journal with --journal PATH."),
        newer: (
            f"The journal {newer} has schema 99; this version of thirdstop reads schema {SCHEMA_VERSION}.",
            "Run thirdstop sessions, which brings an older journal up to date; for a newer one, update thirdstop.",
        ),
    }
