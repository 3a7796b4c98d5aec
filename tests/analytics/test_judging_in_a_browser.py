"""The judging page in a real browser: by keys and by touch, two at once, reloaded, with the server gone for a while."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from browsing import Server, barriers, needs_chromium, visits
from journals import changed, small_journal
from playwright.sync_api import Browser, Page, expect

from journal.records.measures import Examined, Suggestion
from journal.store.measurements import store_examined
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all
from journal.store.verdicts import history

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    path = small_journal(tmp_path_factory.mktemp("judged") / "test.journal", 1)
    connection = open_journal(path)
    connection.execute("insert into previews select id, (select webp from previews) from frames where id > 1")
    noisy = Suggestion("noise", 0.8, False, {"noise": 0.8}, ("grain <b>shows</b>",), "1")
    fine = Suggestion(None, 0.1, False, {"noise": 0.1}, (), "1")
    found = [Examined(number, 1, "picture", "k", {}, told) for number, told in ((1, noisy), (2, fine))]
    store_examined(connection, found, datetime(2026, 3, 20, tzinfo=UTC))
    connection.close()
    started = Server(path)
    yield started
    started.kill()


@pytest.fixture
def path(server: Server) -> Path:
    """Session 1 with eleven unjudged frames; noise is suggested of frame 1 and nothing of frame 2."""
    connection = open_journal(server.path)
    connection.execute("delete from verdicts")
    connection.execute("delete from judgings")
    connection.execute("delete from frame_faults")
    connection.execute("update frames set verdict = 'unjudged'")
    refresh_all(connection)
    connection.close()
    return server.path


@pytest.fixture
def opened(browser: Browser, server: Server, path: Path) -> Iterator[Callable[..., Page]]:
    """Opens the judging page in a browser of its own."""
    with visits(browser, lambda page: enter(page, server)) as come_in:
        yield come_in


def enter(page: Page, server: Server) -> None:
    page.goto(server.link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(f"http://127.0.0.1:{server.port}/judge/1")
    page.wait_for_selector("#judge[data-state=ready]")


def saved(page: Page) -> None:
    expect(page.locator("#saving")).to_have_text("Everything is saved.", timeout=15_000)


def verdicts(path: Path) -> dict[int, tuple[str, str | None]]:
    connection = open_journal(path)
    found = {}
    for number in range(1, 12):
        lines = [row for row in history(connection, number) if row["taken_back_at"] is None]
        if lines:
            found[number] = (lines[-1]["verdict"], lines[-1]["faults"])
    connection.close()
    return found


def chosen(page: Page) -> str:
    return page.locator("#chosen").inner_text().split(",")[0]


def test_ten_frames_are_judged_by_keys_and_one_is_taken_back(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    assert chosen(page) == "Frame 1"
    assert page.locator("#evidence").inner_text() == "grain <b>shows</b>"
    for key in ["Enter", "Enter", "k", "r", "c", "s", "Enter", "k", "k", "k", "k", "k", "r", "t", "Enter"]:
        page.keyboard.press(key)
    assert chosen(page) == "Frame 11"
    page.keyboard.press("Backspace")
    assert chosen(page) == "Frame 10"
    for key in ["r", "f", "f", "o", "Enter"]:
        page.keyboard.press(key)
    saved(page)
    assert page.locator("#count").inner_text() == "1 of 11 frames unjudged."
    assert verdicts(path) == {
        1: ("reject", "noise"),
        2: ("keeper", None),
        3: ("keeper", None),
        4: ("reject", "camera shake; subject motion"),
        **{number: ("keeper", None) for number in range(5, 10)},
        10: ("reject", "overexposed"),
    }
    assert complaints == []


def test_nothing_is_taken_where_nothing_is_suggested_and_a_reject_asks_for_its_faults(
    opened: Callable[..., Page], path: Path
) -> None:
    page = opened()
    page.keyboard.press("ArrowDown")
    assert chosen(page) == "Frame 6"
    page.keyboard.press("Enter")
    assert "There is no suggestion to take." in page.locator("#problem").inner_text()
    page.keyboard.press("r")
    page.keyboard.press("Enter")
    assert page.locator("#ask").inner_text().startswith("No fault is named yet.")
    page.keyboard.press("Escape")
    page.keyboard.press("n")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowRight")
    assert chosen(page) == "Frame 2"
    expect(page.locator("#judge")).to_have_attribute("data-waiting", "0")
    assert page.locator("#saving").inner_text() == ""  # nothing was done, so nothing was saved
    assert verdicts(path) == {}


def test_two_at_once_are_told_of_each_other(opened: Callable[..., Page], path: Path) -> None:
    one, other = opened(), opened()
    one.keyboard.press("k")
    saved(one)
    other.keyboard.press("Enter")
    expect(other.locator("#problem")).to_contain_text("Frame 1 was judged meanwhile: it is keeper now.")
    other.get_by_role("button", name="Show frame 1").click()
    assert other.locator("#verdict").inner_text().strip() == "keeper."
    other.keyboard.press("r")
    other.keyboard.press("n")
    other.keyboard.press("Enter")
    saved(other)
    assert verdicts(path) == {1: ("reject", "noise")}


def test_two_who_say_the_same_are_not_told_to_look_again(opened: Callable[..., Page], path: Path) -> None:
    one, other = opened(), opened()
    for page, faults in ((one, "sc"), (other, "cs")):
        page.keyboard.press("r")
        for letter in faults:
            page.keyboard.press(letter)
        page.keyboard.press("Enter")
        saved(page)
    assert verdicts(path) == {1: ("reject", "camera shake; subject motion")}
    assert other.locator("#problem").inner_text() == ""
    other.keyboard.press("Backspace")  # the verdict is not the other's to take back
    assert "Nothing was judged on this page" in other.locator("#problem").inner_text()
    assert verdicts(path) == {1: ("reject", "camera shake; subject motion")}


def test_a_page_that_is_loaded_again_goes_on_and_can_still_take_back(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    page.keyboard.press("k")
    page.keyboard.press("k")
    page.reload()
    page.wait_for_selector("#judge[data-state=ready]")
    saved(page)
    assert chosen(page) == "Frame 3"
    page.keyboard.press("Backspace")
    saved(page)
    assert verdicts(path) == {1: ("keeper", None)}


def test_a_server_that_dies_in_the_middle_loses_no_verdict(
    opened: Callable[..., Page], server: Server, path: Path
) -> None:
    page = opened()
    page.keyboard.press("k")
    saved(page)
    server.kill()
    for key in ["k", "r", "n", "Enter", "k", "Backspace"]:
        page.keyboard.press(key)
    expect(page.locator("#saving")).to_contain_text("wait in this browser")
    page.close(run_before_unload=False)
    server.start()
    again = page.context.new_page()
    enter(again, server)
    saved(again)
    assert verdicts(path) == {1: ("keeper", None), 2: ("keeper", None), 3: ("reject", "noise")}


def test_bursts_that_do_not_come_are_told_and_can_be_asked_for_again(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    busy = {"problem": "Another program is writing.", "next_step": "Wait until it is done."}
    page.route("**/bursts?*", lambda route: route.fulfill(status=503, json=busy))
    page.reload()
    page.wait_for_selector("#judge[data-state=ready]")
    assert page.locator("#problem").inner_text().startswith("Another program is writing. Wait until it is done.")
    page.unroute("**/bursts?*")
    page.get_by_role("button", name="Further bursts").click()
    expect(page.locator("#chosen")).to_contain_text("Frame ")


def test_an_open_page_goes_on_once_the_new_link_was_opened(
    opened: Callable[..., Page], server: Server, path: Path
) -> None:
    page = opened()
    server.kill()
    page.keyboard.press("k")
    server.start()
    expect(page.locator("#saving")).to_contain_text("open its new link", timeout=15_000)
    beside = page.context.new_page()
    beside.goto(server.link)
    saved(page)
    assert verdicts(path) == {1: ("keeper", None)}


def test_fingers_find_large_buttons(opened: Callable[..., Page], path: Path) -> None:
    page = opened(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
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
    assert verdicts(path) == {1: ("reject", "camera shake")}


def test_keys_can_be_switched_off_and_buttons_keep_their_own(opened: Callable[..., Page], path: Path) -> None:
    page = opened()
    page.locator("#keeper").focus()
    page.keyboard.press("Enter")
    saved(page)
    page.locator("#letters").click()
    page.keyboard.press("k")
    page.keyboard.press("Backspace")
    saved(page)
    assert verdicts(path) == {1: ("keeper", None)}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible(opened: Callable[..., Page], scheme: str) -> None:
    page = opened(color_scheme=scheme)
    page.keyboard.press("r")
    page.keyboard.press("n")
    found = barriers(page)
    home = page.url.removesuffix("/judge/1")
    for place in ("/judge", "/frames/1", "/frames/1/2"):
        page.goto(home + place)
        found += barriers(page)
    assert found == []


def test_single_frames_share_a_row_in_the_order_of_the_keys(opened: Callable[..., Page], path: Path) -> None:
    singles = range(8, 12)
    alone = [
        statement
        for number in singles
        for statement in (
            f"insert into bursts (id, session_id) values ({900 + number}, 1)",
            f"update frames set burst_id = {900 + number}, taken_at = '2026-03-02T0{number - 6}:00:00Z', "
            f"taken_at_local = null where id = {number}",
        )
    ]
    changed(path, *alone)
    page = opened()
    headings = page.locator("#bursts h3").all_inner_texts()
    assert [heading.split(",")[0] for heading in headings] == ["Burst 1", "Burst 2", "Single frames"]
    row = page.locator("#bursts section").last.locator("button.frame")
    assert row.evaluate_all("(all) => all.map((each) => Number(each.dataset.frame))") == list(singles)
    assert row.first.inner_text().endswith("2026-03-02 02:00:00")  # the session is of the day before
    row.first.click()
    assert page.locator("#chosen").inner_text() == "Frame 8, a single frame"
    for key, number in (("ArrowDown", 9), ("ArrowRight", 10), ("ArrowUp", 9), ("ArrowLeft", 8)):
        page.keyboard.press(key)
        assert chosen(page) == f"Frame {number}"
