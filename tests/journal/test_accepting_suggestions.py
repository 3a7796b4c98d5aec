"""Sure suggestions become verdicts at one go, only when a person says so, and can be taken back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journals import small_journal

from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.optics.derived import DERIVED_VERSION
from journal.records.measures import Examined, Suggestion
from journal.records.verdicts import Verdict
from journal.store.accepting import accept, acceptable, to_look_at, verdict_of
from journal.store.judging import last_judging, take_back
from journal.store.measurements import store_examined
from journal.store.opening import open_journal
from journal.store.upkeep import check
from journal.store.verdicts import history, record

NOON = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)
#: Nothing is judged at first; what is suggested of each.
SUGGESTED = {
    1: {"camera shake": 0.95, "noise": 0.92, "missed focus": 0.3},
    2: {"camera shake": 0.7, "noise": 0.1},
    3: {"camera shake": 0.04, "noise": 0.02},
    4: {"camera shake": 0.15, "noise": 0.02},
    5: {"camera shake": 0.35, "noise": 0.02},
}


def suggestion(chances: dict[str, float]) -> Suggestion:
    first = max(chances, key=lambda fault: chances[fault])
    is_suggested = chances[first] >= 0.5
    return Suggestion(
        first if is_suggested else None, chances[first], not is_suggested and chances[first] >= 0.2, chances, (), "1"
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = small_journal(tmp_path / "test.journal", n_sessions=2)
    connection = open_journal(path)
    record(
        connection,
        [Verdict(number, "unjudged") for number in range(1, 23)],
        judged_by="photographer", source="command line", judged_at=NOON - timedelta(days=1),
    )  # fmt: skip
    connection.execute("update frames set derived_version = ?", [DERIVED_VERSION])
    found = [Examined(number, 1, "picture", "k", {}, suggestion(chances)) for number, chances in SUGGESTED.items()]
    store_examined(connection, found, NOON)
    connection.close()
    load_commands()
    return path


@pytest.fixture
def journal(path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(path)
    yield connection
    connection.close()


def verdicts(connection: sqlite3.Connection) -> dict[int, str]:
    return dict(connection.execute("select id, verdict from frames where id <= 6").fetchall())


def faults(connection: sqlite3.Connection, frame: int) -> set[str]:
    return {row[0] for row in connection.execute("select fault from frame_faults where frame_id = ?", [frame])}


def test_only_sure_faults_reject_and_only_frames_without_any_are_kept(journal: sqlite3.Connection) -> None:
    told, touched = accept(journal, 0.9, 1, "photographer", NOON)
    assert verdicts(journal) == {
        1: "reject", 2: "unjudged", 3: "keeper", 4: "unjudged", 5: "unjudged", 6: "unjudged",
    }  # fmt: skip
    assert faults(journal, 1) == {"camera shake", "noise"}
    assert (told.n_keepers, told.n_rejects, told.n_by_fault) == (1, 1, {"camera shake": 1, "noise": 1})
    assert touched == [1]
    assert check(journal).faults == ()


def test_several_small_chances_together_leave_a_frame_for_the_eyes() -> None:
    few, many = {"camera shake": 0.08}, {"camera shake": 0.08, "noise": 0.07, "missed focus": 0.06}
    assert verdict_of(1, suggestion(few), 0.9) == Verdict(1, "keeper")
    assert verdict_of(1, suggestion(many), 0.9) is None
    assert verdict_of(1, suggestion(many), 0.8) == Verdict(1, "keeper")


def test_the_summary_says_the_same_before_and_writes_nothing(journal: sqlite3.Connection) -> None:
    before = acceptable(journal, 0.9, 1)
    assert set(verdicts(journal).values()) == {"unjudged"}
    assert accept(journal, 0.9, 1, "photographer", NOON)[0] == before
    assert acceptable(journal, 0.9, 1).n_rejects == 0


def test_what_somebody_judged_is_left_alone(journal: sqlite3.Connection) -> None:
    record(journal, [Verdict(1, "keeper")], judged_by="mentor", source="csv", judged_at=NOON)
    accept(journal, 0.9, 1, "photographer", NOON + timedelta(hours=1))
    assert verdicts(journal)[1] == "keeper"


def test_frames_of_another_session_are_left_alone(journal: sqlite3.Connection) -> None:
    assert accept(journal, 0.9, 2, "photographer", NOON) == (acceptable(journal, 0.9, 2), [])
    assert set(verdicts(journal).values()) == {"unjudged"}


def test_taken_back_the_earlier_verdicts_return_and_the_history_keeps_both(journal: sqlite3.Connection) -> None:
    accept(journal, 0.9, None, "photographer", NOON)
    record(journal, [Verdict(3, "reject", ("timing",))], judged_by="photographer", source="page",
           judged_at=NOON + timedelta(hours=1))  # fmt: skip
    number = last_judging(journal)
    assert number is not None
    done = take_back(journal, number, NOON + timedelta(hours=2))
    assert (done.n_verdicts, done.frame_ids, done.n_unjudged) == (2, (1,), 1)
    assert done.description == "suggestions accepted from 0.9 on: 1 keeper, 1 reject"
    assert (verdicts(journal)[1], verdicts(journal)[3]) == ("unjudged", "reject")
    assert faults(journal, 1) == set()
    assert [row["taken_back_at"] is not None for row in history(journal, 1)] == [False, True]
    assert [row["judging"] for row in history(journal, 1)] == [None, done.description]
    assert check(journal).faults == ()
    summary = journal.execute("select n_judged from session_summaries where session_id = 1").fetchone()
    assert summary[0] == journal.execute(
        "select count(*) from frames where session_id = 1 and verdict <> 'unjudged'"
    ).fetchone()[0]  # fmt: skip


def test_a_judging_is_taken_back_once(journal: sqlite3.Connection) -> None:
    accept(journal, 0.9, None, "photographer", NOON)
    take_back(journal, 1, NOON)
    with pytest.raises(JournalError) as again:
        take_back(journal, 1, NOON)
    assert str(again.value) == (
        "Judging 1 was taken back already.\n  Next: Judge the frames again with: thirdstop judge"
    )
    with pytest.raises(JournalError) as unknown:
        take_back(journal, 99, NOON)
    assert unknown.value.problem == "There is no judging 99 in this journal."
    assert last_judging(journal) is None


def test_the_same_verdict_after_it_was_taken_back_is_news(journal: sqlite3.Connection) -> None:
    accept(journal, 0.9, None, "photographer", NOON)
    take_back(journal, 1, NOON)
    assert accept(journal, 0.9, None, "photographer", NOON + timedelta(hours=1))[0].n_rejects == 1
    assert verdicts(journal)[1] == "reject"


def test_frames_for_the_eyes_come_with_the_hardest_last(journal: sqlite3.Connection) -> None:
    listed = [frame.frame_id for frame in to_look_at(journal, 0.9, 1)]
    # likely fine, likely shaken, in between, and those that were never examined
    assert listed == [4, 2, 5, 6, 7, 8, 9, 10, 11]


@pytest.mark.parametrize("above", [0.4, 1.0, 1.5, float("nan")])
def test_a_certainty_that_is_none_is_refused(journal: sqlite3.Connection, above: float) -> None:
    with pytest.raises(JournalError) as refused:
        acceptable(journal, above)
    assert refused.value.problem == f"Suggestions cannot be accepted from {above:g} on."


chances = st.dictionaries(st.sampled_from(["camera shake", "noise", "missed focus"]), st.floats(0, 1), min_size=1)


@settings(deadline=None)
@given(chances, st.floats(0.5, 0.98), st.floats(0.001, 0.02))
def test_who_asks_for_more_certainty_gets_no_verdict_that_less_would_not_give(
    told: dict[str, float], above: float, more: float
) -> None:
    strict, lenient = verdict_of(1, suggestion(told), above + more), verdict_of(1, suggestion(told), above)
    assert strict is None or (lenient is not None and strict.verdict == lenient.verdict)
    if strict is not None and lenient is not None:
        assert set(strict.faults) <= set(lenient.faults)


def command(path: Path, capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> Any:
    capsys.readouterr()
    assert run([*arguments, "--journal", str(path)]) == code
    said = capsys.readouterr()
    return said.err if code else json.loads(said.out) if "--json" in arguments else said.out


def test_without_a_terminal_it_must_be_confirmed_beforehand(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = command(path, capsys, "judge", "1", "--accept-above", "0.9", code=1)
    assert told == (
        "Error: 2 suggestions would become verdicts, and nobody confirmed it.\n"
        "  Next: Look at the summary with --dry-run, then add --yes.\n"
    )
    dry = command(path, capsys, "judge", "1", "--accept-above", "0.9", "--dry-run")
    assert dry.startswith("From 0.9 on: 1 keeper and 1 reject. 9 frames left for your eyes:")
    assert command(path, capsys, "judge", "1", "--accept-above", "0.9", "--dry-run", "--json")["n_rejects"] == 1


def test_accepted_and_taken_back_on_the_command_line(
    path: Path, capsys: pytest.CaptureFixture[str], journal: sqlite3.Connection
) -> None:
    said = command(path, capsys, "judge", "--session", "1", "--accept-above", "0.9", "--yes")
    assert "2 verdicts taken." in said
    assert "Undo it with: thirdstop judge --take-back" in said
    assert verdicts(journal)[1] == "reject"
    said = command(path, capsys, "judge", "--take-back")
    assert "2 frames changed; 2 of them are unjudged again." in said
    assert set(verdicts(journal).values()) == {"unjudged"}
    told = command(path, capsys, "judge", "--take-back", code=1)
    assert told == "Error: There is nothing to take back.\n  Next: Judge frames with: thirdstop judge\n"


def test_verdicts_by_hand_can_be_taken_back_too(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command(path, capsys, "judge", "2-4", "--keeper")
    done = command(path, capsys, "judge", "--take-back", "--json")
    assert (done["description"], done["frame_ids"]) == ("3 verdicts from the command line", [2, 3, 4])


def test_frames_to_look_at_are_listed(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = command(path, capsys, "judge", "1", "--to-look-at")
    assert said.startswith("9 frames to look at, the hardest last.")
    listed = command(path, capsys, "judge", "1", "--to-look-at", "--json")
    assert [frame["frame_id"] for frame in listed][:3] == [4, 2, 5]


def test_suggestions_of_one_session_are_meant(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = command(path, capsys, "judge", "1-3", "--accept-above", "0.9", code=1)
    assert told == "Error: '1-3' is no session.\n  Next: Name one: thirdstop judge 3 --accept-above 0.9\n"
    told = command(path, capsys, "judge", "9", "--to-look-at", code=1)
    assert "There is no session 9 in this journal." in told
    told = command(path, capsys, "judge", "1", "--keeper", "--accept-above", "0.9", code=1)
    assert told.startswith("Error: Verdicts come from several places at once.")
