"""The served pages in a real browser: nothing foreign is asked for, nothing is complained of, the charts are drawn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from browsing import Seen, barriers, needs_chromium, served
from contrasts import contrast
from journals import small_journal
from playwright.sync_api import Browser, Page

from analytics.dashboards.serving import opener

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def link(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path = small_journal(tmp_path_factory.mktemp("served") / "a.journal", 12, is_simulated=True)
    with served(path) as address:
        yield address


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    yield context.new_page()
    context.close()


def come_in(page: Page, link: str) -> None:
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.wait_for_selector("html[data-charts=drawn]")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_first_page_draws_every_chart_and_asks_only_this_machine(
    browser: Browser, link: str, scheme: str, width: int
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    seen = Seen(page)
    come_in(page, link)
    assert page.locator("figure.chart[data-state=drawn] svg").count() == 4
    assert page.locator("figure.chart svg .mark-symbol.role-mark path").count() == 6
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.get_by_role("note").inner_text() == "Simulated data."
    assert seen.complaints == []
    assert seen.hosts - {""} == {urlsplit(link).netloc}
    assert barriers(page) == []
    page.goto(page.url + "sessions/1")
    assert barriers(page) == []
    context.close()


def test_text_can_be_read_in_the_dark_and_in_the_light(browser: Browser, link: str) -> None:
    for scheme in ("light", "dark"):
        context = browser.new_context(color_scheme=scheme)  # type: ignore[arg-type]
        page = context.new_page()
        come_in(page, link)
        ink, paper = page.evaluate(
            "[getComputedStyle(document.querySelector('.drawing svg text')).fill,"
            " getComputedStyle(document.body).backgroundColor]"
        )
        assert contrast(*(list(map(int, re.findall(r"\d+", colour))) for colour in (ink, paper))) > 7
        context.close()


def test_every_chart_has_a_name_in_words_and_its_numbers_behind_a_key(page: Page, link: str) -> None:
    come_in(page, link)
    figure = page.locator("figure.chart").first
    assert (figure.get_attribute("aria-label") or "").startswith(
        "How many do you keep at each exposure time? You keep 80 ("
    )
    dots = figure.locator("svg [aria-roledescription='point']")
    assert (dots.first.get_attribute("aria-label") or "").startswith("1/500: 80 of 100 kept (")
    page.locator("details summary", has_text="The numbers: exposure time").focus()
    page.keyboard.press("Enter")
    table = page.get_by_role("region", name="Table: How many do you keep at each exposure time?")
    assert table.get_by_role("row").nth(1).inner_text().split()[:2] == ["1/500", "80"]


def test_pointing_at_a_dot_tells_its_numbers(page: Page, link: str) -> None:
    seen = Seen(page)
    come_in(page, link)
    page.locator("figure.chart").first.locator("svg [aria-roledescription='point']").first.hover()
    tip = page.locator("#vg-tooltip-element.visible")
    tip.wait_for()
    assert "60 judged frames in 12 bursts and 12 sessions" in tip.inner_text()
    assert seen.complaints == []


def test_a_session_shows_its_pictures_and_leaves_hostile_text_alone(page: Page, link: str) -> None:
    seen = Seen(page)
    come_in(page, link)
    page.locator("details summary", has_text="earlier sessions").click()
    page.get_by_role("link", name="1", exact=True).click()
    page.get_by_role("heading", level=1).wait_for()
    assert "<img src=x onerror=alert(1)>{{7*7}}" in page.get_by_role("heading", level=1).inner_text()
    picture = page.get_by_role("img", name="Preview of frame 1", exact=True)
    picture.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('ul.burst img').naturalWidth === 24")
    assert page.locator("ul.burst li").count() == 11
    assert seen.complaints == []


def test_a_number_in_the_table_leads_to_its_frames(page: Page, link: str) -> None:
    come_in(page, link)
    page.locator("details summary", has_text="The numbers: exposure time").click()
    page.get_by_role("link", name="The 60 frames at 1/15").click()
    page.wait_for_url(re.compile(r"/frames\?"))
    assert page.get_by_role("heading", name="At 1/15: 60 judged frames.").count() == 1


def test_the_private_file_opens_the_journal(page: Page, link: str) -> None:
    with opener(link) as private_file:
        assert Path(urlsplit(private_file).path).exists()
        come_in(page, private_file)
    page.reload()
    assert page.get_by_role("heading", level=1).inner_text().startswith("132 frames in 12 sessions")


def test_a_browser_without_the_cookie_stays_outside(page: Page, link: str) -> None:
    page.goto(urlsplit(link)._replace(query="").geturl())
    assert "This journal is private." in page.locator("body").inner_text()
