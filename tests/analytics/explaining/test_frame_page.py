"""The page of one frame and of two, as it is served."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest
from journals import HOSTILE, changed, small_journal
from visiting import plain, served

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.dataset import OpenJournal
from analytics.explaining import OwnLimit
from analytics.pages.frame import comparison_page, frame_page, own_limits
from analytics.queries import NEAR_IN_BURST
from journal.cli import load_commands, run
from journal.store.opening import open_journal

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "test.journal", n_sessions=2, is_simulated=True)


def test_a_frame_page_has_the_sentence_the_parts_and_the_burst_to_compare_with(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        page = frame_page(opened, 8, own_limits(opened.judged_frames()))
    assert page.sentence.startswith("Frame 8 (1/15, f/4, ISO 400 at 50 mm): rejected for camera shake")
    assert [part.heading for part in page.parts] == [
        "Exposure and noise",
        "Depth of field",
        "Blur budget",
        "Suggestion",
        "What would have fixed it",
        "Against your own limits",
    ]
    assert (page.card.frame_id, {card.frame_id for card in page.burst}) == (8, {6, 7, 9, 10, 11})
    assert page.simulated == "Simulated data"
    for part in page.parts:
        assert all(len(row) == len(part.columns) for row in part.rows)
        assert set(part.right) <= set(part.columns)


def test_the_nearest_frames_of_the_burst_stand_in_its_order(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        assert [card.frame_id for card in frame_page(opened, 8, {}).burst] == [6, 7, 9, 10, 11]
        assert frame_page(opened, 8, {}).n_others == 5
        near = [(row["id"], row["n_others"]) for row in opened.rows(NEAR_IN_BURST, {"number": 8, "limit": 3})]
    assert near == [(6, 5), (7, 5), (9, 5)]


def test_where_not_all_of_a_burst_is_shown_the_page_says_how_much(journal: Path, monkeypatch: Any) -> None:
    def said() -> str:
        with served(journal) as place:
            return plain(place.photographer().get("/frames/8").text)

    assert "other frames" not in said()
    monkeypatch.setattr("analytics.pages.frame.MOST_NEAR", 3)
    assert "The nearest 3 of 5 other frames." in said()


def test_a_keeper_needs_no_mending_and_is_not_told_so(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        page = frame_page(opened, 1, {})
    assert page.explanation.facts.verdict == "keeper"
    assert "What would have fixed it" not in [part.heading for part in page.parts]


def test_what_the_settings_are_off_by_the_stated_light_is_told_as_that(journal: Path) -> None:
    changed(journal, "update sessions set light_ev100 = 5.6", "update frames set ev100 = 5.9 where id = 8")
    with OpenJournal(journal) as opened:
        exposure = dict(frame_page(opened, 8, {}).parts[0].rows)
    assert exposure["light as stated"] == "EV 5.6 at ISO 100; by that, underexposed by 0.3 stops"


def test_a_first_step_names_the_command_that_would_tell_how_far(journal: Path) -> None:
    judged = "update frames set verdict = 'reject' where id = 8"
    changed(journal, "update frame_faults set fault = 'underexposed' where frame_id = 8", judged)
    with OpenJournal(journal) as opened:
        page = frame_page(opened, 8, {})
    (fixes,) = (part for part in page.parts if part.heading == "What would have fixed it")
    assert fixes.before == (
        "Underexposed (your verdict).",
        "The ways here are a first step of one stop at most; how far it is off is not known until its picture is "
        "examined; where its file is at hand: thirdstop examine",
    )


@pytest.mark.parametrize(
    ("limit", "said"),
    [
        (OwnLimit(-1.0, -1.5, -0.5, True), ("1.0 stops beyond", "0.5 to 1.5 beyond")),
        (OwnLimit(1.0, 0.5, 1.5, True), ("1.0 stops to spare", "0.5 to 1.5 to spare")),
        (OwnLimit(-0.3, -0.8, 0.2, True), ("0.3 stops beyond", "0.8 beyond to 0.2 to spare")),
        (OwnLimit(-0.04, -0.5, 0.04, True), ("at the limit", "0.5 beyond to 0.0 to spare")),
    ],
)
def test_how_far_beyond_a_limit_is_said_with_an_interval_of_the_same_side(
    journal: Path, limit: OwnLimit, said: tuple[str, str]
) -> None:
    with OpenJournal(journal) as opened:
        body = frame_page(opened, 8, {}).explanation.facts.gear.body
        at_iso_400 = replace(limit, estimate=limit.estimate + 2, low=limit.low + 2, high=limit.high + 2)
        page = frame_page(opened, 8, {("iso", body): at_iso_400})
    assert next(row[1:3] for row in page.parts[-1].rows if row[0].startswith("highest ISO")) == said


def test_a_star_without_all_causes_is_the_largest_of_those_known_and_says_what_is_not(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        blur = next(part for part in frame_page(opened, 8, {}).parts if part.heading == "Blur budget")
    assert all(row[blur.columns.index("share")] == "" for row in blur.rows)
    star, shares, *_more = blur.notes
    assert star == "* the largest of those that are known."
    assert shares.startswith("No shares are told: ") and shares.endswith("are not known.")


def examined(journal: Path, measures: dict[str, object]) -> None:
    """Frame 8, with what was measured in its picture."""
    connection = open_journal(journal)
    connection.execute(
        "insert into measurements values (8, 1, 'picture', '8', '2026-03-01T06:40:00Z', ?)", [json.dumps(measures)]
    )
    connection.close()


def test_a_smear_that_the_edges_rule_out_is_said_so_under_the_table(journal: Path) -> None:
    measures = {"blur": {"spread_px": 0.3, "along_px": 0.3, "across_px": 0.2, "direction_deg": 10}, "preview_scale": 2}
    stated = "update sessions set subject_pace = 'still', subject_distance_m = 4, subject_depth_m = 0.5"
    changed(journal, stated, "update bodies set sensor_width_mm = 36, sensor_height_mm = 24")
    examined(journal, measures)
    with OpenJournal(journal) as opened:
        page = frame_page(opened, 8, {})
    assert page.explanation.facts.measured is not None and page.explanation.facts.measured.scale == 2
    blur = next(part for part in page.parts if part.heading == "Blur budget")
    (held,) = (row for row in blur.rows if row[0].startswith("hand-held smear"))
    assert held[1:5] == ("", "", "", "ruled out")
    assert blur.notes[1].endswith(" was to be expected, but the measured edges rule it out.")
    assert blur.notes[2] == "No shares are told, for of what is ruled out no size is known."


def test_edges_of_all_directions_are_told_apart_from_those_of_each(journal: Path) -> None:
    edges = {"spread_px": 0.7, "along_px": 0.9, "across_px": 0.5, "direction_deg": 82}
    examined(journal, {"blur": edges})
    with OpenJournal(journal) as opened:
        blur = next(part for part in frame_page(opened, 8, {}).parts if part.heading == "Blur budget")
    assert blur.after[-1] == (
        "The sharpest quarter of all edges spreads up to 0.7 px, as a standard deviation; taken direction by "
        "direction, it spreads 0.9 px along 82° and 0.5 px across it (clockwise from level)."
    )


def test_the_shares_of_the_blur_budget_add_up_to_a_hundred_as_they_are_read(journal: Path) -> None:
    stated = "update sessions set subject_pace = 'still', subject_distance_m = 4, subject_depth_m = 0.5"
    changed(journal, stated, "update bodies set sensor_width_mm = 36, sensor_height_mm = 24")
    with OpenJournal(journal) as opened:
        for number in (1, 8):
            page = frame_page(opened, number, {})
            table = next(part for part in page.parts if part.heading == "Blur budget")
            told = [row[table.columns.index("share")] for row in table.rows]
            assert sum(int(words.removesuffix(" %")) for words in told) == 100
            assert sum(part.share or 0 for part in page.explanation.budget.parts) == pytest.approx(1)


def test_a_real_frame_is_not_called_simulated_for_what_stands_beside_it(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_commands()
    changed(journal, "update sessions set is_simulated = 0 where id = 1")  # frames 1 to 11; 12 to 22 are of session 2
    with OpenJournal(journal) as opened:
        assert opened.simulated() == "Simulated data in 1 of 2 sessions"
        assert [frame_page(opened, number, {}).simulated for number in (1, 12)] == [None, "Simulated data"]
        pairs = [comparison_page(opened, *pair, {}).simulated for pair in ((1, 2), (1, 12), (12, 13))]
    assert pairs == [None, "Simulated data in frame 12", "Simulated data"]
    for command in ("explain", "frame"):
        for number, is_simulated in ((1, False), (12, True)):
            assert run([command, str(number), "--journal", str(journal)]) == 0
            assert capsys.readouterr().out.startswith("Simulated data. ") == is_simulated


def test_a_comparison_shows_both_frames(journal: Path) -> None:
    with OpenJournal(journal) as opened:
        page = comparison_page(opened, 1, 8, {})
    assert [card.frame_id for card in page.cards] == [1, 8]
    assert page.parts[0].columns == ("what", "frame 1", "frame 8", "stops brighter in frame 8")
    done, verdicts = page.parts[1:3]
    assert (done.heading, done.columns) == (
        "What that does to the picture",
        ("what", "frame 1", "frame 8", "difference"),
    )
    assert verdicts.before == ("Frame 1: keeper; frame 8: reject (camera shake).",)


@pytest.fixture
def get(journal: Path) -> Iterator[Any]:
    """Asks for a page as a visitor who was let in."""
    keys = Keys()
    cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie}
    with ExitStack() as stack:
        pages = stack.enter_context(application(journal, Reach(DEFAULT_PORT), keys))

        def ask(path: str) -> httpx.Response:
            async def asked() -> httpx.Response:
                transport = httpx.ASGITransport(app=pages)
                async with httpx.AsyncClient(transport=transport, base_url=HOME, cookies=cookies) as client:
                    return await client.get(path)

            return asyncio.run(asked())

        yield ask


def test_the_page_is_served_with_links_to_compare(get: Any) -> None:
    answer = get("/frames/8")
    assert answer.status_code == 200
    assert "\nFrame 8 (1/15, f/4, ISO 400 at 50 mm): rejected for camera shake" in plain(answer.text)
    assert "Simulated data." in answer.text
    assert 'href="/frames/8/9"' in answer.text
    both = get("/frames/8/1")
    assert "differ most in" in both.text
    assert get("/sessions/1").text.count('href="/frames/8"') == 1


def test_a_frame_that_is_not_there_is_a_page_that_says_so(get: Any) -> None:
    for path in ("/frames/99", "/frames/1/99"):
        answer = get(path)
        assert answer.status_code == 404
        assert "There is no frame 99 in this journal." in answer.text


def test_a_hostile_name_is_text_on_the_page(get: Any) -> None:
    answer = get("/frames/2")
    assert answer.status_code == 200
    assert HOSTILE not in answer.text
    assert "<img src=x" not in answer.text
