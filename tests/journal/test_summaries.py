"""What the summary tables say, against frames counted by hand."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest

from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name
from journal.schema.choices import CHOICES
from journal.schema.labels import LABELS
from journal.schema.migrations import STEPS, migrate
from journal.schema.setting_keys import setting_label
from journal.store.opening import open_journal, writing
from journal.store.summaries import refresh, refresh_bursts

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SUMMARIES = ("cells", "choices", "session_summaries", "setting_counts")
INSTANT = "2026-03-01T06:40:00Z"


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(tmp_path / "test.journal")
    connection.execute(
        "insert into sessions (id, started_at, ended_at, created_at, changed_at) values (1, ?, ?, ?, ?)",
        [INSTANT, INSTANT, INSTANT, INSTANT],
    )
    connection.executemany("insert into bursts (id, session_id) values (?, 1)", [(1,), (2,)])
    yield connection
    connection.close()


def add_frame(journal: sqlite3.Connection, number: int, burst: int, tv6: int, verdict: str, *faults: str) -> None:
    journal.execute(
        "insert into frames (id, frame_key, session_id, burst_id, file_name, tv6, av6, sv6, verdict) "
        "values (?, ?, 1, ?, 'a.jpg', ?, 30, 12, ?)",
        [number, str(number), burst, tv6, verdict],
    )
    journal.executemany("insert into frame_faults values (?, ?)", [(number, fault) for fault in faults])


def test_a_cell_counts_a_fault_only_where_no_other_fault_hides_it(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "keeper")
    add_frame(journal, 2, 1, -36, "reject", "camera shake")
    add_frame(journal, 3, 1, -36, "reject", "camera shake", "missed focus")
    add_frame(journal, 4, 1, -36, "unjudged")
    refresh(journal, [1])
    cell = journal.execute("select * from cells").fetchone()
    counts = (cell["n_frames"], cell["n_judged"], cell["n_keepers"])
    shake = (cell["n_shake"], cell["y_shake"], cell["only_shake"])
    focus = (cell["n_focus"], cell["y_focus"], cell["only_focus"])
    assert (counts, shake, focus) == ((4, 3, 1), (2, 1, 1), (1, 0, 0))


def test_setting_counts_hold_frames_judged_and_keepers_by_burst(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "keeper")
    add_frame(journal, 2, 1, -42, "reject", "noise")
    add_frame(journal, 3, 2, -42, "unjudged")
    refresh(journal, [1])
    rows = journal.execute(
        "select burst_id, key, n_frames, n_judged, n_keepers from setting_counts "
        "where setting = 'exposure_time' order by burst_id, sort_key desc"
    ).fetchall()
    assert [tuple(row) for row in rows] == [(1, "1/60", 1, 1, 1), (1, "1/125", 1, 1, 0), (2, "1/125", 1, 0, 0)]


def test_the_session_summary_names_the_commonest_fault(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "reject", "noise", "timing")
    add_frame(journal, 2, 1, -36, "reject", "noise")
    add_frame(journal, 3, 2, -36, "keeper")
    refresh(journal, [1])
    assert tuple(journal.execute("select * from session_summaries").fetchone()) == (1, 3, 2, 3, 1, 2, "noise", 2)


def test_refreshing_twice_changes_nothing(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "keeper")
    refresh(journal, [1])
    first = [tuple(row) for row in journal.execute("select * from setting_counts")]
    refresh(journal, [1])
    assert [tuple(row) for row in journal.execute("select * from setting_counts")] == first


def test_refreshing_some_bursts_gives_what_refreshing_all_gives(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "keeper")
    add_frame(journal, 2, 2, -42, "reject", "noise")
    refresh(journal, [1])
    add_frame(journal, 3, 2, -48, "reject", "timing")
    refresh_bursts(journal, 1, [2])
    some = [sorted(map(repr, map(tuple, journal.execute(f"select * from {name}")))) for name in SUMMARIES]
    refresh(journal, [1])
    assert some == [sorted(map(repr, map(tuple, journal.execute(f"select * from {name}")))) for name in SUMMARIES]


def test_a_change_marks_the_choices_of_its_session_alone(journal: sqlite3.Connection) -> None:
    journal.execute(
        "insert into sessions (id, started_at, ended_at, created_at, changed_at) values (2, ?, ?, ?, ?)", [INSTANT] * 4
    )
    refresh(journal, [1, 2])
    before = dict(journal.execute("select session_id, stamp from choice_stamps").fetchall())
    refresh(journal, [2])
    after = dict(journal.execute("select session_id, stamp from choice_stamps").fetchall())
    assert (before[1] == after[1], before[2] == after[2]) == (True, False)


def test_a_journal_from_before_choices_is_given_those_of_its_frames(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    old = sqlite3.connect(path, isolation_level=None)
    migrate(old, path, STEPS[: STEPS.index(CHOICES)])
    old.execute(
        "insert into sessions (id, started_at, ended_at, created_at, changed_at) values (1, ?, ?, ?, ?)", [INSTANT] * 4
    )
    old.executemany("insert into bursts (id, session_id) values (?, 1)", [(1,), (2,)])
    for number, verdict in enumerate(("keeper", "reject", "unjudged", "keeper"), start=1):
        add_frame(old, number, 1 + number % 2, -36 - number // 3, verdict)
    old.execute("insert into frames (frame_key, file_name) values ('outside', 'a.jpg')")
    old.close()
    new = open_journal(path)
    given = sorted(map(repr, map(tuple, new.execute("select * from choices"))))
    refresh(new, [1])
    assert given == sorted(map(repr, map(tuple, new.execute("select * from choices"))))
    assert len(given) == 4 and new.execute("select sum(n_judged) from choices").fetchone()[0] == 3
    new.close()


def test_a_journal_from_before_has_its_labels_written_as_they_are_now(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    old = sqlite3.connect(path, isolation_level=None)
    migrate(old, path, STEPS[: STEPS.index(LABELS)])
    old.executemany(
        "insert into sessions (id, is_suggested, started_at, ended_at, created_at, changed_at) "
        "values (?, ?, ?, ?, ?, ?)",
        [(1, 1, *[INSTANT] * 4), (2, 0, *[INSTANT] * 4)],
    )
    old.executemany("insert into bursts (id, session_id) values (?, ?)", [(1, 1), (2, 1), (3, 2)])
    for number, burst in enumerate((1, 1, 2, 3), start=1):
        add_frame(old, number, burst, -36, "keeper")
    old.execute("update frames set session_id = 2 where burst_id = 3")
    old.execute("update frames set taken_at_local = '2025-02-01T06:40:00' where id = 1")
    old.executemany("update frames set av6 = ? where id = ?", [(24, 1), (24, 2), (30, 3), (40, 4)])
    counts = (("f/4.0", 24, 1, 1, 2), ("f/5.6", 30, 1, 2, 1), ("f/10", 40, 2, 3, 1))
    for label, key, session, burst, n in counts:
        row = [session, burst, label, key, n, n, n]
        old.execute("insert into setting_counts values ('f_number', ?, ?, ?, ?, ?, ?, ?)", row)
    for session, burst, n in ((1, 1, 2), (1, 2, 1), (2, 3, 1)):
        row = [session, burst, INSTANT[:7], 12.0 * int(INSTANT[:4]) + int(INSTANT[5:7]), n, n, n]
        old.execute("insert into setting_counts values ('month', ?, ?, ?, ?, ?, ?, ?)", row)
    old.close()
    new = open_journal(path)
    sql = "select * from setting_counts where setting in ('f_number', 'month')"
    given = sorted(map(repr, map(tuple, new.execute(sql))))
    refresh(new, [1, 2])
    assert given == sorted(map(repr, map(tuple, new.execute(sql))))
    labels = {row["key"] for row in new.execute(sql)}
    assert labels == {"f/4", "f/5.6", "f/10", "2025-02", INSTANT[:7], None}
    new.close()


def test_a_session_that_is_gone_has_no_summaries(journal: sqlite3.Connection) -> None:
    add_frame(journal, 1, 1, -36, "keeper")
    refresh(journal, [1])
    with writing(journal):
        journal.execute("delete from sessions where id = 1")
        refresh(journal, [1])
    assert journal.execute("select count(*) from setting_counts").fetchone()[0] == 0


@pytest.mark.parametrize(
    ("setting", "key", "label"),
    [
        ("exposure_time", -42, "1/125"),
        ("f_number", 30, "f/5.6"),
        ("iso", 12, "ISO 400"),
        ("stops_below_rule", 4, "1 stop below the rule"),
        ("stops_below_rule", -6, "2 stops above the rule"),
        ("stops_below_rule", 1, "at the rule"),
        ("ev100", 37, "EV 12"),
        ("lens", None, None),
    ],
)
def test_labels_are_what_a_photographer_reads(setting: str, key: float | None, label: str | None) -> None:
    assert setting_label(setting, key)[0] == label


@pytest.mark.parametrize(("tv6", "name"), [(0, "1 s"), (30, "30 s"), (-60, "1/1000"), (-39, "1/90"), (36, "64 s")])
def test_times_carry_their_engraved_names(tv6: int, name: str) -> None:
    assert nominal_time_name(tv6) == name


@pytest.mark.parametrize(("av6", "name"), [(0, "f/1"), (10, "f/1.8"), (42, "f/11"), (48, "f/16")])
def test_apertures_carry_their_engraved_names(av6: int, name: str) -> None:
    assert nominal_f_number_name(av6) == name


@pytest.mark.parametrize(("sv6", "name"), [(0, "ISO 100"), (22, "ISO 1250"), (30, "ISO 3200"), (-4, "ISO 64")])
def test_speeds_carry_their_names(sv6: int, name: str) -> None:
    assert nominal_iso_name(sv6) == name
