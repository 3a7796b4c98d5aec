"""Keepers in a real browser: charts follow what is dragged over in one, and a click shows exactly its frames."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import pytest
from browsing import Seen, barriers, needs_chromium, served
from journals import small_journal
from playwright.sync_api import Browser, Locator, Page, expect

pytestmark = needs_chromium
TIMES, SPEEDS = "exposure-time", "iso"


@pytest.fixture(scope="module")
def link(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path = small_journal(tmp_path_factory.mktemp("served") / "a.journal", 12, is_simulated=True)
    with served(path) as address:
        yield address


@pytest.fixture
def page(browser: Browser, link: str) -> Iterator[Page]:
    context = browser.new_context()
    page = context.new_page()
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    yield page
    context.close()


def look(page: Page, address: str = "/keepers") -> None:
    page.goto(urlsplit(page.url)._replace(path="", query="").geturl() + address)
    page.wait_for_selector("html[data-charts=drawn]")


def panel(page: Page, name: str) -> Locator:
    return page.locator(f"[data-panel={name}]")


def counts(page: Page, name: str) -> list[str]:
    """What stands on the right of a chart's lines."""
    return panel(page, name).locator("svg .mark-text.role-mark text").all_text_contents()


def line(page: Page, name: str, number: int) -> tuple[float, float]:
    """The middle of a line of a chart on the screen."""
    bar = panel(page, name).locator("svg .mark-rect.role-mark:not([class*=brush]) path").nth(number)
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag_over(page: Page, name: str, first: int, last: int) -> None:
    x, top = line(page, name, first)
    bottom = line(page, name, last)[1]
    page.mouse.move(x, top - 6)
    page.mouse.down()
    page.mouse.move(x, (top + bottom) / 2 + 1)
    page.mouse.move(x, bottom + 6)
    page.mouse.up()


def test_a_panel_whose_table_is_opened_has_the_width_of_the_page(page: Page) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    look(page)
    all_of_them = page.locator("#panels").evaluate("box => box.clientWidth")
    halves = page.locator("#panels > section:not(.asked):has(details)")
    narrow = next(half for half in halves.all() if half.evaluate("box => box.clientWidth") < 0.6 * all_of_them)
    narrow = page.locator(f"[data-panel={narrow.get_attribute('data-panel')}]")
    narrow.locator("summary").click()
    assert narrow.evaluate("box => box.clientWidth") == all_of_them
    assert narrow.locator(".scroll").evaluate("box => box.scrollWidth <= box.clientWidth")


def test_what_is_dragged_over_in_one_chart_the_others_follow(page: Page) -> None:
    seen = Seen(page)
    look(page)
    assert counts(page, TIMES) == ["60 · 12", "60 · 12"]
    assert counts(page, SPEEDS) == ["120 · 24"]
    drag_over(page, TIMES, 1, 1)
    page.locator("#found", has_text=" 60 judged frames").wait_for()
    assert counts(page, SPEEDS) == ["60 · 12"]
    assert counts(page, TIMES) == ["60 · 12", "60 · 12"]
    assert re.match(r"At 1/15: 20 of 100 kept \(\d+–\d+\), 60 judged frames", page.locator("#found").inner_text())
    query = parse_qs(urlsplit(page.url).query)
    assert (query["exposure-time-from"], query["exposure-time-to"]) == (["1/15"], ["1/15"])
    assert page.locator("select[name=exposure-time-from]").input_value() == "1/15"
    figure = panel(page, SPEEDS).locator("figure.chart")
    assert "ISO 400: 20 of 100 kept" in (
        figure.locator("svg [aria-roledescription=point]").first.get_attribute("aria-label") or ""
    )
    page.go_back()
    page.wait_for_url(re.compile(r"/keepers$"))
    page.wait_for_selector("html[data-charts=drawn]")
    page.locator("#found", has_text=" 120 judged frames").wait_for()
    assert counts(page, SPEEDS) == ["120 · 24"]
    assert seen.complaints == []


def test_the_legend_names_what_the_lines_are_enough_for_also_when_they_change(page: Page) -> None:
    seen = Seen(page)
    look(page)
    named = panel(page, SPEEDS).locator("svg .role-legend-label text")
    expect(named).to_have_text(["enough evidence"])
    page.get_by_text("Only some frames").click()
    page.locator("input[name=from]").fill("2026-03-11")
    page.locator("#found", has_text=" 20 judged frames").wait_for()
    expect(named).to_have_text(["not enough yet"])
    page.locator("input[name=from]").fill("")
    page.locator("#found", has_text=" 120 judged frames").wait_for()
    expect(named).to_have_text(["enough evidence"])
    assert seen.complaints == []


def test_two_settings_crossed_are_a_grid_that_follows_too(page: Page) -> None:
    seen = Seen(page)
    look(page, "/keepers?by=iso&by2=exposure-time")
    grid = page.get_by_role("region", name="Grid: How many do you keep by ISO and exposure time?")
    assert grid.locator("tr").all_inner_texts()[0].split() == ["ISO", "1/500", "1/15"]
    assert [text.split()[0::2] for text in grid.locator("td").all_inner_texts()] == [["80", "60"], ["20", "60"]]
    drag_over(page, TIMES, 1, 1)
    page.locator("#found", has_text=" 60 judged frames").wait_for()
    assert grid.locator("tr").all_inner_texts()[0].split() == ["ISO", "1/15"]
    grid.get_by_role("link", name="ISO 400, 1/15: 20 of 100 kept").click()
    page.wait_for_url(re.compile(r"/frames\?"))
    assert page.locator("ul.burst li").count() == 60
    assert seen.complaints == []


def test_a_click_on_a_line_shows_as_many_frames_as_stand_on_it(page: Page) -> None:
    look(page)
    drag_over(page, TIMES, 0, 0)
    page.locator("#found", has_text=" 60 judged frames").wait_for()
    on_it = counts(page, SPEEDS)[0].split(" · ")[0]
    page.mouse.click(*line(page, SPEEDS, 0))
    page.wait_for_url(re.compile(r"/frames\?"))
    assert page.get_by_role("heading", level=1).inner_text() == f"At 1/500, ISO 400: {on_it} judged frames."
    assert page.locator("ul.burst li").count() == int(on_it) == 60
    assert page.locator("ul.burst .dot.keeper").count() == 48
    page.go_back()
    page.wait_for_selector("html[data-charts=drawn]")
    page.mouse.click(*line(page, TIMES, 1))  # outside the range, and its frames all the same
    page.wait_for_url(re.compile(r"/frames\?"))
    assert page.locator("ul.burst li").count() == 60
    page.get_by_role("link", name=re.compile(r"^Frame \d+")).first.click()
    page.wait_for_url(re.compile(r"/frames/\d+$"))


def test_the_same_range_can_be_chosen_with_keys_alone(page: Page) -> None:
    seen = Seen(page)
    look(page)
    page.get_by_text("Only some frames").focus()
    page.keyboard.press("Enter")
    page.locator("select[name=exposure-time-from]").focus()
    page.keyboard.type("1/15")
    page.locator("#found", has_text=" 60 judged frames").wait_for()
    assert page.locator("#found").inner_text().startswith("1/15 and slower: 20 of 100 kept")
    assert counts(page, SPEEDS) == ["60 · 12"]
    panel(page, SPEEDS).locator("summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/frames\?"))
    assert page.locator("ul.burst li").count() == 60
    assert seen.complaints == []


def test_without_a_script_the_form_and_the_links_do_the_same(browser: Browser, link: str) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(link)
    # the link leads on to the first page by itself, which would cut short what is asked before it is there
    page.locator("figure.chart").first.wait_for(state="attached")
    page.goto(urlsplit(link)._replace(path="/keepers", query="").geturl())
    page.locator("summary", has_text="Only some frames").click()
    page.select_option("select[name=exposure-time-to]", "1/500")
    page.select_option("select[name=by]", "camera-support")
    page.get_by_role("button", name="Show").first.click()
    assert page.get_by_role("heading", level=1).inner_text().startswith("1/500 and faster: 80 of 100 kept")
    panel(page, "camera-support").locator("summary").click()
    page.get_by_role("link", name="The 60 frames at hand-held").click()
    assert page.get_by_role("heading", level=1).inner_text() == "Hand-held, 1/500 and faster: 60 judged frames."
    page.get_by_role("link", name="12 rejects").click()
    assert page.locator("ul.burst li").count() == 12
    page.get_by_role("link", name="Keeper rates by exposure time").click()
    page.get_by_role("link", name="Take out: hand-held").click()
    assert "hand-held" not in page.url
    context.close()


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
def test_nothing_bars_anyone_from_the_page(browser: Browser, link: str, width: int, scheme: str) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    seen = Seen(page)
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    look(page, "/keepers?by=lens&camera-support=hand-held&exposure-time-from=1/500&iso=400&session=3&pace=-")
    assert barriers(page) == []
    for wide in (width, 820):
        page.set_viewport_size({"width": wide, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    look(page, "/keepers?by=camera-support&by2=month")
    assert page.locator("figure.chart[data-state=drawn]").count() == 5
    assert barriers(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.goto(urlsplit(page.url)._replace(path="/frames", query="iso=400&session=3").geturl())
    assert barriers(page) == []
    page.goto(urlsplit(page.url)._replace(query="iso=fast").geturl())
    assert page.get_by_role("heading", level=1).inner_text() == "iso: 'fast' is no ISO speed."
    assert seen.hosts - {""} == {urlsplit(link).netloc}
    assert [text for text in seen.complaints if "400 (Bad Request)" not in text] == []
    context.close()


def test_a_touch_scrolls_and_does_not_choose(browser: Browser, link: str) -> None:
    context = browser.new_context(has_touch=True, is_mobile=True, viewport={"width": 390, "height": 800})
    page = context.new_page()
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    look(page)
    figure = panel(page, TIMES).locator("figure.chart")
    assert "touch a line: its frames" in (figure.locator("svg").text_content() or "")
    page.touchscreen.tap(*line(page, TIMES, 0))
    page.wait_for_url(re.compile(r"/frames\?"))
    context.close()
