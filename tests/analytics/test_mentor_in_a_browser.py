"""A mentor in a real browser: reads, comments without any script, is beside the photographer's verdicts, is let out."""

from __future__ import annotations

import re
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from browsing import SERVE, Seen, barriers, needs_chromium
from journals import small_journal
from playwright.sync_api import Browser, Page
from visiting import withdraw_link

pytestmark = needs_chromium


class Links:
    """The photographer's link and the mentor's."""

    def __init__(self, path: Path, own: str, mentor: str) -> None:
        self.path, self.own, self.mentor = path, own, mentor


@contextmanager
def serving(path: Path) -> Iterator[Links]:
    process = subprocess.Popen(
        [*SERVE, "--mentor", "Ada Quill", "--journal", str(path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    lines: list[str] = []
    while not lines or "review withdraw" not in lines[-1]:
        lines.append(process.stdout.readline())
    own, mentor = (next(line.split()[-1] for line in lines if word in line) for word in ("?key=", "?mentor="))
    yield Links(path, own, mentor)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=20)


@pytest.fixture(scope="module")
def links(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Links]:
    with serving(small_journal(tmp_path_factory.mktemp("mentor") / "a.journal", 12, is_simulated=True)) as found:
        yield found


def come_in(page: Page, link: str) -> str:
    """Opens a link; returns the address of the first page."""
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    return page.url


@pytest.mark.parametrize("with_script", [True, False])
def test_a_comment_goes_to_the_photographer_and_back_with_and_without_script(
    browser: Browser, links: Links, with_script: bool
) -> None:
    words = f"<b>Nearer</b> to the water; script: {with_script}\nand lower."
    theirs = browser.new_context(java_script_enabled=with_script)
    page = theirs.new_page()
    seen = Seen(page)
    home = come_in(page, links.mentor)
    page.goto(f"{home}frames/7")
    page.get_by_label("I would have kept this").check()
    page.get_by_label("Comment on frame 7").fill(words)
    page.get_by_role("button", name="Leave it for the photographer").click()
    page.wait_for_url(re.compile("/frames/7#comments$"))
    page.reload()  # a page that was posted to is not posted to again
    said = page.locator("#comments .body", has_text=f"script: {with_script}")
    assert said.all_inner_texts() == [words]
    shown = page.locator("#comments").inner_text()
    assert "Ada Quill would have kept it; the photographer: reject: camera shake." in shown
    assert seen.complaints == []
    assert seen.hosts - {""} == {urlsplit(links.mentor).netloc}
    own = browser.new_context()
    page = own.new_page()
    come_in(page, links.own)
    page.goto(f"{home}frames/7")
    assert page.locator("#comments .body", has_text=f"script: {with_script}").all_inner_texts() == [words]
    assert "Ada Quill would have kept it; your own verdict: reject" in page.locator("#comments").inner_text()
    assert barriers(page) == []
    page.get_by_role("link", name="Comments").click()
    page.get_by_role("heading", level=1, name=re.compile("came back")).wait_for()
    assert page.locator(".said .body", has_text=f"script: {with_script}").count() == 1
    assert barriers(page) == []
    theirs.close()
    own.close()


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (820, "light"), (1280, "light")])
def test_a_mentors_pages_have_no_barriers_at_any_width(browser: Browser, links: Links, scheme: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    seen = Seen(page)
    home = come_in(page, links.mentor)
    for place in ("", "keepers", "frames?iso=400", "sessions/1", "frames/7", "habits/slow_by_hand", "comments"):
        page.goto(f"{home}{place}")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), place
        assert barriers(page) == [], place
    assert seen.complaints == []
    context.close()


def test_a_mentor_whose_link_is_withdrawn_is_out_with_the_next_click(browser: Browser, tmp_path: Path) -> None:
    with serving(small_journal(tmp_path / "b.journal", 2)) as links:
        context = browser.new_context()
        page = context.new_page()
        come_in(page, links.mentor)
        withdraw_link(links.path, 1)
        page.get_by_role("link", name="Limits").click()
        page.get_by_text("This link was withdrawn. Ask the photographer for a new one.").wait_for()
        page.goto(links.mentor)
        page.get_by_text("This link was withdrawn.").wait_for()
        context.close()
