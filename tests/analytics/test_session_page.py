"""A session's page: plan and use, the course of the day, and faults, each counted exactly once."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import vl_convert
from journals import changed, small_journal

from analytics import queries
from analytics.charts.session import course_chart, course_shape_name, whole
from analytics.dataset import OpenJournal
from analytics.pages.session import session_facts, session_page
from analytics.pages.session_course import MOST_DOTS, session_course
from journal.optics.derived import derive


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "outings.journal", 4)


def session(path: Path, number: int) -> dict[str, Any]:
    with OpenJournal(path) as journal:
        return journal.rows(queries.ONE_SESSION, {"number": number})[0]


def values(chart: dict[str, Any] | None) -> list[dict[str, Any]]:
    assert chart is not None
    rows: list[dict[str, Any]] = chart["data"]["values"]
    return rows


def test_every_frame_of_the_session_is_in_its_course(path: Path) -> None:
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None and page.course.course is not None
    counted = {verdict: 0 for verdict in ("keeper", "reject", "unjudged")}
    for row in page.course.course.rows:
        counted[row["verdict"]] += row["n_frames"]
    assert counted == {"keeper": 5, "reject": 5, "unjudged": 0}
    assert page.course.course.sentence.endswith(
        ": 5 keepers, 5 rejects. 1 frame without a time of day or an exposure time: not drawn."
    )
    assert sum(row["n_frames"] for row in values(page.course.course.chart)) == 10


def test_faults_are_counted_by_rejects_and_bursts(path: Path) -> None:
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None and page.course.faults is not None
    assert page.course.faults.rows[0]["fault"] == "camera shake"
    assert page.course.faults.rows[0]["n_frames"] == 5
    assert page.course.faults.sentence.startswith("Camera shake most often: 5 of 5 rejects, in ")


def test_where_rejects_show_several_faults_the_shares_are_said_to_overlap(tmp_path: Path) -> None:
    journal = small_journal(tmp_path / "a.journal", 2)
    twice = "insert into frame_faults (frame_id, fault) select id, 'framing' from frames where verdict = 'reject'"
    for statements, several in (((), False), ((twice,), True)):
        with OpenJournal(changed(journal, *statements)) as opened:
            course = session_page(opened, 2).course
        assert course is not None and course.faults is not None
        assert course.faults.sentence.endswith("; a reject may show several faults.") == several


def test_a_fault_has_its_share_of_the_rejects_with_an_interval(path: Path) -> None:
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None and page.course.faults is not None
    for row, drawn in zip(page.course.faults.rows, values(page.course.faults.chart), strict=True):
        assert row["estimate"] == 100 * row["n_frames"] / 5
        assert 0 <= row["low"] <= row["estimate"] <= row["high"] <= 100
        assert (drawn["low"], drawn["high"]) == (row["low"], row["high"])
        assert drawn["is_enough"] == row["is_enough"]


def frames_alone(*rates: float) -> str:
    """Adds judged frames outside bursts, half a minute apart: 48 for each rate, of which that share is kept."""
    rows = []
    for number in range(48 * len(rates)):
        verdict = "keeper" if number % 4 < 4 * rates[number // 48] else "reject"
        at = f"strftime('%Y-%m-%dT%H:%M:%S', '2026-03-01 08:00', '{30 * number} seconds')"
        rows.append(f"('alone {number}', 1, '{number}.jpg', {at} || 'Z', {at}, -48, '{verdict}')")
    columns = "frame_key, session_id, file_name, taken_at, taken_at_local, tv6, verdict"
    return f"insert into frames ({columns}) values {', '.join(rows)}"


def test_keepers_are_told_by_parts_of_the_session(path: Path) -> None:
    changed(path, "delete from frames where session_id = 1", frames_alone(0.25, 0.75))
    with OpenJournal(path) as journal:
        page = session_page(journal, 1)
    assert page.course is not None and page.course.along is not None
    along = page.course.along
    assert sum(row["n_frames"] for row in along.rows) == 96
    assert along.rows[0]["began"] == "2026-03-01T08:00:00"
    assert (along.rows[0]["estimate"], along.rows[-1]["estimate"]) == (25.0, 75.0)
    assert along.sentence.startswith(
        "You kept 4 of 16 frames in the first part and 12 of 16 in the last: a difference of +50 (+"
    )
    assert along.sentence.endswith(", counted plainly; light and subjects may have changed too.")


def test_a_difference_between_parts_that_chance_makes_is_called_so(path: Path) -> None:
    changed(path, "delete from frames where session_id = 1", frames_alone(0.5, 0.5))
    with OpenJournal(path) as journal:
        page = session_page(journal, 1)
    assert page.course is not None and page.course.along is not None
    assert page.course.along.sentence.startswith(
        "You kept 8 of 16 frames in the first part and 8 of 16 in the last: a difference of 0 (-"
    )
    assert page.course.along.sentence.endswith(") of 100, which may be chance.")


def test_a_few_bursts_are_not_cut_into_parts(path: Path) -> None:
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None
    assert page.course.along is None


def test_a_frame_outside_the_plan_is_said_so(path: Path) -> None:
    changed(path, "update frames set iso = 6400 where id = (select min(id) from frames where session_id = 2)")
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None
    assert page.course.plan_sentence == "1 of 11 frames lies outside the planned ISO (higher)."
    (line,) = [line for line in page.course.plan if line.setting == "ISO"]
    assert (line.planned, line.used, line.n_within, line.n_frames) == ("200 to 1600", "400 to 6400", 10, 11)


def test_the_suns_height_is_told_with_its_side_of_the_horizon(path: Path) -> None:
    changed(path, "update sessions set sun_elevation_deg = -3.6, sunlight = 'dusk' where id = 2")
    assert session_facts(session(path, 2))["sunlight"] == "dusk, sun 4° below the horizon at the start"
    changed(path, "update sessions set sun_elevation_deg = 12.2, sunlight = null where id = 2")
    assert session_facts(session(path, 2))["sunlight"] == "sun 12° above the horizon at the start"


def test_more_bursts_than_can_be_told_apart_are_counted_together(path: Path) -> None:
    columns = "frame_key, session_id, file_name, taken_at, taken_at_local, tv6, verdict"
    changed(
        path,
        f"""
        with recursive many (n) as (select 0 union all select n + 1 from many where n < {2 * MOST_DOTS})
        insert into frames ({columns})
        select 'many ' || n, 2, n || '.jpg', strftime('%Y-%m-%dT%H:%M:%SZ', '2026-03-01', n || ' seconds'),
            strftime('%Y-%m-%dT%H:%M:%S', '2026-03-01', n || ' seconds'), n % 12 - 48, 'unjudged' from many
        """,
    )
    with OpenJournal(path) as journal:
        course = session_course(journal, session(path, 2)).course
    assert course is not None
    assert len(course.rows) <= MOST_DOTS
    assert sum(row["n_frames"] for row in course.rows) == 10 + 2 * MOST_DOTS + 1


def test_a_session_without_frames_draws_nothing(path: Path) -> None:
    changed(path, "update frames set session_id = 1 where session_id = 2")
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is None


def test_light_below_nought_has_its_minus_sign_for_the_photographer_and_for_others(path: Path) -> None:
    changed(path, "update sessions set light = 'new moon', light_ev100 = -2.5 where id = 2")
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert dict(page.facts)["light"] == "new moon, EV −2.5 at ISO 100"
    assert dict(page.facts_for_others)["light"] == "EV −2.5 at ISO 100"


def test_frames_without_time_or_clock_are_left_out_of_the_course_only(path: Path) -> None:
    changed(path, "update frames set taken_at = null, tv6 = null where session_id = 2")
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None
    assert page.course.course is None
    assert page.course.faults is not None


def test_the_charts_say_in_words_what_they_draw(path: Path) -> None:
    changed(path, frames_alone(0.25, 0.75).replace(", 1, ", ", 2, "))
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None
    assert page.course.along is not None
    for counted in (page.course.course, page.course.along, page.course.faults):
        assert counted is not None
        assert counted.chart is not None
        assert counted.chart["description"] == f"{counted.question} {counted.sentence}"
        assert any("description" in layer["encoding"] for layer in counted.chart["layer"])


def drawn(chart: dict[str, Any]) -> str:
    """The chart as SVG, as a browser would draw it 600 px wide."""
    return str(vl_convert.vegalite_to_svg(chart | {"width": 600}, vl_version="6.4", allowed_base_urls=[]))


def test_every_mark_says_in_words_what_it_stands_for(path: Path) -> None:
    changed(path, frames_alone(0.25, 0.75).replace(", 1, ", ", 2, "))
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None
    course, along, faults = page.course.course, page.course.along, page.course.faults
    assert course is not None and along is not None and faults is not None
    first, shake = along.rows[0], faults.rows[0]
    kept = f"{first['estimate']:.0f} of 100 kept ({first['low']:.0f} to {first['high']:.0f})"
    clock = f"{first['began'][11:16]} to {first['ended'][11:16]}"
    assert f'aria-label="{clock}: {kept}, {first["n_frames"]} judged frames in ' in drawn(along.chart)
    lost = f"{shake['estimate']:.0f} of 100 rejects ({shake['low']:.0f} to {shake['high']:.0f})"
    yet = "" if shake["is_enough"] else "; not enough yet"
    assert f'aria-label="camera shake: {lost}; 5 rejects, {shake["n_bursts"]} bursts{yet}"' in drawn(faults.chart)
    assert 'aria-label="08:00, 1/250: 1 frame, ' in drawn(course.chart)


def test_a_course_has_no_layer_without_dots(path: Path) -> None:
    with OpenJournal(path) as journal:
        page = session_page(journal, 2)
    assert page.course is not None and page.course.course is not None
    assert page.course.course.shape == "course keeper reject"
    assert len(page.course.course.chart["layer"]) == 2


def over_years(path: Path) -> None:
    """Eleven frames of session 2, each a year after the one before, from 2015 on."""
    first = "(select min(id) from frames where session_id = 2)"
    at = f"strftime('%Y-%m-%dT08:00:00', '2015-05-03', (id - {first}) || ' years')"
    changed(
        path,
        f"update frames set taken_at = {at} || '.000Z', taken_at_local = {at}, burst_id = null where session_id = 2",
        "update sessions set started_at = '2020-05-03T06:40:00.000Z', ended_at = '2020-05-04' where id = 2",
        "update sessions set ended_at = '2020-05-03T09:00:00.000Z' where id = 2",
    )


def test_a_course_of_years_is_told_by_dates_and_says_what_lies_outside_the_session(path: Path) -> None:
    over_years(path)
    with OpenJournal(path) as journal:
        course = session_course(journal, session(path, 2)).course
    assert course is not None
    assert course.sentence.startswith("From 2015-05-03 to 202")
    assert " 10 of 11 frames were taken outside the session’s time, " in course.sentence
    assert course.sentence.endswith(", 2020-05-03 06:40 to 09:00.")
    assert course.rows[0]["at"] == "2015-05-03 08:00:00"
    assert ">2018<" in drawn(course.chart) and ">00:00<" not in drawn(course.chart)


def test_frames_within_the_sessions_time_raise_no_word_of_it(path: Path) -> None:
    with OpenJournal(path) as journal:
        course = session_course(journal, session(path, 2)).course
    assert course is not None
    assert "outside" not in course.sentence
    assert ":" in course.rows[0]["at"] and "-" not in course.rows[0]["at"]


def test_single_frames_share_a_row_and_each_has_its_time_with_the_date_of_another_day(path: Path) -> None:
    over_years(path)
    with OpenJournal(path) as journal:
        (row,) = session_page(journal, 2).bursts
    assert row.heading == "11 single frames"
    assert [card.at for card in row.frames][4:6] == ["2019-05-03 08:00:00", "08:00:00"]


def test_a_burst_has_its_place_in_the_session_its_time_and_its_frames(path: Path) -> None:
    with OpenJournal(path) as journal:
        first, second = session_page(journal, 2).bursts
    assert first.heading == f"Burst 1, {first.began}, {len(first.frames)} frames"
    assert second.heading.startswith("Burst 2, ")
    assert all(card.at == "" for card in first.frames)


def test_single_frames_between_bursts_are_not_counted_with_them(path: Path) -> None:
    changed(path, "insert into bursts (id, session_id) values (0, 2)")  # before the others
    changed(path, "update frames set burst_id = 0 where id = (select min(id) from frames where session_id = 2)")
    with OpenJournal(path) as journal:
        headings = [burst.heading.split(",")[0] for burst in session_page(journal, 2).bursts]
    assert headings == ["Single frame", "Burst 1", "Burst 2"]


@pytest.mark.parametrize(("page", "place"), [(1, 1), (2, 2), (3, 2)])
def test_a_burst_keeps_its_place_on_every_page_of_its_session(
    path: Path, page: int, place: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.pages.session.FRAMES_PER_PAGE", 5)
    with OpenJournal(path) as journal:
        (burst,) = session_page(journal, 2, page).bursts
    assert burst.place == place


def test_every_setting_that_left_the_plan_is_named(path: Path) -> None:
    changed(
        path,
        "update frames set iso = 6400, f_number = 3.95 where session_id = 2",
        "update sessions set planned_f_number_min = 8, planned_f_number_max = 8 where id = 2",
        "update frames set iso = 400 where id = (select min(id) from frames where session_id = 2)",
    )
    with OpenJournal(path) as journal:
        found = session_course(journal, session(path, 2))
    assert found.plan_sentence == (
        "11 of 11 frames lie outside the planned aperture (all wider) and 10 outside the planned ISO (all higher)."
    )
    changed(path, "update frames set f_number = 11 where id = (select max(id) from frames where session_id = 2)")
    with OpenJournal(path) as journal:
        both = session_course(journal, session(path, 2))
    assert "11 of 11 frames lie outside the planned aperture (10 wider, 1 narrower)" in both.plan_sentence
    assert [line.median for line in found.plan if line.setting == "aperture"] == ["f/4"]


@pytest.mark.parametrize("verdict", ["keeper", "reject", "unjudged"])
def test_only_keepers_are_filled_in_the_course_and_what_is_unjudged_is_a_broken_ring(verdict: str) -> None:
    dot = {"began": "2026-03-01T07:00:00", "tv6": -48, "label": "1/250", "verdict": verdict, "n_frames": 1}
    svg = drawn(whole(course_shape_name([dot]), course_chart([dot], "One.")))
    marks = re.findall(r'<path [^>]*stroke="#[^>]*>', svg)
    assert len(marks) == 2  # the dot and the legend's
    for mark in marks:
        assert (' fill="#' in mark) == (verdict == "keeper")
        assert ('stroke-dasharray="2,2"' in mark) == (verdict == "unjudged")


@pytest.mark.parametrize(("denominator", "place"), [(60, -36), (30, -30), (15, -24), (125, -42), (50, -34)])
def test_a_time_is_drawn_where_the_axis_has_its_name(path: Path, denominator: int, place: int) -> None:
    """1/60 is engraved short of 1/64, and would be drawn beside it by its own length."""
    tv6 = derive(1 / denominator, None, None, None).tv6
    changed(path, f"update frames set tv6 = {tv6} where session_id = 2")
    with OpenJournal(path) as journal:
        course = session_course(journal, session(path, 2)).course
    assert course is not None
    assert {(row["tv6"], row["label"]) for row in course.rows} == {(place, f"1/{denominator}")}


def test_the_course_shows_between_which_exposure_times_was_planned(path: Path) -> None:
    dot = {"began": "2026-03-01T07:00:00", "tv6": -48, "label": "1/250", "verdict": "keeper", "n_frames": 1}
    heights = {}
    for planned in ((-48, -48), (-60, -36)):
        svg = drawn(whole(course_shape_name([dot], True), course_chart([dot], "One.", planned)))
        band = re.search(r'd="M0,([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+Z"[^>]*fill-opacity="0.08"', svg)
        assert band
        heights[planned] = float(band[3])
        assert "in the grey band: as planned" in svg
    assert heights[-60, -36] > heights[-48, -48] > 0
    assert "as planned" not in drawn(whole(course_shape_name([dot]), course_chart([dot], "One.")))


def test_the_band_of_the_course_is_the_plan_of_the_session(path: Path) -> None:
    times = "planned_exposure_time_min_s = 1.0 / 125, planned_exposure_time_max_s = 1.0 / 30"
    changed(path, f"update sessions set {times} where id = 2")
    with OpenJournal(path) as journal:
        course = session_course(journal, session(path, 2)).course
    assert course is not None
    assert course.shape.endswith(" planned")
    ends = {param["name"]: param["value"] for param in course.added["params"]}
    assert (ends["planned_shortest"], ends["planned_longest"]) == (-43, -29)  # a sixth of a stop around 1/128 and 1/32


def test_the_sessions_before_and_after_are_those_of_the_time_not_of_the_number(path: Path) -> None:
    changed(
        path, "update sessions set started_at = '1999-01-01T00:00:00Z', ended_at = '1999-01-01T01:00:00Z' where id = 3"
    )
    with OpenJournal(path) as journal:
        beside = {
            number: (page.before, page.after) for number in (1, 2, 3, 4) if (page := session_page(journal, number))
        }
    assert beside == {3: (None, 1), 1: (3, 2), 2: (1, 4), 4: (2, None)}


def test_sessions_of_the_same_moment_follow_each_other_once(path: Path) -> None:
    changed(path, "update sessions set started_at = '2026-03-01T00:00:00Z'")
    with OpenJournal(path) as journal:
        assert [session_page(journal, number).after for number in (1, 2, 3, 4)] == [2, 3, 4, None]
        assert [session_page(journal, number).before for number in (1, 2, 3, 4)] == [None, 1, 2, 3]


@pytest.mark.parametrize(("times", "ends"), [((-50,), (-66, -42)), ((-50, -36), (-56, -30)), ((-36, -12), (-42, -6))])
def test_the_scale_of_a_course_ends_a_stop_beyond_its_frames_and_has_two_names(
    times: tuple[int, ...], ends: tuple[int, int]
) -> None:
    dots = [
        {"began": "2026-03-01T07:00:00", "tv6": time, "label": "?", "verdict": "keeper", "n_frames": 1}
        for time in times
    ]
    params = {param["name"]: param["value"] for param in course_chart(dots, "?")["params"]}
    assert (params["shortest"], params["longest"]) == ends
    assert len([time for time in range(-120, 121, 12) if ends[0] <= time <= ends[1]]) >= 2
