"""What pages say where there is little: of one thing as of one, of nothing once, and of a night as of one night."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from journals import changed, empty_journal, small_journal
from visiting import MENTOR, plain, served

from analytics.charts.keeper_rates import STEP_PX, TWO_LINES_PX, following_chart
from analytics.dashboards.templating import environment
from analytics.dataset import OpenJournal
from analytics.pages.habit_words import HELD_EQUAL, other_advice, price_words, surer, surer_habit
from analytics.pages.habits import HabitLine, habit_page, habit_sentence, habits_page, habits_sentence
from analytics.pages.judged import ground
from analytics.pages.keepers import KeeperLine, what_makes_it_surer
from analytics.pages.limits import limits_page
from analytics.pages.progress import Change, Reason, progress_page, progress_sentence, reason_sentence, with_rest
from analytics.pages.session import session_page, settings_in_words
from journal.records.mentors import Place, Said
from journal.store.mentors import add_link, say
from journal.store.opening import open_journal

#: What is said where no session has a frame.
NOTHING_YET = "No session has a frame yet."


def habit_line(lost: float, low: float, high: float, is_costly: bool) -> HabitLine:
    said = ("long_burst", "long bursts", "bursts of thirteen frames or more", "Stop earlier.", "label")
    return HabitLine(*said, 1713, 140, 36, lost, low, high, 1.0, 0.5, 1.5, 0.0, 0.0, 0.5, is_costly, is_enough=True)


def line(n_sessions: int) -> KeeperLine:
    return KeeperLine(("1/500",), (0, 0), 5, 1, n_sessions, 0.5, 0.1, 0.9, is_enough=False)


@pytest.mark.parametrize("place", ["/standing", "/limits", "/habits", "/progress"])
def test_an_empty_journal_says_once_that_it_has_no_frames(tmp_path: Path, place: str) -> None:
    with served(empty_journal(tmp_path / "a.journal")) as journal:
        assert journal.photographer().get(place).text.count(NOTHING_YET) == 1


def test_the_first_page_of_an_empty_journal_has_no_headings_of_charts_that_are_not_there(tmp_path: Path) -> None:
    with served(empty_journal(tmp_path / "a.journal")) as journal:
        text = journal.photographer().get("/").text
    assert re.findall(r"<h2[^>]*>([^<]*)", text) == ["Sessions"]
    assert text.count("There are no frames in this journal yet.") == 1


def test_nothing_is_called_judged_where_there_is_nothing_to_judge(tmp_path: Path) -> None:
    with served(empty_journal(tmp_path / "a.journal")) as journal:
        text = journal.photographer().get("/judge").text
    assert "There is no frame to judge yet. Next: thirdstop import CARD" in plain(text)


def test_one_session_is_spoken_of_as_one(tmp_path: Path) -> None:
    with served(small_journal(tmp_path / "a.journal", 1)) as journal:
        photographer = journal.photographer()
        assert "whether you improve: 1 judged session; 12 are needed" in photographer.get("/progress").text
        for place in ("/", "/standing", "/keepers", "/habits", "/judge", "/sessions/1"):
            assert re.findall(r"\b1 (?:frames|sessions|bursts|rejects|keepers)\b", photographer.get(place).text) == []


@pytest.mark.parametrize("place", ["/advice", "/standing"])
def test_where_no_advice_is_given_yet_the_way_goes_on_to_the_habits(tmp_path: Path, place: str) -> None:
    path, link = small_journal(tmp_path / "a.journal", 2), '<a href="/habits">All habits</a>'

    def advice(path: Path) -> str:
        with served(path) as journal:
            page = journal.photographer().get(place).text
        return page[page.index("<h2>Advice</h2>" if place == "/standing" else "<h1>") :]

    assert "No advice is given yet" in advice(path) and link in advice(path)
    given = "insert into advice (habit, advice, given_at) values ('thin_focus', 'Close it.', '2026-03-01T00:00:00Z')"
    assert link not in advice(changed(path, given))


def test_the_seventh_session_is_one_earlier_session(tmp_path: Path) -> None:
    with served(small_journal(tmp_path / "a.journal", 7)) as journal:
        assert "<summary>1 earlier session</summary>" in journal.photographer().get("/").text


def test_a_session_beyond_midnight_is_told_in_the_order_of_its_night(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    changed(
        path,
        "update frames set taken_at = '2026-03-01T23:50:00Z', taken_at_local = '2026-03-01T23:50:00' where id < 6",
        "update frames set taken_at = '2026-03-02T00:20:00Z', taken_at_local = '2026-03-02T00:20:00' where id >= 6",
    )
    with OpenJournal(path) as journal:
        course = session_page(journal, 1).course
    assert course is not None and course.course is not None
    assert course.course.sentence.startswith("From 23:50 to 00:20: 5 keepers, 5 rejects.")


def test_a_session_of_one_moment_has_no_end(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal", 1)) as journal:
        course = session_page(journal, 1).course
    assert course is not None and course.course is not None
    assert course.course.sentence.startswith("At 06:40: 5 keepers, 5 rejects.")


def test_judging_is_offered_where_something_is_unjudged_and_an_intent_is_asked_for(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    changed(path, "update sessions set intent = '' where id = 2", "update frames set verdict = 'keeper' where id = 11")
    with served(path) as journal:
        photographer = journal.photographer()
        judged, unstated = (photographer.get(f"/sessions/{number}").text for number in (1, 2))
    assert "Judge its unjudged frames" not in judged and "Judge all of them again" in judged
    assert "Judge its unjudged frames" in unstated and "thirdstop edit 2 --intent WORDS" in plain(unstated)
    assert "--intent" not in judged


def test_judging_is_offered_once_where_all_or_none_is_judged(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    changed(
        path,
        "update frames set verdict = 'unjudged' where session_id = 1",
        "delete from frame_faults where frame_id in (select id from frames where session_id = 1)",
        "update frames set verdict = 'keeper' where session_id = 2",
    )
    with served(path) as journal:
        photographer = journal.photographer()
        none, all_of_it = (photographer.get(f"/sessions/{number}").text for number in (1, 2))
        judging, again = (photographer.get(f"/judge/{place}").text for place in ("1?all=1", "2?all=1"))
        first = photographer.get("/judge/1").text
    assert "Judge its frames" in none and "Judge all of them" not in none
    assert "Judge all of them again" in all_of_it and "Judge its" not in all_of_it
    assert "Only the unjudged ones" in judging and "Only the unjudged ones" not in again
    assert "All of them" not in first


def test_only_a_habit_that_costs_keepers_beyond_chance_is_advised_against(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        found = ground(journal)
        lines = habits_page(journal, found).lines
        pages = {line.key: habit_page(journal, found, line.key, lines=lines) for line in lines}
    offered = {key for key, page in pages.items() if page.is_worth_a_try}
    assert offered == {line.key for line in lines if line.is_costly and line.key != "weekend"}
    assert 3 <= len(offered) < len(lines)
    assert {pages[key].advice_heading for key in offered} == {"What to do"}
    assert all(line.won - round(line.price) == round(line.lost) for line in lines if line.is_enough)
    assert {page.advice_heading for key, page in pages.items() if key not in offered} == {
        "What to do, should it cost you keepers"
    }


def test_nothing_is_said_of_chance_where_only_the_watch_over_the_method_has_enough() -> None:
    few = replace(habit_line(0.1, -1.0, 1.0, is_costly=False), is_enough=False)
    watch = replace(habit_line(0.1, -1.0, 1.0, is_costly=False), key="weekend")
    assert habits_sentence([few, watch]).startswith("No habit can be said to cost keepers yet")
    assert habits_sentence([replace(few, is_enough=True), watch]) == "No habit costs you keepers beyond chance so far."


def test_only_of_a_limit_that_was_reached_sessions_are_near_it(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        lines = limits_page(ground(journal)).told
    assert {line.bound == "both" for line in lines} == {True, False}
    assert all((line.near == "–") == (line.bound != "both") for line in lines)


def test_too_few_sessions_are_said_of_all_lines_or_of_some(tmp_path: Path) -> None:
    assert what_makes_it_surer([line(1)]).startswith(
        "1 line has not enough evidence yet; it has frames of fewer than 3 sessions."
    )
    assert what_makes_it_surer([line(1)] * 2).startswith("2 lines have not enough evidence yet; they have frames of")
    assert what_makes_it_surer([line(1), line(9)]).startswith(
        "2 lines have not enough evidence yet; 1 of them has frames of fewer"
    )
    assert what_makes_it_surer([line(9)]) == "1 line has not enough evidence yet; it has too wide an interval."
    assert what_makes_it_surer([line(1), line(9), line(9)]).endswith("sessions, the other 2 have too wide an interval.")
    assert what_makes_it_surer([line(1)], "chosen").startswith("1 chosen line has not enough evidence yet")


def test_no_line_of_settings_ends_between_a_number_and_its_unit() -> None:
    assert settings_in_words(1 / 500, 4.0, 400, 50.0) == "1/500, f/4, ISO\u00a0400, 50\u00a0mm"
    assert settings_in_words(None, 4.0, None, None) == "exposure time unknown, f/4"
    assert settings_in_words(None, None, None, None) == "settings unknown"


def test_the_two_names_of_crossed_settings_stand_one_under_the_other() -> None:
    one, two = (following_chart((name,), "How many?", False) for name in ("ISO 400", "ISO 400 · 1/500"))
    assert (one["height"], two["height"]) == (STEP_PX, TWO_LINES_PX)
    assert "labelExpr" not in one["layer"][0]["encoding"]["y"]["axis"]


def test_a_comment_on_a_habit_is_shown_with_the_habits_name(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    connection = open_journal(path)
    now = datetime.now(UTC)
    said = Said("k" * 32, Place("habit", habit="slow_by_hand"), "Brace on the rail.")
    assert say(connection, said, add_link(connection, MENTOR, 14, now), now)
    connection.close()
    with served(path) as journal:
        text = journal.photographer().get("/comments").text
    assert '<a href="/habits/slow_by_hand">habit: too slow for your hands</a>' in text


def test_a_browser_that_is_refused_gets_a_page_and_a_mentor_the_way_back(tmp_path: Path) -> None:
    with served(small_journal(tmp_path / "a.journal", 1)) as journal:
        page = {"accept": "text/html,*/*;q=0.8"}
        mentor, nobody = (
            visitor.get("/journal/frames", headers=page) for visitor in (journal.mentor(), journal.nobody())
        )
        plain = journal.nobody().get("/journal/frames")
    assert mentor.status_code == nobody.status_code == plain.status_code == 403
    assert (
        "<h1>A mentor&#39;s link opens the journal&#39;s pages to read and to comment on, and nothing else.</h1>"
        in (mentor.text)
    )
    assert '<a href="/">Back to the journal</a>' in mentor.text and "/assets/style-" in mentor.text
    assert "<h1>This journal is private.</h1>" in nobody.text and "<a " not in nobody.text
    assert plain.headers["content-type"].startswith("text/plain")


def test_a_habit_that_may_cost_nothing_is_not_said_to_have_kept_fewer_than_none() -> None:
    said = habit_sentence(habit_line(lost=-15.2, low=-66.0, high=36.0, is_costly=False))
    assert said == (
        "Long bursts: 1,713 frames in 36 sessions; at equal conditions 15 keepers more than as many other frames give "
        "(66 more to 36 fewer), which may be chance."
    )
    said = habit_sentence(habit_line(lost=-50.0, low=-66.0, high=-36.0, is_costly=False))
    assert said.endswith(
        "; at equal conditions 50 keepers more than as many other frames give (66 more to 36 more), so no cost is seen."
    )
    said = habit_sentence(habit_line(lost=15.2, low=-6.0, high=36.0, is_costly=False))
    assert said.endswith(" 15 keepers fewer than as many other frames give (6 more to 36 fewer), which may be chance.")
    said = habit_sentence(habit_line(lost=91.0, low=62.0, high=121.0, is_costly=True))
    assert said == (
        "Long bursts: 1,713 frames in 36 sessions; of these you would have kept 91 more (62 to 121) without it, at "
        "equal conditions."
    )
    by_hand = replace(habit_line(15.2, -6.0, 36.0, is_costly=False), key="slow_by_hand", kind="setting")
    assert "; 15 keepers fewer than with the remedy (6 more to 36 fewer)" in habit_sentence(by_hand)
    assert price_words(by_hand).startswith("Two stops faster, about")
    assert price_words(habit_line(1.0, 0.0, 2.0, is_costly=False)) == HELD_EQUAL


@pytest.mark.parametrize(
    ("ends", "is_costly", "verdict"),
    [
        ((-15, -66, 36), False, "may be chance"),
        ((-15, -66, -2), False, "no cost seen"),
        ((9, 6, 12), True, "costs keepers"),
    ],
)
def test_a_cost_that_may_be_there_is_not_denied(ends: tuple[float, ...], is_costly: bool, verdict: str) -> None:
    line = habit_line(*ends, is_costly=is_costly)
    high = ends[2] / 100
    assert replace(line, high_per_100=high).verdict == verdict


CHANGES = [Change("at equal scenes", 0.004, -0.326, 0.32), Change("plain count", 0.03, -0.17, 0.23)]


@pytest.mark.parametrize(
    ("n_sessions", "equal", "said"),
    [
        (5, CHANGES[0], "5 judged sessions; 12 are needed."),
        (37, CHANGES[0], "over 37 judged sessions the change lies between -33 and +32 of 100, and it must be known "
         "to within 30 either way."),
        (37, Change("at equal scenes", 0.0, -0.301, 0.303), "over 37 judged sessions the change lies between -30.1 "
         "and +30.3 of 100, and it must be known to within 30 either way."),
        (14, Change("at equal scenes", 0.0, math.nan, math.nan),
         "all 14 judged sessions kept the same share, so nothing tells how far chance alone would move it."),
        (14, Change("at equal scenes", math.nan, -1.0, 1.0), "all 14 judged sessions are of one day."),
    ],
)  # fmt: skip
def test_what_is_missing_to_speak_of_progress_is_named(n_sessions: int, equal: Change, said: str) -> None:
    sentence = progress_sentence([equal, CHANGES[1]], "not enough", n_sessions)
    assert sentence == f"It cannot be told yet whether you improve: {said}"


def test_the_parts_of_a_plain_change_add_up_with_the_rest() -> None:
    drivers = [Reason("the light", 0.061), Reason("the distance", -0.029), Reason("the body", 0.014)]
    parts = with_rest(CHANGES, drivers)
    assert [part.shown for part in parts] == ["+6", "-3", "+1", "-1"]
    assert reason_sentence(CHANGES, parts) == (
        "The plain count is 3 of 100 higher than that at equal scenes, by about: the light +6, the distance -3, the "
        "body +1 and the rest -1. How sure these parts are is not known."
    )
    assert with_rest(CHANGES, [Reason("the light", 0.03)]) == [Reason("the light", 0.03)]
    assert reason_sentence(CHANGES, with_rest(CHANGES, [])).endswith(
        "how much of that is due to which condition cannot be told."
    )
    assert with_rest(CHANGES, [Reason("the light", 0.08), Reason("flash", 0.06)]) == []
    same = [CHANGES[0], replace(CHANGES[1], change=0.02)]
    assert reason_sentence(same, drivers).endswith("so both numbers say the same.")


def test_what_is_rounded_to_nought_has_no_sign() -> None:
    numbers = environment().get_template("thirdstop_numbers.html")
    said = [str(numbers.module.rounded(value, 1)) for value in (-0.04, 0.04, -0.06, -10.0)]  # type: ignore[attr-defined]
    assert said == ["0.0", "0.0", "−0.1", "−10.0"]


def test_sessions_over_time_stand_in_the_order_of_time_whenever_they_were_entered(tmp_path: Path) -> None:
    later = "update sessions set started_at = '2026-04-01T06:40:00Z', ended_at = '2026-04-01T06:40:00Z' where id = 1"
    frames = "update frames set taken_at = '2026-04-01T06:40:00Z' where session_id = 1"
    with OpenJournal(changed(small_journal(tmp_path / "a.journal", 4), later, frames)) as journal:
        points = progress_page(ground(journal)).points
    assert [point["session"] for point in points] == [2, 3, 4, 1]
    assert [point["date"] for point in points] == sorted(point["date"] for point in points)


def test_one_judged_frame_is_spoken_of_as_one(tmp_path: Path) -> None:
    only_one = "update frames set session_id = 2 where id between 2 and 11"
    path = changed(small_journal(tmp_path / "a.journal", 2), only_one)
    with served(path) as journal:
        photographer = journal.photographer()
        one, many = (plain(photographer.get(f"/judge/{number}").text) for number in (1, 2))
    assert "Its one frame is judged." in one and "are judged" not in one
    assert "Its one frame" not in many


def test_what_moved_the_plain_count_has_its_minus_sign(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analytics.pages.progress.reason_sentence", lambda *_: "By about: the light -7, flash +1.")
    uneven = "update frames set verdict = 'reject' where session_id > 7 and id % 3 = 0"
    with served(changed(small_journal(tmp_path / "a.journal", 14), uneven)) as journal:
        text = plain(journal.photographer().get("/progress").text)
    assert "By about: the light −7, flash +1." in text


def test_a_wide_interval_that_leaves_no_change_out_asks_by_how_much() -> None:
    wide = Change("at equal scenes", 0.44, 0.13, 0.75)
    plain = Change("plain count", 0.4, 0.1, 0.7)
    assert progress_sentence([wide, plain], "not enough", 20).startswith(
        "It cannot be told yet by how much your keeping changed: over 20 judged sessions the change lies between +13 "
        "and +75 of 100"
    )


def test_advice_on_another_habit_is_named_with_its_day() -> None:
    given = {"slow_by_hand": "2026-03-01", "of_a_later_version": "2026-04-01"}
    assert other_advice(given, "long_burst") == (
        "Advice on “too slow for your hands” was given on 2026-03-01 and “of_a_later_version” was given on 2026-04-01; "
        "one at a time, or nobody can tell which of them worked"
    )
    assert other_advice({"slow_by_hand": "2026-03-01"}, "slow_by_hand") == ""


def test_where_every_frame_shows_a_habit_it_is_frames_without_it_that_are_missing() -> None:
    with_it = replace(habit_line(1.0, 0.0, 2.0, is_costly=False), is_enough=False)
    assert surer([with_it], 3000) == (
        "Not enough yet for “long bursts”: 30 judged frames in 5 sessions without it are needed. To make a cost surer, "
        "name the faults of every reject and log more sessions."
    )
    assert surer_habit(with_it, 3000) == "30 judged frames in 5 sessions without it are needed; 1,713 in 36 show it."
    assert habit_sentence(replace(with_it, n_frames=3000), 3000) == (
        "Long bursts: all 3,000 judged frames show it, so there is none to compare them with."
    )
    few = replace(with_it, n_frames=12, n_sessions=3)
    assert surer([few], 30).startswith(
        "Not enough yet for “long bursts”: 30 judged frames in 5 sessions are needed, and as"
    )
    assert surer([few], 30).endswith("log more sessions, not longer ones.")
    assert surer([few], 12).endswith("log more sessions.") and surer_habit(few, 12).endswith(
        "12 in 3 show it, none is without it."
    )
