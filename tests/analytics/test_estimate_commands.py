"""`limits`, `habits`, `progress` and `advice` on the terminal: a sentence first, then a table, then what is missing."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest
from journals import empty_journal, small_journal
from visiting import served

from analytics.statistics.habit_catalogue import CATALOGUE
from journal.cli import load_commands, run
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from pathlib import Path

COMMANDS = ("limits", "habits", "progress", "advice")


@pytest.fixture(autouse=True)
def _commands() -> None:
    load_commands()


@pytest.fixture
def year(simulated_year: Path, tmp_path: Path) -> Path:
    """A copy of the simulated year, to write to."""
    with (
        closing(sqlite3.connect(simulated_year)) as source,
        closing(sqlite3.connect(tmp_path / "year.journal")) as copy,
    ):
        source.backup(copy)
    return tmp_path / "year.journal"


def said(capsys: pytest.CaptureFixture[str], *arguments: object, code: int = 0) -> str:
    assert run([str(argument) for argument in arguments]) == code
    captured = capsys.readouterr()
    return captured.out if code == 0 else captured.err


def found(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    return dict(json.loads(said(capsys, *arguments, "--json")))


@pytest.mark.parametrize("command", COMMANDS)
def test_a_simulated_journal_says_so_first(
    simulated_year: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    assert said(capsys, command, "--journal", simulated_year).startswith("Simulated data. ")
    assert found(capsys, command, "--journal", simulated_year)["simulated"] == "Simulated data"


@pytest.mark.parametrize("command", COMMANDS)
def test_the_share_that_is_judged_is_said_and_a_selective_one_is_warned_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    path = small_journal(tmp_path / "a.journal", 6)
    assert "60 of 66 frames are judged, 91 of 100." in said(capsys, command, "--journal", path)
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged' where verdict = 'reject'")
    connection.execute("delete from frame_faults")
    refresh_all(connection)
    connection.close()
    assert "Every judged frame is a keeper: without rejects no fault can be found." in (
        said(capsys, command, "--journal", path)
    )
    judged = found(capsys, command, "--journal", path)["judged"]
    assert (judged["n_judged"], judged["n_frames"], judged["n_only_keepers"]) == (30, 66, 6)


@pytest.mark.parametrize("command", ["limits", "habits", "progress"])
def test_without_verdicts_or_frames_the_next_step_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    assert said(capsys, command, "--journal", empty_journal(tmp_path / "empty.journal")).splitlines()[0] == (
        "No session has a frame yet. Next: thirdstop import CARD"
    )
    path = small_journal(tmp_path / "a.journal", 2)
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged'")
    refresh_all(connection)
    connection.close()
    assert said(capsys, command, "--journal", path).splitlines()[0] == (
        "None of the 22 frames is judged yet. Next: thirdstop judge"
    )


def test_too_little_is_said_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = small_journal(tmp_path / "a.journal", 3)
    first = {command: said(capsys, command, "--journal", path).splitlines()[0] for command in COMMANDS}
    assert first["limits"].startswith("Where your limits are cannot be said yet.")
    assert first["habits"].startswith(
        "No habit can be said to cost keepers yet: it takes 30 judged frames of 5 sessions"
    )
    assert first["progress"].startswith("It cannot be told yet whether you improve: 3 judged sessions; 12 are needed.")
    assert first["advice"].startswith("No advice is given yet.")


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (["limits", "--lost", "60"], "A limit at 60 lost of 100 is none."),
        (["limits", "--level", "0.3"], "An interval of level 0.3 says nothing."),
        (["habits", "--level", "1"], "An interval of level 1 says nothing."),
        (["progress", "--level", "1"], "An interval of level 1 says nothing."),
        (["advice", "--level", "1"], "An interval of level 1 says nothing."),
        (["habits", "pixel-peeping"], "There is no habit 'pixel-peeping'."),
    ],
)
def test_what_makes_no_sense_is_refused(
    simulated_year: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], problem: str
) -> None:
    text = said(capsys, *arguments, "--journal", simulated_year, code=1)
    assert text.startswith(f"Error: {problem}\n  Next: ")


def test_limits_are_told_in_nominal_values_and_scripts_get_stops(
    simulated_year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = found(capsys, "limits", "--journal", simulated_year)["limits"]
    assert [line["kind"] for line in lines] == ["hand-held"] * 2 + ["freeze"] * 4 + ["iso"] * 2
    steady = lines[1]
    assert (steady["name"], steady["shown"].split()[1:]) == ("stabilised", ["at", "100", "mm"])
    assert steady["low"] < steady["estimate"] < steady["high"]
    text = said(capsys, "limits", "--journal", simulated_year)
    assert steady["shown"] in text and steady["interval"] in text
    assert "Focal lengths in the table are 35 mm-equivalent." in text


def test_a_stricter_limit_is_faster(simulated_year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strict, loose = (
        found(capsys, "limits", "--lost", lost, "--journal", simulated_year)["limits"][1]["estimate"]
        for lost in (5, 20)
    )
    assert strict < loose


def test_one_habit_lists_the_rejects_that_show_it_and_the_keepers_that_it_spared(
    simulated_year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = found(capsys, "habits", "thin-focus", "--journal", simulated_year)
    evidence, counter = one["evidence"], one["counter_examples"]
    assert one["habit"]["is_costly"] and evidence and counter
    assert not set(evidence) & set(counter)
    assert len(evidence) + len(counter) <= one["habit"]["n_frames"]
    with closing(sqlite3.connect(simulated_year)) as connection:
        shown = dict(
            connection.execute(
                "select id, verdict from frames where f_number <= 2.8 and id in (select value from json_each(?))",
                [json.dumps(evidence + counter)],
            ).fetchall()
        )
        focus = {row[0] for row in connection.execute("select frame_id from frame_faults where fault = 'missed focus'")}
    assert {shown[number] for number in evidence} == {"reject"}
    assert {shown[number] for number in counter} == {"keeper"}
    assert set(evidence) <= focus
    text = said(capsys, "habits", "thin_focus", "--journal", simulated_year)
    assert f"Rejects for missed focus ({len(evidence)}):" in text
    assert f"Keepers that it did not spoil ({len(counter)}):" in text
    assert "What to do: Close the aperture by two stops and pay with ISO." in text
    rest = one["habit"]["n_frames"] - len(evidence) - len(counter)
    assert (
        f"{len(evidence)} are rejected for missed focus and {rest} for something else or without a named fault." in text
    )
    assert text.endswith("one at a time, or nobody can tell which of them worked.\n")  # another is being followed


def test_advice_that_is_being_followed_is_not_offered_again(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = found(capsys, "advice", "--journal", year)["advice"][0]
    text = said(capsys, "habits", given["habit"], "--journal", year)
    assert f"Advice on it was given on {given['given_on']}. See what came of it: thirdstop advice" in text
    assert "advice give" not in text
    said(capsys, "advice", "end", str(given["number"]), "--journal", year)
    assert "advice give" in said(capsys, "habits", given["habit"], "--journal", year)


def test_the_list_of_habits_offers_no_advice_that_is_being_followed(
    year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def listed() -> tuple[str, set[str]]:
        with served(year) as journal:
            page = re.sub("</?span[^>]*>", "", journal.photographer().get("/habits").text)
        return page, set(re.findall(r"thirdstop advice give (\w+)</code>", page))

    given = found(capsys, "advice", "--journal", year)["advice"][0]
    costly = {line["key"] for line in found(capsys, "habits", "--journal", year)["habits"] if line["is_costly"]}
    said_so = f"Advice on it was given on {given['given_on']}"
    assert given["habit"] in costly
    assert said(capsys, "habits", "--journal", year).count(said_so) == 1
    page, offered = listed()
    assert offered == set() and "One at a time: the next when it is clear what came of" in page
    assert f'{said_so}: <a href="/advice">see what came of it</a>' in page
    said(capsys, "advice", "end", str(given["number"]), "--journal", year)
    assert said_so not in said(capsys, "habits", "--journal", year)
    assert listed()[1] == costly


def test_a_habit_that_is_not_seen_is_said_to_be_so(simulated_year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "habits", "under_in_snow", "--journal", simulated_year)
    assert text.startswith("Simulated data. Grey snow: no judged session's light is described as snow or hoar frost.\n")
    assert "Rejects for underexposure (0)." in text


def test_costly_habits_come_first_with_what_to_do(simulated_year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = found(capsys, "habits", "--journal", simulated_year)["habits"]
    costly = [line["is_costly"] for line in lines]
    assert costly == sorted(costly, reverse=True) and sum(costly) == 3
    others = [line["lost"] for line in lines if line["is_enough"] and not line["is_costly"]]
    assert len(others) > 3 and others == sorted(others, reverse=True)
    assert {line["key"] for line in lines} == {habit.key for habit in CATALOGUE}
    text = said(capsys, "habits", "--journal", simulated_year)
    for line in lines[:3]:
        assert f"{line['name']}: {line['advice']}" in text
    assert "two days of every seven" not in text


def test_progress_puts_the_equal_scenes_beside_the_plain_count(
    simulated_year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = found(capsys, "progress", "--journal", simulated_year)
    equal, plain = page["changes"]
    assert (equal["name"], plain["name"], page["verdict"]) == ("at equal scenes", "plain count", "no clear change")
    assert len(page["points"]) == page["n_sessions"] == 36
    text = said(capsys, "progress", "--journal", simulated_year)
    assert "milder judging" in text
    assert [line.split()[:3] for line in text.splitlines()].count(["at", "equal", "scenes"]) == 1
    parts = [round(100 * reason["change"]) for reason in page["reasons"]]
    assert round(100 * plain["change"]) == round(100 * equal["change"]) + sum(parts)


def test_advice_is_fixed_before_the_sessions_that_tell(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "advice", "give", "thin-focus", "--journal", year)
    assert text.startswith("Advice 2 is written down, before the sessions that will tell. Close the aperture by two")
    newest = found(capsys, "advice", "--journal", year)["advice"][0]
    assert (newest["habit"], newest["effect"]["verdict"], newest["effect"]["n_after"]) == (
        "thin_focus",
        "not enough",
        0,
    )
    with closing(sqlite3.connect(year)) as connection:
        window = connection.execute("select evidence_from, evidence_until, is_simulated from advice where id = 2")
        last = connection.execute("select started_at from sessions order by started_at desc limit 5").fetchall()
        row = window.fetchone()
    assert (row[0], row[2]) == (last[-1][0], 1)
    assert row[1] >= last[0][0]
    again = said(capsys, "advice", "give", "thin_focus", "--journal", year, code=1)
    assert again == (
        "Error: Advice on thin_focus is already given (number 2).\n  Next: End it first with: thirdstop advice end 2\n"
    )


def test_advice_that_has_ended_is_not_spoken_of_by_later_sessions(
    year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = found(capsys, "advice", "--journal", year)["advice"][0]["effect"]
    connection = open_journal(year)
    connection.execute("update advice set ended_at = '2025-12-01T00:00:00.000Z'")
    connection.close()
    ended = found(capsys, "advice", "--journal", year)["advice"][0]["effect"]
    assert ended["n_before"] == whole["n_before"]
    assert 5 <= ended["n_after"] < whole["n_after"]


def test_the_sessions_that_led_to_the_advice_are_left_out(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    effect = found(capsys, "advice", "--journal", year)["advice"][0]["effect"]
    assert effect["n_before"] + effect["n_after"] == 36 - 5
    text = said(capsys, "advice", "--journal", year)
    assert "Left out, for they led to it: the sessions from 2025-" in text
    assert "Nobody shot the same scenes without the advice" in text


def test_ending_advice_is_said_and_twice_is_refused(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "advice", "end", 1, "--journal", year).startswith("Advice 1 is ended.")
    assert said(capsys, "advice", "end", 1, "--journal", year, code=1) == (
        "Error: Advice 1 has ended already.\n  Next: List it with: thirdstop advice\n"
    )
    assert said(capsys, "advice", "end", 7, "--journal", year, code=1) == (
        "Error: There is no advice 7 in this journal.\n  Next: List it with: thirdstop advice\n"
    )


def test_there_is_no_advice_on_what_nothing_follows_from(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "advice", "give", "weekend", "--journal", year, code=1)
    assert text.startswith("Error: There is no advice on 'weekend'.\n  Next: Use one of: slow_by_hand, ")


def test_an_option_before_give_is_refused_so_that_no_other_journal_is_written_to(
    year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = said(capsys, "advice", "--journal", year, "give", "thin_focus", code=1)
    assert text == (
        "Error: --journal stands before give.\n  Next: Put it behind: thirdstop advice give ... --journal\n"
    )


def test_advice_of_a_habit_that_is_no_longer_known_is_shown_without_numbers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    connection = open_journal(path)
    connection.execute(
        "insert into advice (habit, advice, given_at) values ('old', 'Breathe.', '2026-03-01T00:00:00Z')"
    )
    connection.close()
    assert said(capsys, "advice", "--journal", path).splitlines()[0] == (
        "Breathe (given 2026-03-01): this version knows no such habit."
    )


def test_a_journal_that_is_only_read_stays_as_it_was(
    simulated_year: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "copy.journal"
    shutil.copy(simulated_year, path)
    before = path.read_bytes()
    for command in COMMANDS:
        said(capsys, command, "--journal", path)
    assert path.read_bytes() == before


def test_what_is_not_stated_is_named_where_habits_depend_on_it(year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "cannot be seen" not in said(capsys, "habits", "--journal", year)
    connection = open_journal(year)
    connection.execute("update sessions set is_backlit = null, subject_depth_m = null")
    connection.execute("update bodies set is_stabilised = null")
    connection.execute("update frames set is_stabilised = null")
    connection.close()
    text = said(capsys, "habits", "--journal", year)
    assert (
        "Habits that depend on what is not stated cannot be seen: whether it was backlit (--backlit or --not-backlit); "
        "how deep the subject was (--subject-depth); whether body and lens are stabilised. To state it, with the "
        "option named: thirdstop edit SESSION; for body and lens: thirdstop gear body, and: thirdstop gear lens."
    ) in " ".join(text.split())


def test_habits_of_a_kind_of_light_cannot_be_seen_where_nobody_stated_the_light(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    keys = ("under_in_snow", "under_at_night", "over_on_stage")

    def verdicts(light: str, ev100: float | None) -> set[str]:
        with closing(open_journal(path)) as connection:
            connection.execute("update sessions set light = ?, light_ev100 = ?", [light, ev100])
        lines = {line["key"]: line for line in found(capsys, "habits", "--journal", path)["habits"]}
        assert not any(lines[key]["n_frames"] for key in keys)
        return {lines[key]["unstated"] for key in keys}

    described, stated = "what the light was like", "how bright the light was, as an exposure value"
    assert verdicts("thin cloud", 14) == {""}
    assert verdicts("", 14) == {described}
    assert verdicts("thin cloud", None) == {stated}
    assert verdicts("", None) == {f"{described} and {stated}"}
    text = " ".join(said(capsys, "habits", "under_in_snow", "--journal", path).split())
    assert f"Grey snow: cannot be seen: of most frames nobody stated {described} and {stated}." in text
    text = " ".join(said(capsys, "habits", "--journal", path).split())
    assert "what the light was like (--light); how bright the light was, as an exposure value (--ev100)" in text


def test_what_was_not_planned_or_has_no_pace_cannot_be_told_from_what_was_kept_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 2)

    def unstated(statement: str) -> tuple[str, str]:
        with closing(open_journal(path)) as connection:
            connection.execute(statement)
        lines = {line["key"]: line for line in found(capsys, "habits", "--journal", path)["habits"]}
        return lines["off_plan"]["unstated"], lines["needlessly_fast"]["unstated"]

    planned, steady = "which settings were planned", "whether body and lens are stabilised"
    pace = f"how fast the subject was and {steady}"  # by hand both decide how slow a time may be
    nothing = "planned_iso_min = null, planned_iso_max = null, planned_exposure_time_min_s = null, "
    nothing += "planned_exposure_time_max_s = null, planned_f_number_min = null, planned_f_number_max = null"
    assert unstated(f"update sessions set {nothing}, subject_pace = null") == (planned, pace)
    assert unstated("update sessions set planned_iso_min = 50, planned_iso_max = 102400") == ("", pace)
    assert unstated("update sessions set subject_pace = 'walking'") == ("", steady)
    assert unstated("update frames set is_stabilised = 0") == ("", "")
    assert unstated("update frames set is_stabilised = null, camera_support = 'tripod'") == ("", "")
