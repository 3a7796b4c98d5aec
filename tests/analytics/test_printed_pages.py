"""Every served page on paper: no keys, nothing to press, dark ink on white, all numbers, nothing beyond the margin."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from anchored import answer_all, old_journal
from browsing import needs_chromium, served
from playwright.sync_api import Browser, Page

from journal.store.anchors import begin_round
from journal.store.opening import open_journal

pytestmark = needs_chromium

#: Pages of the simulated year, and of a journal whose old frames were judged again.
OF_THE_YEAR = (
    "/",
    "/standing",
    "/keepers",
    "/frames?session=1",
    "/judge",
    "/judge/1?all=1",
    "/limits",
    "/habits",
    "/habits/slow_by_hand",
    "/progress",
    "/advice",
    "/plan",
    "/series",
    "/comments",
    "/sessions/1",
    "/frames/90",
    "/frames/90/91",
)
#: A sheet of A4 between margins of 12 mm [CSS px].
PAPER = {"width": 703, "height": 1000}

#: What of a page would be pressed, is pale, or stands beyond the margin; and tables and charts that cannot be seen.
LOOK = """() => {
  const shown = (each) => each.checkVisibility({ contentVisibilityAuto: true, visibilityProperty: true });
  const all = (selector) => Array.from(document.querySelectorAll(selector));
  const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const luminance = (colour) => {
    const [r, g, b] = parts(colour).map((part) => part / 255).map((part) =>
      part <= 0.03928 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const pale = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const holder = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !shown(holder) || holder.closest("script, style, svg.map")) continue;
    const style = getComputedStyle(holder);
    const colour = holder.closest("svg") ? style.fill : style.color;
    if (1.05 / (luminance(colour) + 0.05) < 4.5) pale.add(`${walker.currentNode.textContent.trim()} ${colour}`);
  }
  const wide = all("main table, main svg, main img, main p, h1").filter((each) => shown(each)
    && !each.closest(".unseen") && each.getBoundingClientRect().right > innerWidth + 1);
  return {
    pressed: all("nav, form, .skip, button:not(.frame)").filter(shown).map((each) => each.outerHTML.slice(0, 80)),
    pale: Array.from(pale),
    wide: wide.map((each) => `${each.tagName} ${each.getBoundingClientRect().right} ${each.textContent.slice(0, 60)}`),
    hidden: all("main table, figure.chart svg.marks").filter((each) => !shown(each)).map((each) => each.textContent),
    n_charts: all("figure.chart svg.marks").filter(shown).length,
    n_figures: all("figure.chart").length,
    paper: getComputedStyle(document.body).backgroundColor,
  };
}"""


@pytest.fixture(scope="module")
def year(simulated_year: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The link of the simulated year; serving it may write, so it is a copy."""
    path = tmp_path_factory.mktemp("printed") / "year.journal"
    with closing(sqlite3.connect(simulated_year)) as source, closing(sqlite3.connect(path)) as copy:
        source.backup(copy)
    with served(path) as link:
        yield link


@pytest.fixture(scope="module")
def judged_again(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path = old_journal(tmp_path_factory.mktemp("printed") / "old.journal", 28)
    connection = open_journal(path)
    now = datetime.now(UTC)
    for days in (100, 1):
        begin_round(connection, days, now - timedelta(days=days))
        answer_all(connection, now - timedelta(days=days), n_kept=days % 9)
    connection.close()
    with served(path) as link:
        yield link


def printed(browser: Browser, link: str, place: str) -> Page:
    """A page that was read on a dark screen and is sent to paper."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme="dark")
    page = context.new_page()
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(page.url.rstrip("/") + place)
    if page.locator("#judge").count():
        page.wait_for_selector("#judge[data-state=ready]")
    if page.locator("figure.chart").count():
        page.wait_for_selector("html[data-charts=drawn]")
    page.emulate_media(media="print", color_scheme="dark")
    page.set_viewport_size(PAPER)  # type: ignore[arg-type]
    return page


def refuse_what_is_not_for_paper(page: Page) -> None:
    found = page.evaluate(LOOK)
    assert {name: found[name] for name in ("pressed", "pale", "wide", "hidden")} == {
        "pressed": [],
        "pale": [],
        "wide": [],
        "hidden": [],
    }
    assert found["n_charts"] == found["n_figures"]
    assert found["paper"] == "rgb(255, 255, 255)"
    assert page.get_by_role("heading", level=1).is_visible()
    page.context.close()


@pytest.mark.parametrize("place", OF_THE_YEAR)
def test_a_page_of_the_year_is_for_paper_too(browser: Browser, year: str, place: str) -> None:
    refuse_what_is_not_for_paper(printed(browser, year, place))


def test_what_was_judged_again_is_for_paper_too(browser: Browser, judged_again: str) -> None:
    refuse_what_is_not_for_paper(printed(browser, judged_again, "/judge/again"))
