"""Where you stand: each part in one sentence, with what is known and what is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from journals import empty_journal, small_journal

from analytics.dataset import OpenJournal
from analytics.pages.judged import ground
from analytics.pages.standing import Standing, kept_sentence, standing
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all


def test_the_simulated_year_says_where_its_photographer_stands(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        found = standing(journal, ground(journal))
        newest = journal.connection.execute("select id from sessions order by started_at desc limit 1").fetchone()[0]
    assert found.last is not None
    assert found.last.number == newest
    assert [line.key for line in found.dear_habits] == [line.key for line in found.habits.lines if line.is_costly][:3]
    assert found.known_limits
    assert all(line.is_enough for line in found.known_limits)
    assert 1 <= len(found.missing) <= 3
    assert found.sentence.endswith("of 100.")


def test_a_session_of_a_day_to_come_is_the_last_only_where_there_is_no_other(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", n_sessions=2)

    def last(statement: str) -> int | None:
        connection = open_journal(path)
        connection.execute(statement)
        connection.close()
        with OpenJournal(path) as journal:
            found = standing(journal, ground(journal)).last
        return found and found.number

    late = "update sessions set started_at = '{0}-05-05T01:29:24Z', ended_at = '{0}-05-05T03:00:00Z' where id = {1}"
    assert last(late.format(2138, 1)) == 2
    assert last(late.format(2139, 2)) == 2


def test_a_series_is_offered_where_it_is_sooner_than_sessions(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        found = standing(journal, ground(journal))
    unsure = sorted((line for line in found.limits.lines if line.surer), key=lambda line: line.n_more or 99)[:3]
    assert found.missing == [line.surer for line in unsure]
    assert unsure[0].n_more is not None and unsure[0].n_more < 9  # what takes least comes first
    assert found.series_days is None

    def needs(n_more: int) -> Standing:
        lines = [replace(line, n_more=n_more) for line in found.limits.lines]
        return replace(found, limits=replace(found.limits, lines=lines))

    assert needs(10).series_days == 9 and needs(9).series_days is None
    assert not any("this limit" in text for text in found.missing)


def test_a_journal_without_verdicts_says_what_to_do_first(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", n_sessions=2)
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged'")
    refresh_all(connection)
    connection.close()
    with OpenJournal(path) as journal:
        found = standing(journal, ground(journal))
    assert "judged yet. Next: thirdstop judge" in found.sentence
    assert (found.dear_habits, found.known_limits, found.missing) == ([], [], [])


def test_an_empty_journal_stands_nowhere_yet(tmp_path: Path) -> None:
    with OpenJournal(empty_journal(tmp_path / "a.journal")) as journal:
        found = standing(journal, ground(journal))
    assert found.last is None
    assert "thirdstop import" in found.sentence


def test_what_was_kept_is_said_of_one_hundred() -> None:
    totals = {"n_judged": 400, "n_keepers": 100, "n_sessions": 1}
    assert kept_sentence(totals) == "Of 400 judged frames, 100 were kept: 25 of 100."
