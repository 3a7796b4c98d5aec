"""What a judging page asks of the store: what comes next, one verdict, taking it back; with several clients at once."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from journals import small_journal

from journal.errors import JournalError
from journal.optics.derived import DERIVED_VERSION
from journal.records.judging import Given
from journal.records.measures import Examined, Suggestion
from journal.records.verdicts import Verdict
from journal.store.judging import (
    JudgedMeanwhileError,
    burst_to_judge,
    frame_to_judge,
    last_judging,
    next_burst,
    next_frame,
    set_verdict,
    take_back,
)
from journal.store.measurements import store_examined
from journal.store.opening import open_journal
from journal.store.upkeep import check
from journal.store.verdicts import history, record

NOON = datetime(2026, 3, 20, 12, 0, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Session 1: bursts 1 and 2 with frames 1 to 5 and 6 to 11, nothing judged."""
    path = small_journal(tmp_path / "test.journal", n_sessions=2)
    connection = open_journal(path)
    record(connection, [Verdict(number, "unjudged") for number in range(1, 23)], judged_by="photographer",
           source="command line", judged_at=NOON - timedelta(days=1))  # fmt: skip
    connection.execute("update frames set derived_version = ?, position_in_burst = (id - 1) % 5", [DERIVED_VERSION])
    connection.execute("update bursts set started_at = '2026-03-01T07:00:00.000Z' where id = 1")
    connection.execute("update bursts set started_at = '2026-03-01T06:00:00.000Z' where id = 2")
    connection.close()
    return path


@pytest.fixture
def journal(path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(path)
    yield connection
    connection.close()


def give(connection: sqlite3.Connection, verdict: Verdict, expected: int | None = None, client: str = "a") -> Given:
    if expected is None:
        expected = frame_to_judge(connection, verdict.frame_id).verdict_id
    return set_verdict(connection, verdict, expected, client, "photographer", NOON)


def test_bursts_come_in_the_order_of_the_day(journal: sqlite3.Connection) -> None:
    first = next_burst(journal, 1)
    assert first is not None
    assert (first.burst_id, len(first.frames), first.n_bursts_left) == (2, 6, 2)
    second = next_burst(journal, 1, after=2)
    assert second is not None and second.burst_id == 1
    assert [frame.position_in_burst for frame in second.frames] == [0, 1, 2, 3, 4]
    assert next_burst(journal, 1, after=1) is None


def test_bursts_that_are_judged_throughout_are_passed_over_unless_asked_for(journal: sqlite3.Connection) -> None:
    for number in range(6, 12):
        give(journal, Verdict(number, "keeper"))
    left = next_burst(journal, 1)
    assert left is not None and (left.burst_id, left.n_bursts_left) == (1, 1)
    again = next_burst(journal, 1, judged=True)
    assert again is not None and again.burst_id == 2


def test_a_place_that_an_earlier_version_stored_twice_is_told_once(journal: sqlite3.Connection) -> None:
    place = "at the likely subject edges spread {}, around it 1.6 px"
    stored = (place.format("4.6 px"), "1/80 at 85 mm", place.format("4.5 px"), "1/30 at 85 mm", "1/80 at 85 mm")
    suggested = Suggestion("missed focus", 0.8, False, {"missed focus": 0.8}, stored, "1")
    store_examined(journal, [Examined(1, 1, "picture", "k", {}, suggested)], NOON)
    found = frame_to_judge(journal, 1).suggestion
    assert found is not None and found.evidence == (stored[0], "1/80 at 85 mm", "1/30 at 85 mm")


def test_frames_come_one_after_the_other_and_judged_ones_are_passed_over(journal: sqlite3.Connection) -> None:
    seen = []
    frame = next_frame(journal, 1)
    while frame is not None:
        seen.append(frame.frame_id)
        frame = next_frame(journal, 1, after=frame.frame_id)
    assert sorted(seen) == list(range(1, 12))
    assert set(seen[:6]) == set(range(6, 12))
    give(journal, Verdict(seen[0], "keeper"))
    following = next_frame(journal, 1)
    assert following is not None and following.frame_id == seen[1]
    everything = next_frame(journal, 1, judged=True)
    assert everything is not None and everything.frame_id == seen[0]


def test_a_frame_shows_its_settings_its_suggestion_and_whether_it_has_a_preview(journal: sqlite3.Connection) -> None:
    suggested = Suggestion("noise", 0.8, False, {"noise": 0.8}, ("noise of 6.1 levels",), "1")
    store_examined(journal, [Examined(1, 1, "picture", "k", {}, suggested)], NOON)
    frame = frame_to_judge(journal, 1)
    assert (frame.suggestion, frame.has_preview, frame.iso, frame.burst_id) == (suggested, True, 400, 1)
    assert frame_to_judge(journal, 2).suggestion is None
    for wrong in (lambda: frame_to_judge(journal, 99), lambda: burst_to_judge(journal, 99)):
        with pytest.raises(JournalError):
            wrong()


def test_a_verdict_is_given_counted_and_taken_back(journal: sqlite3.Connection) -> None:
    given = give(journal, Verdict(1, "reject", ("noise", "framing")))
    now = frame_to_judge(journal, 1)
    assert (now.verdict, set(now.faults), now.verdict_id) == ("reject", {"noise", "framing"}, given.verdict_id)
    summary = "select n_judged, n_rejects from session_summaries where session_id = 1"
    assert tuple(journal.execute(summary).fetchone()) == (1, 1)
    take_back(journal, given.judging_id, NOON)
    assert frame_to_judge(journal, 1).verdict == "unjudged"
    assert tuple(journal.execute(summary).fetchone()) == (0, 0)
    assert check(journal).faults == ()


def test_each_client_takes_back_its_own_last_verdict(journal: sqlite3.Connection) -> None:
    mine = give(journal, Verdict(1, "keeper"), client="a")
    theirs = give(journal, Verdict(2, "keeper"), client="b")
    assert (last_judging(journal, "a"), last_judging(journal, "b")) == (mine.judging_id, theirs.judging_id)
    take_back(journal, mine.judging_id, NOON)
    assert last_judging(journal, "a") is None
    assert [frame_to_judge(journal, number).verdict for number in (1, 2)] == ["unjudged", "keeper"]


def test_who_has_not_seen_the_newest_verdict_is_told_and_nothing_is_written(journal: sqlite3.Connection) -> None:
    seen = frame_to_judge(journal, 1).verdict_id
    give(journal, Verdict(1, "reject", ("noise",)), client="a")
    with pytest.raises(JudgedMeanwhileError) as refused:
        set_verdict(journal, Verdict(1, "keeper"), seen, "b", "photographer", NOON)
    assert str(refused.value) == (
        "Frame 1 was judged meanwhile: it is reject for noise now.\n  Next: Look at it again, then judge it."
    )
    assert refused.value.frame == frame_to_judge(journal, 1)
    assert len(history(journal, 1)) == 2


def test_a_verdict_that_was_taken_back_meanwhile_counts_as_news_too(journal: sqlite3.Connection) -> None:
    given = give(journal, Verdict(1, "keeper"), client="a")
    seen = frame_to_judge(journal, 1).verdict_id
    take_back(journal, given.judging_id, NOON)
    with pytest.raises(JudgedMeanwhileError):
        set_verdict(journal, Verdict(1, "reject"), seen, "b", "photographer", NOON)


def test_a_verdict_dated_ahead_by_another_clock_does_not_outlive_what_is_said_now(journal: sqlite3.Connection) -> None:
    record(journal, [Verdict(1, "keeper")], judged_by="mentor", source="csv", judged_at=NOON + timedelta(days=2))
    give(journal, Verdict(1, "reject", ("timing",)))
    assert frame_to_judge(journal, 1).verdict == "reject"


def test_nonsense_is_refused_before_anything_is_written(journal: sqlite3.Connection) -> None:
    for verdict in (Verdict(1, "maybe"), Verdict(1, "keeper", ("noise",)), Verdict(99, "keeper")):
        with pytest.raises(JournalError):
            set_verdict(journal, verdict, None, "a", "photographer", NOON)
    assert journal.execute("select count(*) from judgings").fetchone()[0] == 0


#: A client of its own: judges every frame of session 1 twice over, always from what it has just seen.
CLIENT = """
import json, sys
sys.path[:] = {path!r}
from datetime import UTC, datetime
from pathlib import Path
from journal.records.verdicts import Verdict
from journal.store.judging import JudgedMeanwhileError, frame_to_judge, set_verdict, take_back
from journal.store.opening import open_journal
connection = open_journal(Path({journal!r}))
given, refused = [], 0
print("ready", flush=True)
sys.stdin.readline()
for turn in range(3):
    for number in range(1, 12):
        seen = frame_to_judge(connection, number)
        word = "keeper" if (number + turn + {offset}) % 2 else "reject"
        try:
            one = set_verdict(
                connection, Verdict(number, word), seen.verdict_id, {name!r}, {name!r}, datetime.now(UTC)
            )
            given.append([one.verdict_id, number, seen.verdict_id])
            if turn == 1:
                take_back(connection, one.judging_id, datetime.now(UTC))
        except JudgedMeanwhileError:
            refused += 1
print(json.dumps([given, refused]), flush=True)
"""


def client(path: Path, name: str, offset: int) -> subprocess.Popen[str]:
    code = CLIENT.format(path=sys.path, journal=str(path), name=name, offset=offset)
    return subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    )


def test_two_clients_at_once_never_overwrite_what_they_have_not_seen(path: Path, journal: sqlite3.Connection) -> None:
    clients = [client(path, name, offset) for offset, name in enumerate(("a", "b"))]
    for process in clients:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in clients:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    told: list[Any] = [json.loads(process.communicate(timeout=60)[0]) for process in clients]
    assert [process.returncode for process in clients] == [0, 0]
    given = [entry for found, _refused in told for entry in found]
    assert len(given) + sum(refused for _found, refused in told) == 2 * 3 * 11
    # every verdict follows the newest one that counted at that moment, so no two of them can follow the same one
    # unless the first of them was taken back
    taken_back = {row[0] for row in journal.execute(
        "select verdicts.id from verdicts join judgings on judgings.id = judging_id where taken_back_at is not null"
    )}  # fmt: skip
    followed = [(number, seen) for verdict_id, number, seen in given if verdict_id not in taken_back]
    assert len(set(followed)) == len(followed)
    assert check(journal).faults == ()
