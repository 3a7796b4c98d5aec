"""Old frames that are judged again: which are chosen, what is kept of what is said, and what it never touches."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from anchored import answer_all, old_journal
from journals import small_journal

from journal.errors import JournalError
from journal.records.anchors import AgainState, SaidAgain
from journal.records.measures import ACCEPTED
from journal.records.verdicts import Verdict
from journal.schema.anchors import ANCHORS
from journal.schema.migrations import STEPS, migrate, schema_version
from journal.store.anchors import (
    again_state,
    begin_round,
    old_picture,
    pictures_left,
    put_off,
    say_again,
    take_back_again,
)
from journal.store.opening import open_journal
from journal.store.upkeep import check
from journal.store.verdicts import record

NOW = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = open_journal(old_journal(tmp_path / "old.journal"))
    yield connection
    connection.close()


def anchors(connection: sqlite3.Connection, round_id: int = 1) -> list[sqlite3.Row]:
    return connection.execute(
        "select anchors.*, frames.burst_id, frames.session_id from anchors join frames on frames.id = frame_id "
        "where round_id = ? order by place",
        [round_id],
    ).fetchall()


def told(number: int) -> SaidAgain:
    return SaidAgain(f"0123456789abcdef.{number}", "photographer", NOW)


def test_as_many_old_keepers_as_rejects_are_chosen_from_many_bursts_and_sessions(journal: sqlite3.Connection) -> None:
    assert again_state(journal, NOW) == AgainState("due")
    state = begin_round(journal, 7, NOW)
    chosen = anchors(journal)
    words = Counter(row["old_verdict"] for row in chosen)
    assert words["keeper"] == words["reject"] == state.n_pictures // 2
    assert state == AgainState("open", 1, len(chosen), len(chosen))
    assert 2 * 30 <= len(chosen) <= 2 * 60
    assert max(Counter(row["burst_id"] for row in chosen).values()) <= 2
    assert len({row["session_id"] for row in chosen}) == 20
    assert [row["place"] for row in chosen] == list(range(1, len(chosen) + 1))


def test_a_large_journal_gives_sixty_of_each_and_one_of_a_burst(tmp_path: Path) -> None:
    connection = open_journal(old_journal(tmp_path / "large.journal", 28))
    connection.execute("insert into bursts (id, session_id) select id + 1000, session_id from frames")
    connection.execute("update frames set burst_id = id + 1000")  # every frame is a burst of its own
    assert begin_round(connection, 7, NOW).n_pictures == 120
    connection.close()


def test_the_order_of_showing_says_nothing_of_the_old_verdict(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    words = [row["old_verdict"] for row in anchors(journal)]
    n_runs = 1 + sum(one != other for one, other in pairwise(words))
    assert abs(n_runs - len(words) / 2) < 4 * (len(words) / 4) ** 0.5  # runs of a shuffled half-and-half
    ids = [row["id"] for row in anchors(journal)]
    assert ids == sorted(ids)


def test_the_pool_stores_how_common_each_verdict_is_without_regard_to_the_choice(tmp_path: Path) -> None:
    connection = open_journal(old_journal(tmp_path / "kept.journal"))
    connection.execute("update frames set verdict = 'keeper' where id % 11 in (5, 7)")  # seven of ten are kept now
    connection.execute("update verdicts set verdict = 'keeper' where frame_id % 11 in (5, 7)")
    shares = []
    for seed in range(40):
        connection.execute("delete from anchor_rounds")
        begin_round(connection, seed, NOW)
        row = connection.execute("select n_keepers, n_rejects, seed from anchor_rounds").fetchone()
        assert row["seed"] == seed
        shares.append(row["n_keepers"] / (row["n_keepers"] + row["n_rejects"]))
    assert sum(shares) / len(shares) == pytest.approx(0.7, abs=0.02)
    connection.close()


def test_every_old_frame_with_the_same_verdict_is_as_likely_to_be_chosen(journal: sqlite3.Connection) -> None:
    counts: Counter[int] = Counter()
    for seed in range(150):
        journal.execute("delete from anchor_rounds")
        begin_round(journal, seed, NOW)
        counts.update(row["frame_id"] for row in anchors(journal))
    keepers = [counts[row[0]] for row in journal.execute("select id from frames where verdict = 'keeper'")]
    mean = sum(keepers) / len(keepers)
    spread = (sum((count - mean) ** 2 for count in keepers) / len(keepers)) ** 0.5
    assert spread < 1.4 * mean**0.5


def test_a_round_is_chosen_once_a_quarter_and_no_frame_twice(journal: sqlite3.Connection) -> None:
    state = begin_round(journal, 7, NOW)
    assert begin_round(journal, 8, NOW + timedelta(days=80)) == state
    assert again_state(journal, NOW + timedelta(days=90)).kind == "open"
    answer_all(journal, NOW)
    assert again_state(journal, NOW + timedelta(days=1)) == AgainState("rest", 1, state.n_pictures, 0)
    later = NOW + timedelta(days=92)
    assert again_state(journal, later).kind == "due"
    assert begin_round(journal, 8, later).round_id == 2
    both = [row["frame_id"] for number in (1, 2) for row in anchors(journal, number)]
    assert len(set(both)) == len(both)


def test_what_was_left_of_an_earlier_quarter_stays_as_it_is(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    later = NOW + timedelta(days=92)
    begin_round(journal, 8, later)
    first = anchors(journal)[0]["frame_id"]
    say_again(journal, Verdict(first, "keeper"), told(1))  # it waited in a browser
    assert journal.execute("select n_judged from anchor_results where round = 1").fetchone()[0] == 1


def test_it_can_be_put_off_to_the_next_quarter(journal: sqlite3.Connection) -> None:
    put_off(journal, NOW)
    assert again_state(journal, NOW + timedelta(days=90)) == AgainState("rest")
    assert again_state(journal, NOW + timedelta(days=92)) == AgainState("due")


@pytest.mark.parametrize(
    "spoil",
    [
        "update verdicts set judged_at = '2026-04-20T00:00:00.000Z'",
        "update verdicts set source = 'simulated'",
        "update sessions set is_simulated = 1",
        "delete from previews",
        "update frames set session_id = null",
        "update frames set burst_id = null",
        "update frames set verdict = 'keeper'",
        "update verdicts set judging_id = 1",
        "update frames set burst_id = (burst_id - 1) / 2 + 100",
    ],
)
def test_frames_that_are_new_unseen_or_judged_by_nobody_are_not_offered(
    journal: sqlite3.Connection, spoil: str
) -> None:
    journal.execute("insert into judgings values (1, '2021-03-20T12:00:00.000Z', 'x', ?, null)", [f"{ACCEPTED} from 1"])
    journal.execute("insert into bursts (id) select id + 99 from bursts")
    journal.execute(spoil)
    assert again_state(journal, NOW).kind == "rest"


def test_too_few_frames_are_refused_and_not_offered_again_before_the_next_quarter(
    journal: sqlite3.Connection,
) -> None:
    journal.execute("update frames set burst_id = 1 where session_id > 6")
    with pytest.raises(JournalError) as caught:
        begin_round(journal, 7, NOW)
    assert caught.value.problem.endswith("rejects of different bursts can be judged again; 15 of each are needed.")
    assert caught.value.next_step == "Judge more frames; it is offered again in the next quarter."
    assert journal.execute("select count(*) from anchor_rounds").fetchone()[0] == 0
    assert again_state(journal, NOW + timedelta(days=90)).kind == "rest"


def test_what_is_sent_twice_is_kept_once_and_of_two_clients_the_last_one_counts(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    frame = anchors(journal)[0]["frame_id"]
    other = SaidAgain("fedcba9876543210.1", "photographer", NOW)
    for _ in range(2):
        say_again(journal, Verdict(frame, "reject", ("noise", "camera shake")), told(1))
    assert old_picture(journal, frame).faults == ("camera shake", "noise")
    say_again(journal, Verdict(frame, "keeper"), other)
    say_again(journal, Verdict(frame, "reject", ("noise",)), told(1))  # sent again, long known
    assert (old_picture(journal, frame).verdict, old_picture(journal, frame).faults) == ("keeper", ())
    history = [row[0] for row in journal.execute("select verdict from anchor_verdicts order by id")]
    assert history == ["reject", "keeper"]


def test_taking_back_lets_the_one_before_count_and_stays_in_the_history(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    frame = anchors(journal)[0]["frame_id"]
    say_again(journal, Verdict(frame, "keeper"), told(1))
    say_again(journal, Verdict(frame, "reject"), told(2))
    take_back_again(journal, frame, told(9).told, NOW)
    assert old_picture(journal, frame).verdict == "reject"
    take_back_again(journal, frame, told(2).told, NOW)
    assert old_picture(journal, frame).verdict == "keeper"
    take_back_again(journal, frame, told(1).told, NOW)
    assert old_picture(journal, frame).verdict == "unjudged"
    say_again(journal, Verdict(frame, "keeper"), told(1))  # it was taken back, and stays so
    assert old_picture(journal, frame).verdict == "unjudged"
    assert journal.execute("select count(*) from anchor_verdicts where taken_back_at = ?",
                           ["2026-05-01T09:00:00.000Z"]).fetchone()[0] == 2  # fmt: skip


def test_a_round_that_was_broken_off_goes_on_where_it_was(journal: sqlite3.Connection) -> None:
    n = begin_round(journal, 7, NOW).n_pictures
    first = pictures_left(journal, 1, 0, 3)
    assert [picture.place for picture in first] == [1, 2, 3]
    say_again(journal, Verdict(first[1].frame_id, "keeper"), told(1))
    assert [picture.place for picture in pictures_left(journal, 1, 0, 3)] == [1, 3, 4]
    assert [picture.place for picture in pictures_left(journal, 1, n - 1, 3)] == [n]
    assert again_state(journal, NOW) == AgainState("open", 1, n, n - 1)


def test_only_keepers_and_rejects_of_chosen_frames_are_taken(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    chosen = {row["frame_id"] for row in anchors(journal)}
    other = next(number for number in range(1, 200) if number not in chosen)
    with pytest.raises(JournalError, match=f"^Frame {other} was not chosen to be judged again"):
        say_again(journal, Verdict(other, "keeper"), told(1))
    with pytest.raises(JournalError, match=r"^Frame 9999 was not chosen"):
        take_back_again(journal, 9999, told(1).told, NOW)
    for verdict in (Verdict(min(chosen), "unjudged"), Verdict(min(chosen), "keeper", ("noise",))):
        with pytest.raises(JournalError):
            say_again(journal, verdict, told(1))
    assert journal.execute("select count(*) from anchor_verdicts").fetchone()[0] == 0


def dump(connection: sqlite3.Connection) -> dict[str, list[Any]]:
    """Everything that was there before judging again had tables."""
    names = [row[0] for row in connection.execute("select name from sqlite_master where type = 'table'")]
    kept = [name for name in names if not name.startswith(("anchor", "sqlite", "sessions_fts"))]
    return {name: [tuple(row) for row in connection.execute(f"select * from {name}")] for name in kept}


def test_judging_again_changes_no_verdict_no_rate_and_no_summary(journal: sqlite3.Connection) -> None:
    before, faults = dump(journal), check(journal).faults
    begin_round(journal, 7, NOW)
    answer_all(journal, NOW, n_rejected=10, n_kept=20)
    assert dump(journal) == before
    assert check(journal).faults == faults
    row = journal.execute("select * from anchor_results").fetchone()
    assert (row["n_keepers_rejected"], row["n_rejects_kept"]) == (10, 20)
    assert row["n_judged"] == row["n_pictures"] == row["n_keepers"] + row["n_rejects"]
    assert (row["old_from"], row["n_days"]) == ("2021-03-20T12:00:00.000Z", 1)


def test_a_verdict_given_meanwhile_does_not_change_what_the_old_one_was(journal: sqlite3.Connection) -> None:
    begin_round(journal, 7, NOW)
    old = [tuple(row) for row in journal.execute("select frame_id, old_verdict from anchors order by id")]
    record(journal, [Verdict(number, "reject") for number in range(1, 50)], judged_by="photographer",
           source="command line", judged_at=NOW)  # fmt: skip
    assert [tuple(row) for row in journal.execute("select frame_id, old_verdict from anchors order by id")] == old


def test_a_journal_from_before_judging_again_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "old.journal"
    old = sqlite3.connect(path, isolation_level=None)
    before = STEPS.index(ANCHORS)
    migrate(old, path, STEPS[:before])
    old.execute("insert into settings values ('x', 'y')")
    old.close()
    connection = open_journal(path)
    assert schema_version(connection) == len(STEPS)
    assert again_state(connection, NOW) == AgainState("rest")
    assert connection.execute("select value from settings").fetchone()[0] == "y"
    connection.close()
    assert (tmp_path / f"old.journal.schema-{before}.backup").exists()
    fresh = open_journal(small_journal(tmp_path / "new.journal"))
    assert again_state(fresh, NOW).kind == "rest"
    fresh.close()
