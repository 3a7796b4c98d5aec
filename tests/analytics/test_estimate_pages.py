"""The pages of limits, habits and progress as they are served: what stands on them, and who may see it."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from browsing import Seen, barriers, needs_chromium, served
from journals import changed, small_journal
from playwright.sync_api import Browser, Page

from analytics.dataset import OpenJournal
from analytics.pages.drawn import drawn_habit, drawn_habits, drawn_limits, drawn_progress, undrawn_counts
from analytics.pages.habits import habit_lines, habit_sentence, remedy_words, spread
from analytics.pages.judged import ground
from analytics.statistics.habit_catalogue import BY_KEY
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: Pages with the charts they draw on the simulated year.
PAGES = {
    "standing": 1,
    "advice": 0,
    "limits": 8,
    "habits": 1,
    "habits/slow_by_hand": 1,
    "progress": 2,
    "plan": 0,
    "series": 0,
}


def test_every_limit_has_its_chart_its_counts_and_its_frames(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        drawn = drawn_limits(journal, ground(journal))
    assert drawn.simulated == "Simulated data"
    assert len(drawn.panels) == len(drawn.page.lines) == PAGES["limits"]
    for panel in drawn.panels:
        assert panel.chart is not None and panel.chart["title"]["text"] == panel.question
        assert sum(row["n_frames"] for row in panel.counts) == panel.line.n_frames
        assert sum(row["n_faults"] for row in panel.counts) == panel.line.n_faults
        assert all(card.verdict == "reject" for card in panel.frames)
        assert len(panel.frames) <= panel.n_rejects


def test_frames_that_show_a_habit_come_from_many_bursts(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        one = drawn_habit(journal, ground(journal), "slow_by_hand").one
        assert one is not None
        shown = [card.frame_id for card in one.evidence]
        sql = "select count(distinct burst_id) from frames where id in (select value from json_each(?))"
        assert journal.connection.execute(sql, [json.dumps(shown)]).fetchone()[0] == len(shown) == 12
    assert all("camera shake" in card.faults for card in one.evidence)
    assert all(card.verdict == "keeper" for card in one.counter)
    assert one.evidence[0].has_preview


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("slow_by_hand", "two stops faster"),
        ("thin_focus", "two stops further closed"),
        ("needlessly_fast", "two stops slower"),
        ("stopped_down", "two stops further open"),
        ("under_in_backlight", "with a stop more"),
        ("over_on_stage", "with a stop less"),
        ("long_burst", "without it"),
    ],
)
def test_a_remedy_is_said_in_stops(key: str, words: str) -> None:
    assert remedy_words(BY_KEY[key]) == words


def test_a_journal_with_too_little_has_pages_without_charts(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal", 2)) as journal:
        found = ground(journal)
        assert drawn_habits(journal, found).chart is None
        progress = drawn_progress(found)
        assert progress.timeline is not None and len(progress.page.points) == 2
        assert drawn_limits(journal, found).page.left_out
        with pytest.raises(JournalError):
            drawn_habit(journal, found, "nonsense")


@pytest.fixture(scope="module")
def link(simulated_year: Path) -> Iterator[str]:
    with served(simulated_year) as address:
        yield address


def come_in(page: Page, link: str, place: str) -> None:
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(f"{page.url}{place}")
    if PAGES.get(place, 1):
        page.wait_for_selector("html[data-charts=drawn]")


@pytest.mark.parametrize("place", PAGES)
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
class TestInABrowser:
    pytestmark = needs_chromium

    def test_a_page_draws_its_charts_and_asks_only_this_machine(
        self, browser: Browser, link: str, place: str, width: int, scheme: str
    ) -> None:
        context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
        page = context.new_page()
        seen = Seen(page)
        come_in(page, link, place)
        assert page.locator("figure.chart[data-state=drawn] svg").count() == PAGES[place]
        assert page.get_by_role("note").inner_text() == "Simulated data."
        assert page.get_by_role("heading", level=1).count() == 1
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert seen.complaints == []
        assert seen.hosts - {""} == {urlsplit(link).netloc}
        assert barriers(page) == []
        context.close()


class TestTheWayAround:
    pytestmark = needs_chromium

    def test_a_habit_leads_to_its_frames_and_a_frame_to_its_session(self, browser: Browser, link: str) -> None:
        page = browser.new_page()
        come_in(page, link, "habits")
        page.get_by_role("region", name="Table of habits").get_by_role("link", name="thinner focus").click()
        page.wait_for_url(re.compile("/habits/thin_focus$"))
        assert page.get_by_role("heading", level=1).inner_text().startswith("Thinner focus than the subject: ")
        assert page.locator("ul.burst li").count() == 24
        page.locator("ul.burst li").first.get_by_role("link", name=re.compile("^session ")).click()
        page.wait_for_url(re.compile(r"/sessions/\d+$"))
        page.close()

    def test_a_limit_in_the_table_leads_to_its_chart(self, browser: Browser, link: str) -> None:
        page = browser.new_page()
        come_in(page, link, "limits")
        page.get_by_role("link", name="Slowest hand-held time, stabilised").click()
        heading = page.get_by_role("heading", name=re.compile("^Slowest hand-held time, stabilised: "))
        assert heading.evaluate("node => node.getBoundingClientRect().top < window.innerHeight")
        page.locator("details summary", has_text="slowest hand-held time, stabilised").click()
        assert page.get_by_role("region", name="Table: How slow can you hand-hold, stabilised?").is_visible()
        page.close()

    @pytest.mark.parametrize("place", ["habits", "progress"])
    def test_a_chart_writes_numbers_below_nought_as_its_table_does(
        self, browser: Browser, link: str, place: str
    ) -> None:
        page = browser.new_page()
        come_in(page, link, place)
        shown = page.locator("figure.chart svg text").all_text_contents()
        assert any(re.fullmatch("\N{MINUS SIGN}" + r"\d[\d.]*", text) for text in shown)
        assert not re.search(r"(?:^|[\s(])-\d", "\n".join([page.locator("main").inner_text(), *shown]))
        page.close()

    def test_an_unknown_habit_is_no_page(self, browser: Browser, link: str) -> None:
        page = browser.new_page()
        page.goto(link)
        page.wait_for_url(re.compile(r":\d+/$"))
        answer = page.goto(f"{page.url}habits/nonsense")
        assert answer is not None and answer.status == 404
        assert page.get_by_role("heading", level=1).inner_text() == "There is no habit 'nonsense'."
        page.close()

    def test_the_sun_is_warned_of_where_backlight_is_advised_on(self, browser: Browser, link: str) -> None:
        page = browser.new_page()
        come_in(page, link, "habits/under_in_backlight")
        assert "never look at the sun through an optical finder" in page.locator("main").inner_text()
        page.close()


def test_what_a_limits_chart_leaves_to_its_table_is_said() -> None:
    counts = [
        {"label": "1/500", "dose": -3.0, "n_frames": 40, "n_faults": 1},
        {"label": "1/250", "dose": -2.0, "n_frames": 2, "n_faults": 0},
        {"label": "1/60", "dose": 0.0, "n_frames": 9, "n_faults": 3},
    ]
    assert undrawn_counts(counts, -1) == (
        "The chart begins after 1/250: 42 frames on the safe side, 1 of them lost, stand in the table alone."
    )
    assert undrawn_counts(counts[1:2], -1).endswith(
        "2 frames on the safe side, none of them lost, stand in the table alone."
    )
    assert undrawn_counts(counts, -3) == ""


def test_a_habit_that_no_setting_could_show_does_not_ask_for_what_nobody_stated(tmp_path: Path) -> None:
    """Of frames at f/4 nobody need state how deep the subject was."""
    small = small_journal(tmp_path / "a.journal", 6)
    with OpenJournal(small) as journal:
        lines = {line.key: line for line in habit_lines(ground(journal))}
    assert (lines["thin_focus"].verdict, lines["slow_for_subject"].verdict) == ("not seen", "cannot be seen")
    assert habit_sentence(lines["thin_focus"]) == (
        "Thinner focus than the subject: not seen, for no judged frame is at f/2.8 or wider."
    )
    assert habit_sentence(lines["late_session"]) == (
        "The last quarter of a session: not seen, for no judged session has four bursts or more."
    )
    changed(small, "update frames set f_number = 2 where id = (select min(id) from frames)")
    with OpenJournal(small) as journal:
        lines = {line.key: line for line in habit_lines(ground(journal))}
    assert lines["thin_focus"].verdict == "cannot be seen"


def test_frames_are_spread_over_the_bursts_of_their_sessions(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal", 6)) as journal:
        frames = journal.judged_frames()
        shown = frames[frames["frame_id"].isin(spread(journal, frames, 6))]
    assert sorted(shown["session"]) == [1, 2, 3, 4, 5, 6]
    last = frames.groupby("session")["burst"].transform("max")
    assert 0 < (shown["burst"] == last[shown.index]).sum() < 6
