"""Judging again in a real browser: by keys and by touch, broken off, with the server gone, and what came of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from anchored import answer_all, old_journal
from browsing import Seen, Server, barriers, needs_chromium, visits
from playwright.sync_api import Browser, Page, expect

from journal.store.anchors import begin_round
from journal.store.opening import open_journal

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    started = Server(old_journal(tmp_path_factory.mktemp("again") / "old.journal"))
    yield started
    started.kill()


@pytest.fixture
def path(server: Server) -> Path:
    """No round was begun yet."""
    connection = open_journal(server.path)
    connection.execute("delete from anchor_rounds")
    connection.execute("delete from settings")
    connection.close()
    return server.path


@pytest.fixture
def opened(browser: Browser, server: Server, path: Path) -> Iterator[Callable[..., Page]]:
    """Opens the list of sessions to judge in a browser of its own."""
    with visits(browser, lambda page: enter(page, server)) as come_in:
        yield come_in


def enter(page: Page, server: Server) -> None:
    page.goto(server.link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(f"{server.home}/judge")


def begin(page: Page) -> None:
    page.get_by_role("link", name="Judge again, or put it off").click()
    page.get_by_role("button", name="Begin").click()
    page.wait_for_selector("#judge[data-state=ready]")


def saved(page: Page) -> None:
    expect(page.locator("#saving")).to_have_text("Everything is saved.", timeout=15_000)


def said(path: Path) -> list[tuple[int, str, str | None]]:
    """Place, verdict and faults of what counts, in the order of showing."""
    connection = open_journal(path)
    rows = connection.execute(
        "select place, verdict, (select group_concat(fault, '; ') from anchor_verdict_faults "
        "where anchor_verdict_id = verdict_id) from anchors_judged where verdict is not null order by place"
    ).fetchall()
    connection.close()
    return [tuple(row) for row in rows]


def test_old_pictures_are_judged_by_the_same_keys_without_what_would_tell(
    opened: Callable[..., Page], path: Path
) -> None:
    page = opened()
    seen = Seen(page)
    begin(page)
    assert re.fullmatch(r"Picture 1 of \d+", page.locator("#chosen").inner_text())
    for missing in ("#take", "#suggested", "#evidence", "#next-burst", "a[href^='/frames/']"):
        assert page.locator(missing).count() == 0
    assert page.locator("#bursts").is_hidden()
    for key in ["Enter", "ArrowDown", "k", "r", "c", "s", "Enter", "k", "Backspace", "r", "n", "Enter", "k"]:
        page.keyboard.press(key)
    saved(page)
    assert said(path) == [
        (1, "keeper", None),
        (2, "reject", "camera shake; subject motion"),
        (3, "reject", "noise"),
        (4, "keeper", None),
    ]
    assert page.locator("#chosen").inner_text().startswith("Picture 5 of")
    assert seen.complaints == []
    assert page.locator("#whole img").evaluate("image => image.decode().then(() => image.naturalWidth)") == 24
    page.goto(page.url.replace("/again", "/1"))
    page.wait_for_selector("#judge[data-state=ready]")
    assert page.locator("#count").inner_text() == "1 of 11 frames is still unjudged."


def test_a_page_that_is_loaded_again_goes_on_and_can_still_take_back(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    begin(page)
    page.keyboard.press("k")
    page.keyboard.press("k")
    page.reload()
    page.wait_for_selector("#judge[data-state=ready]")
    saved(page)
    assert page.locator("#chosen").inner_text().startswith("Picture 3 of")
    page.keyboard.press("Backspace")
    expect(page.locator("#said")).to_have_text(re.compile("^Taken back"))
    saved(page)
    assert said(path) == [(1, "keeper", None)]


def test_a_server_that_dies_in_the_middle_loses_nothing(
    opened: Callable[..., Page], server: Server, path: Path
) -> None:
    page = opened()
    begin(page)
    page.keyboard.press("k")
    saved(page)
    server.kill()
    for key in ["r", "n", "Enter", "k", "k", "Backspace"]:
        page.keyboard.press(key)
    expect(page.locator("#saving")).to_contain_text("wait in this browser")
    page.close(run_before_unload=False)
    server.start()
    again = page.context.new_page()
    enter(again, server)
    again.get_by_role("link", name="Go on").click()
    again.wait_for_selector("#judge[data-state=ready]")
    saved(again)
    assert said(path) == [(1, "keeper", None), (2, "reject", "noise"), (3, "keeper", None)]


def test_two_at_once_are_kept_both_and_the_last_one_counts(opened: Callable[..., Page], path: Path) -> None:
    one = opened()
    begin(one)
    other = opened()
    other.get_by_role("link", name="Go on").click()
    other.wait_for_selector("#judge[data-state=ready]")
    one.keyboard.press("k")
    saved(one)
    for key in ["r", "n", "Enter"]:
        other.keyboard.press(key)
    saved(other)
    assert said(path) == [(1, "reject", "noise")]
    connection = open_journal(path)
    assert connection.execute("select count(*) from anchor_verdicts").fetchone()[0] == 2
    connection.close()
    assert other.locator("#problem").inner_text() == ""


def test_before_its_script_is_there_the_page_takes_no_click_that_nobody_would_hear(
    opened: Callable[..., Page], path: Path
) -> None:
    page = opened()
    page.route("**/again-*.js", lambda route: route.abort())
    page.get_by_role("link", name="Judge again, or put it off").click()
    for name in ("Begin", "Put it off to the next quarter"):
        assert page.get_by_role("button", name=name).is_disabled()
    page.unroute("**/again-*.js")
    page.reload()
    page.get_by_role("button", name="Begin").click()
    page.wait_for_selector("#judge[data-state=ready]")


def test_fingers_judge_again_with_large_buttons(opened: Callable[..., Page], path: Path) -> None:
    page = opened(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page.get_by_role("link", name="Judge again, or put it off").tap()
    page.get_by_role("button", name="Begin").tap()
    page.wait_for_selector("#judge[data-state=ready]")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.locator("#reject").tap()
    for button in page.locator("#desk button:visible").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44 and box["width"] >= 44
    page.get_by_role("button", name=re.compile("camera shake")).tap()
    page.locator("#done").tap()
    page.locator("#keeper").tap()
    saved(page)
    page.locator("#back").tap()
    saved(page)
    assert said(path) == [(1, "reject", "camera shake")]


def test_after_the_last_picture_the_result_is_one_click_away(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    begin(page)
    connection = open_journal(path)
    answer_all(connection, datetime.now(UTC), n_kept=20)
    last = connection.execute("select max(place) from anchors").fetchone()[0]
    connection.execute(
        "update anchor_verdicts set taken_back_at = 'x' "
        "where anchor_id in (select id from anchors where place in (?, ?))",
        [last - 1, last],
    )
    connection.close()
    page.reload()
    page.wait_for_selector("#judge[data-state=ready]")
    page.keyboard.press("r")
    page.keyboard.press("n")
    page.keyboard.press("Enter")
    page.keyboard.press("k")
    page.get_by_role("link", name="See what came of it").wait_for()
    page.keyboard.press("Backspace")
    expect(page.locator("#finished")).to_be_hidden()
    page.keyboard.press("k")
    seen = Seen(page)
    page.get_by_role("link", name="See what came of it").click()
    page.wait_for_selector("figure.chart[data-state=drawn]")
    assert page.get_by_role("heading", level=1).inner_text().startswith("Your judging became milder, unless ")
    assert page.get_by_role("row").count() == 2
    assert seen.complaints == []
    assert len(said(path)) == last


def test_it_can_be_put_off_and_is_then_not_spoken_of(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    page.get_by_role("link", name="Judge again, or put it off").click()
    page.get_by_role("button", name="Put it off to the next quarter").click()
    page.wait_for_url(re.compile(r"/judge$"))
    assert page.locator("a[href='/judge/again']").count() == 0
    assert said(path) == []


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (820, "light"), (1280, "light")])
def test_every_face_of_the_page_is_accessible_and_fits(
    opened: Callable[..., Page], path: Path, width: int, scheme: str
) -> None:
    page = opened(color_scheme=scheme, viewport={"width": width, "height": 900})
    found = barriers(page)
    page.get_by_role("link", name="Judge again, or put it off").click()
    page.get_by_role("button", name="Begin").wait_for()
    found += barriers(page)
    now = datetime.now(UTC)
    connection = open_journal(path)
    begin_round(connection, 1, now - timedelta(days=92))
    answer_all(connection, now - timedelta(days=92), n_kept=5)
    begin_round(connection, 2, now)
    page.reload()
    page.wait_for_selector("#judge[data-state=ready]")
    page.keyboard.press("r")
    found += barriers(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    answer_all(connection, now, n_rejected=5)
    connection.close()
    page.reload()
    page.wait_for_selector("figure.chart[data-state=drawn]")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert found + barriers(page) == []
