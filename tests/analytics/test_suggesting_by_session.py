"""Suggestions of a session: burst, intent and verdicts count, and accepted suggestions teach nothing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from journals import small_journal
from stand_ins import measure
from typer.testing import CliRunner

from analytics.cli.examination import Examination
from analytics.cli.examine import changed_words
from analytics.cli.suggesting import look_at_sessions
from analytics.examining.findings import examined
from analytics.pixels import MEASURE_VERSION
from journal.cli import load_commands
from journal.cli.app import app
from journal.records.measures import ToExamine
from journal.records.verdicts import Verdict
from journal.store.accepting import accept
from journal.store.judging import take_back
from journal.store.measurements import judged_and_measured, sessions_left_alone, store_examined
from journal.store.opening import open_journal
from journal.store.verdicts import record

NOON = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """Two sessions of eleven frames, nothing judged."""
    connection = open_journal(small_journal(tmp_path / "test.journal", n_sessions=2))
    connection.execute("update frames set verdict = 'unjudged'")
    connection.execute("delete from frame_faults")
    yield connection
    connection.close()


def measured(connection: sqlite3.Connection, kinds: dict[int, str], **changes: Any) -> None:
    found = []
    for number, kind in kinds.items():
        frame = ToExamine(number, f"/{kind}-{number}.jpg", "jpeg", 1, 1, "k")
        found.append(examined(frame, measure(frame.path, {}) | changes, {}))
    store_examined(connection, found, NOON)


def look(connection: sqlite3.Connection, *session_ids: int) -> Any:
    return look_at_sessions(connection, Examination(), session_ids, 1)


def chance(connection: sqlite3.Connection, frame: int, fault: str) -> float:
    row = connection.execute("select probabilities from suggestions where frame_id = ?", [frame]).fetchone()
    return float(json.loads(row[0])[fault])


def test_pictures_that_were_measured_alone_are_looked_at_with_their_session(journal: sqlite3.Connection) -> None:
    measured(journal, dict.fromkeys(range(1, 6), "sharp"))
    assert sessions_left_alone(journal) == [1]
    look(journal)
    assert sessions_left_alone(journal) == []
    assert {row[0] for row in journal.execute("select model_version from suggestions")} == {"stand-in 1"}


def test_the_best_exposed_frame_of_a_burst_speaks_against_a_dark_one(journal: sqlite3.Connection) -> None:
    measured(journal, {1: "sharp", 2: "sharp"})
    measured(journal, {3: "dark"}, exposure=0.6)
    alone = chance(journal, 3, "underexposed")
    look(journal)
    assert chance(journal, 3, "underexposed") > alone
    evidence = json.loads(journal.execute("select evidence from suggestions where frame_id = 3").fetchone()[0])
    assert any("than the best-exposed frame of its burst" in sentence for sentence in evidence)


def test_the_stated_intent_counts(journal: sqlite3.Connection) -> None:
    measured(journal, {1: "dark", 12: "dark"})
    journal.execute("update sessions set intent = 'silhouettes of rowers at night' where id = 1")
    look(journal)
    assert chance(journal, 1, "underexposed") < chance(journal, 12, "underexposed")


def test_an_intent_that_is_stated_later_counts_at_once(journal: sqlite3.Connection, tmp_path: Path) -> None:
    measured(journal, {1: "dark", 2: "dark", 12: "dark"}, measure_version=MEASURE_VERSION, exposure=0.7)
    load_commands()
    found = CliRunner().invoke(app, ["edit", "1", "--intent", "low key", "--journal", str(tmp_path / "test.journal")])
    assert found.output == "Session 1 is changed. That changes 2 suggestions.\n"
    assert chance(journal, 1, "underexposed") < 0.5 < chance(journal, 12, "underexposed")
    again = CliRunner().invoke(app, ["edit", "1", "--place", "quay", "--journal", str(tmp_path / "test.journal")])
    assert again.output == "Session 1 is changed.\n"


def test_frames_of_no_session_are_looked_at_as_well(journal: sqlite3.Connection) -> None:
    journal.execute("update frames set session_id = null, burst_id = null where id in (1, 2)")
    measured(journal, {1: "shaken", 2: "sharp"})
    look(journal)
    assert sessions_left_alone(journal) == []
    assert journal.execute("select fault from suggestions where frame_id = 1").fetchone()[0] == "camera shake"


def test_verdicts_teach_what_is_tolerated(journal: sqlite3.Connection) -> None:
    kinds = dict.fromkeys(range(1, 12), "shaken")
    measured(journal, kinds, shake=0.7)
    look(journal)
    before = chance(journal, 11, "camera shake")
    record(journal, [Verdict(number, "keeper") for number in range(1, 11)], judged_by="photographer",
           source="command line", judged_at=NOON)  # fmt: skip
    outcome = look(journal, 1)
    assert outcome.tolerance.softness < 0
    assert outcome.tolerance.n_frames == 10
    # of eleven frames examined earlier some are suggested something else, and that is said
    assert outcome.n_changed > 0
    assert "earlier suggestions changed, by what has been judged" in changed_words(outcome.n_changed)
    assert look(journal, 1).n_changed == 0
    assert changed_words(0) == ""
    assert chance(journal, 11, "camera shake") < before


def test_accepted_suggestions_say_nothing_about_suggestions(journal: sqlite3.Connection) -> None:
    measured(journal, dict.fromkeys(range(1, 6), "shaken"))
    look(journal)
    accept(journal, 0.9, None, "photographer", NOON)
    assert journal.execute("select count(*) from frames where verdict = 'reject'").fetchone()[0] == 5
    assert judged_and_measured(journal, 1, 100) == []
    assert look(journal, 1).agreement is None
    take_back(journal, 1, NOON)
    record(journal, [Verdict(1, "reject", ("camera shake",))], judged_by="photographer", source="page",
           judged_at=NOON + timedelta(hours=1))  # fmt: skip
    assert [row["frame_id"] for row in judged_and_measured(journal, 1, 100)] == [1]


def test_agreement_with_the_verdicts_is_counted_by_frames_and_bursts(journal: sqlite3.Connection) -> None:
    measured(journal, {1: "shaken", 2: "sharp", 6: "shaken", 7: "sharp", 12: "plain"})
    look(journal)
    given = [Verdict(1, "reject", ("camera shake",)), Verdict(2, "keeper"), Verdict(6, "keeper"),
             Verdict(7, "keeper"), Verdict(12, "keeper")]  # fmt: skip
    record(journal, given, judged_by="photographer", source="command line", judged_at=NOON)
    agreement = look(journal).agreement
    # frame 12 could not be told; of the other four one differs
    assert (agreement.share, agreement.n_frames, agreement.n_bursts) == (0.75, 4, 2)


def test_what_was_learned_from_a_verdict_does_not_count_as_agreeing_with_it(journal: sqlite3.Connection) -> None:
    def keep(numbers: range, at: datetime) -> None:
        kept = [Verdict(number, "keeper") for number in numbers]
        record(journal, kept, judged_by="photographer", source="command line", judged_at=at)

    def n_fine(numbers: range) -> int:
        rows = journal.execute("select frame_id from suggestions where fault is null and not is_unsure")
        return len({row[0] for row in rows} & set(numbers))

    first, second = range(1, 12), range(12, 23)
    measured(journal, dict.fromkeys((*first, *second), "shaken"), shake=0.52)
    keep(first, NOON)
    outcome = look(journal, 1)
    assert (n_fine(first), n_fine(second)) == (11, 11)
    # nothing was known before the one session that is judged: all its frames would be called shaken
    assert (outcome.agreement.share, outcome.agreement.n_frames) == (0.0, 11)
    keep(second, NOON + timedelta(hours=1))
    # now either session speaks for the other
    assert (look(journal).agreement.share, n_fine(first)) == (1.0, 11)


def test_rejects_for_what_no_picture_shows_neither_agree_nor_disagree(journal: sqlite3.Connection) -> None:
    measured(journal, {1: "sharp", 2: "sharp", 6: "sharp"})
    look(journal)
    given = [Verdict(1, "reject", ("timing",)), Verdict(2, "keeper"), Verdict(6, "reject", ("framing", "noise"))]
    record(journal, given, judged_by="photographer", source="command line", judged_at=NOON)
    agreement = look(journal).agreement
    assert (agreement.share, agreement.n_frames) == (0.5, 2)


def test_measures_of_another_version_are_passed_over(journal: sqlite3.Connection) -> None:
    measured(journal, {1: "shaken"}, measure_version=0)
    look(journal)
    assert sessions_left_alone(journal) == [1]
