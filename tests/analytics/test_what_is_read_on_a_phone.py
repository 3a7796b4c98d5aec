"""What a reader with a phone or a dark screen finds on the pages: nothing is cut, nothing too small to touch."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from browsing import barriers, needs_chromium, served
from playwright.sync_api import Browser, Page

pytestmark = needs_chromium

#: What of the charts is cut off at their edge, or written over something else.
CUT = """() => {
  const found = [];
  for (const chart of document.querySelectorAll("figure.chart svg.marks")) {
    const edge = chart.getBoundingClientRect();
    if (edge.width === 0) continue;
    const texts = Array.from(chart.querySelectorAll("text"))
      .filter((each) => each.textContent.trim() && each.getAttribute("opacity") !== "0")
      .map((each) => [each.textContent, each.getBoundingClientRect()]);
    for (const [words, box] of texts) {
      if (box.left < edge.left - 1 || box.right > edge.right + 1) found.push(`cut: ${words}`);
    }
    texts.forEach(([one, a], i) => texts.slice(i + 1).forEach(([other, b]) => {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 2 && high > 3) found.push(`one over another: ${one} / ${other}`);
    }));
  }
  return found;
}"""
#: Links of the list of pages and of tables that are smaller than 24 px. Source: WCAG 2.2, 2.5.8.
SMALL = """() => Array.from(document.querySelectorAll("header nav a, main nav a, td a, th a"))
  .filter((each) => each.checkVisibility())
  .map((each) => [each.textContent, each.getBoundingClientRect()])
  .filter(([, box]) => box.width < 24 || box.height < 24)
  .map(([words, box]) => `${words}: ${box.width} x ${box.height}`)"""
#: Settings and counts of a page that two lines share.
PARTED = r"""() => {
  const found = [], of = /ISO \d+|\d mm\b|\(\d[\d,]* [a-z]+|\d \([-+]?\d[\d.,]*(?:–| to )[-+]?\d[\d.,]*\)/g;
  const texts = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  for (let text = texts.nextNode(); text; text = texts.nextNode()) {
    if (text.parentNode.closest("svg, script, option")) continue;
    for (const each of text.data.matchAll(of)) {
      const range = document.createRange();
      range.setStart(text, each.index);
      range.setEnd(text, each.index + each[0].length);
      const tops = Array.from(range.getClientRects(), (box) => Math.round(box.top));
      if (new Set(tops).size > 1) found.push(each[0]);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def link(simulated_year: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The link of the simulated year; serving it may write, so it is a copy."""
    path = tmp_path_factory.mktemp("read") / "year.journal"
    with closing(sqlite3.connect(simulated_year)) as source, closing(sqlite3.connect(path)) as copy:
        source.backup(copy)
    with served(path) as address:
        yield address


def opened(browser: Browser, link: str, place: str, scheme: str = "light", width: int = 390) -> Page:
    viewport = {"width": width, "height": 844}
    page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()  # type: ignore[arg-type]
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(page.url.rstrip("/") + place)
    if page.locator("figure.chart").count():
        page.wait_for_selector("html[data-charts=drawn]")
    return page


@pytest.mark.parametrize(
    "place",
    [
        "/",
        "/keepers?by=iso&by2=exposure-time",
        "/keepers?by=body&by2=lens",
        "/limits",
        "/habits",
        "/habits/fiddling",
        "/progress",
        "/sessions/1",
    ],
)
def test_no_word_of_a_chart_is_cut_or_covered_on_a_phone(browser: Browser, link: str, place: str) -> None:
    page = opened(browser, link, place)
    assert page.locator("figure.chart svg.marks").count()
    assert page.evaluate(CUT) == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.context.close()


def test_a_table_that_runs_on_beyond_the_edge_has_a_shade_there_until_its_end_is_seen(
    browser: Browser, link: str
) -> None:
    page = opened(browser, link, "/keepers?by=iso&by2=exposure-time")
    table = page.locator(".scroll:has(.grid)")
    table.scroll_into_view_if_needed()
    assert table.evaluate("(each) => each.scrollWidth > each.clientWidth")

    def at_the_edge() -> bytes:
        box = table.bounding_box()
        assert box is not None
        edge = {"x": box["x"] + box["width"] - 4, "y": box["y"] + 2, "width": 4, "height": 4}
        return page.screenshot(clip=edge)  # type: ignore[arg-type]

    before = at_the_edge()
    table.evaluate("(each) => { each.scrollLeft = each.scrollWidth; }")
    assert at_the_edge() != before
    page.context.close()


@pytest.mark.parametrize("place", ["/", "/habits", "/limits", "/sessions/1", "/frames/1", "/progress"])
def test_every_cell_of_a_long_table_is_in_sight_under_its_heading(browser: Browser, link: str, place: str) -> None:
    page = opened(browser, link, place)
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    cells = page.locator("table.stacking tbody [data-label]")
    assert cells.count() > 4
    right = "(all) => Math.max(...all.map((each) => each.getBoundingClientRect().right))"
    assert cells.evaluate_all(right) <= 390
    table = page.locator("table.stacking").first
    told = table.locator("tbody tr").first.locator("[role=cell], [role=rowheader]")
    labels = told.evaluate_all("(all) => all.map((each) => each.dataset.label)")
    assert labels == table.locator("thead th").all_text_contents()
    page.context.close()


@pytest.mark.parametrize("place", ["/", "/keepers", "/keepers?by=body&by2=lens", "/limits", "/progress"])
def test_nothing_that_is_opened_makes_the_page_wider_than_a_phone(browser: Browser, link: str, place: str) -> None:
    page = opened(browser, link, place)
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert barriers(page) == []
    page.context.close()


def test_without_its_script_a_page_says_where_the_numbers_of_its_charts_are(browser: Browser, link: str) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    assert page.locator("figure.chart").first.inner_text().startswith("The chart needs the page’s script;")
    assert page.locator("figure.chart .drawing").first.evaluate("(each) => each.clientHeight") == 0
    context.close()


def test_the_page_that_is_shown_is_marked_in_the_list_of_pages(browser: Browser, link: str) -> None:
    page = opened(browser, link, "/limits")
    assert page.locator("header nav [aria-current=page]").all_inner_texts() == ["Limits"]
    page.goto(page.url.replace("/limits", "/habits/slow_by_hand"))
    assert page.locator("header nav [aria-current=true]").all_inner_texts() == ["Habits"]
    page.context.close()


def test_where_one_judges_on_a_phone_the_keys_are_in_sight_from_the_start(browser: Browser, link: str) -> None:
    page = opened(browser, link, "/judge/1?all=1")
    page.wait_for_selector("#judge[data-state=ready]")
    assert page.locator("#suggested").inner_text() == "Suggested: none, not examined yet (thirdstop examine)."
    assert not page.locator("#take").is_visible()  # nothing is there to take
    for key in ("keeper", "reject", "back", "chosen", "facts"):
        box = page.locator(f"#{key}").bounding_box()
        assert box is not None and box["y"] > 0 and box["y"] + box["height"] <= 844
    top = page.locator("#verdict-keys").bounding_box()
    facts = page.locator("#facts").bounding_box()
    assert top is not None and facts is not None and facts["y"] + facts["height"] <= top["y"]
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_tables_of_datasette_are_as_light_or_dark_as_our_pages(browser: Browser, link: str, scheme: str) -> None:
    page = opened(browser, link, "/journal/sessions", scheme)
    ours = opened(browser, link, "/standing", scheme)
    paper = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(paper) == ours.evaluate(paper)
    assert [each for each in barriers(page) if each.startswith("color-contrast")] == []
    page.context.close()
    ours.context.close()


@pytest.mark.parametrize("place", ["/", "/keepers", "/habits", "/progress", "/sessions/1"])
def test_no_interval_fades_into_dark_paper(browser: Browser, link: str, place: str) -> None:
    page = opened(browser, link, place, "dark")
    strengths = page.locator("figure.chart .mark-rule line").evaluate_all(
        "lines => lines.map((each) => Number(getComputedStyle(each).opacity))"
    )
    assert strengths and min(strengths) >= 0.8
    page.context.close()


def test_keepers_can_be_read_off_a_grid(browser: Browser, link: str) -> None:
    page = opened(browser, link, "/keepers")
    assert page.locator("figure.chart").first.locator(".role-axis-grid line").count() == 5
    page.context.close()


@pytest.mark.parametrize("place", ["/", "/judge/1?all=1"])
def test_the_list_of_pages_stands_on_one_line_of_a_desk(browser: Browser, link: str, place: str) -> None:
    page = opened(browser, link, place, width=1280)
    tops = "(all) => new Set(all.map((each) => Math.round(each.getBoundingClientRect().top))).size"
    assert page.locator("header nav a").evaluate_all(tops) == 1
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.context.close()


def test_no_field_of_a_plan_is_wider_than_the_text(browser: Browser, link: str) -> None:
    page = opened(browser, link, "/plan")
    right = "(all) => Math.max(...all.map((each) => each.getBoundingClientRect().right))"
    assert page.locator("form :is(select, input)").evaluate_all(right) <= 390 - 12
    page.context.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_what_is_said_of_the_frame_of_a_page_is_as_wide_as_its_text(browser: Browser, link: str, width: int) -> None:
    page = opened(browser, link, "/frames/1", width=width)
    wide = "(name) => document.querySelector(name).getBoundingClientRect().width"
    assert page.evaluate(wide, "ul.burst > li") == page.evaluate(wide, "main > h1")
    assert page.evaluate(wide, "ul.burst > li > :is(img, .blank)") <= 180
    page.context.close()


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("place", ["/standing", "/keepers", "/limits", "/habits", "/sessions/1", "/frames/1000"])
def test_no_line_ends_within_a_setting_or_a_count(browser: Browser, link: str, place: str, width: int) -> None:
    page = opened(browser, link, place, width=width)
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    assert page.evaluate(PARTED) == []
    page.context.close()
