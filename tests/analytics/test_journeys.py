"""Whole journeys: logged and imported by command, judged in the browser, understood, handed over, and answered."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsing import Seen, needs_chromium, served
from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational
from playwright.sync_api import Browser, Page, expect

from journal.cli import load_commands, run
from journal.demo.career import DemoFrame
from journal.demo.rendering import as_jpeg, draw_scene, render

#: A journey is long on a machine that does other things too.
pytestmark = [*needs_chromium, pytest.mark.timeout(300)]

FIRST_DAY = datetime(2026, 3, 1, 6, 40, tzinfo=UTC)
N_SESSIONS = 5
#: Bursts of six frames in each session: two that are sharp, and a slow one that is shaken at 100 mm by hand.
BURSTS = (((1, 500), 5.6, 1600, ()), ((1, 125), 5.6, 400, ()), ((1, 15), 8.0, 100, ("camera shake",)))
FRAMES_OF_BURST = 6


def thirdstop(journal: Path, *arguments: object) -> str:
    """Runs a command on the journal, as typed but without starting Python anew; its output."""
    load_commands()
    said = io.StringIO()
    with redirect_stdout(said), pytest.MonkeyPatch.context() as patched:
        patched.setenv("THIRDSTOP_JOURNAL", str(journal))
        assert run([str(argument) for argument in arguments]) == 0
    return said.getvalue()


def as_json(journal: Path, *arguments: object) -> Any:
    return json.loads(thirdstop(journal, *arguments, "--json"))


def shoot(card: Path) -> None:
    """Pictures of five mornings with true Exif; the faults are in their pixels."""
    card.mkdir()
    rng = np.random.default_rng(7)
    for day in range(N_SESSIONS):
        for burst, (time, f_number, iso, faults) in enumerate(BURSTS):
            scene = draw_scene(rng)
            for number in range(FRAMES_OF_BURST):
                at = FIRST_DAY + timedelta(days=day, minutes=10 * burst + 5, seconds=0.5 * number)
                frame = DemoFrame(at, 0, 0, time, f_number, iso, 100, 20.0, 0.0, faults, not faults)
                jpeg = as_jpeg(render(scene, frame, rng), _exif(frame), b"")
                (card / f"D{day}B{burst}F{number}.jpg").write_bytes(jpeg)


def _exif(frame: DemoFrame) -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Tidewell", "S2"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.ExposureTime] = IFDRational(*frame.exposure_time)
    details[ExifTags.Base.FNumber] = IFDRational(round(frame.f_number * 10), 10)
    details[ExifTags.Base.ISOSpeedRatings] = frame.iso
    details[ExifTags.Base.Flash], details[ExifTags.Base.LensModel] = 16, "Tidewell 100 mm"
    details[ExifTags.Base.FocalLength] = IFDRational(frame.focal_length_mm, 1)
    details[ExifTags.Base.FocalLengthIn35mmFilm] = frame.focal_length_mm
    details[ExifTags.Base.DateTimeOriginal] = frame.taken_at.strftime("%Y:%m:%d %H:%M:%S")
    details[ExifTags.Base.SubsecTimeOriginal] = f"{frame.taken_at.microsecond // 1000:03}"
    details[ExifTags.Base.OffsetTimeOriginal] = "+00:00"
    return exif


@dataclass(frozen=True)
class Morning:
    """A journal that was logged, imported and judged, and where it is served."""

    path: Path
    link: str

    @property
    def home(self) -> str:
        return self.link.partition("/?")[0]


def enter(browser: Browser, link: str, **options: Any) -> tuple[Page, Seen]:
    page = browser.new_context(**options).new_page()
    seen = Seen(page)
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    return page, seen


def judge_by_keys(page: Page) -> None:
    """Every session that the list names, from the list: what is shaken is rejected, the rest kept."""
    while page.get_by_role("link", name=re.compile("^Judge session")).count():
        page.get_by_role("link", name=re.compile("^Judge session")).last.click()
        page.wait_for_selector("#judge[data-state=ready]")
        for number in range(len(BURSTS) * FRAMES_OF_BURST):
            assert page.locator("#chosen").inner_text().endswith(f"{number % FRAMES_OF_BURST + 1} of 6 in the burst")
            is_shaken = "1/15" in page.locator("#facts").inner_text()
            for key in ("r", "c", "Enter") if is_shaken else ("k",):
                page.keyboard.press(key)
        expect(page.locator("#saving")).to_have_text("Everything is saved.", timeout=15_000)
        assert page.locator("#count").inner_text() == "All 18 frames are judged."
        page.get_by_role("link", name="Judge", exact=True).click()
        page.wait_for_url(re.compile("/judge$"))


@pytest.fixture(scope="module")
def morning(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Morning]:
    """Five outings logged and imported by command, and judged on the page by keys."""
    folder = tmp_path_factory.mktemp("journey")
    path, card = folder / "mine.journal", folder / "card"
    shoot(card)
    for day in range(N_SESSIONS):
        begin = FIRST_DAY + timedelta(days=day)
        thirdstop(
            path, "log", "--start", begin.strftime("%Y-%m-%d %H:%M"), "--end", "08:00", "--zone", "UTC",
            "--intent", "rowers at dawn", "--pace", "still", "--support", "hand-held", "--yes",
        )  # fmt: skip
    thirdstop(path, "gear", "body", "S2", "--make", "Tidewell", "--not-stabilised")
    thirdstop(path, "gear", "lens", "Tidewell 100 mm", "--not-stabilised")
    summary = as_json(path, "import", card, "--zone", "UTC")
    n_frames = len(BURSTS) * FRAMES_OF_BURST * N_SESSIONS
    assert (summary["n_frames"], summary["n_bursts"], summary["problems"]) == (n_frames, len(BURSTS) * N_SESSIONS, [])
    assert summary["session_ids"] == list(range(1, N_SESSIONS + 1))
    with served(path) as link:
        page, seen = enter(browser, link)
        page.get_by_role("link", name="Judge", exact=True).click()
        page.wait_for_url(re.compile("/judge$"))
        assert page.get_by_role("heading", level=1).inner_text() == "90 frames of 5 sessions are still unjudged."
        judge_by_keys(page)
        assert page.get_by_role("heading", level=1).inner_text() == "Every frame that belongs to a session is judged."
        assert seen.complaints == []
        page.context.close()
        yield Morning(path, link)


def test_what_was_judged_in_the_browser_shows_the_habit_and_leads_to_a_frame(
    browser: Browser, morning: Morning
) -> None:
    page, seen = enter(browser, morning.link)
    page.get_by_role("link", name="Habits", exact=True).click()
    page.wait_for_selector("html[data-charts=drawn]")
    told = page.get_by_role("heading", level=1).inner_text()
    assert "too slow for your hands" in told
    page.get_by_role("table").get_by_role("link", name="too slow for your hands").click()
    page.get_by_role("heading", name="Rejects for").wait_for()
    assert page.get_by_text(re.compile(r"^\d+ of 30 are shown, each from another burst\.$")).is_visible()
    card = page.locator("ul.burst li").first
    assert "reject: camera\u00a0shake" in card.inner_text()
    assert "1/15, f/8, ISO\u00a0100" in card.inner_text()
    assert card.locator("img").evaluate("image => image.decode().then(() => image.naturalWidth)") == 320
    card.get_by_role("link", name=re.compile(r"^Frame \d+")).click()
    page.wait_for_url(re.compile(r"/frames/\d+$"))
    assert "rejected for camera shake" in page.get_by_role("heading", level=1).inner_text()
    whole = page.locator(".look img.whole").first
    assert whole.evaluate("image => image.decode().then(() => image.naturalWidth)") == 360
    page.get_by_role("heading", name="What would have fixed it").wait_for()
    assert seen.complaints == []
    page.context.close()
    assert as_json(morning.path, "frames", "--unjudged") == []
    assert as_json(morning.path, "habits")["sentence"] == told


@pytest.mark.parametrize("form", ["folder", "one file"])
def test_what_the_page_says_is_published_by_command_and_read_with_the_network_off(
    browser: Browser, morning: Morning, tmp_path: Path, form: str
) -> None:
    target = tmp_path / "out" if form == "folder" else tmp_path / "out.html"
    thirdstop(morning.path, "publish", target, *(["--one-file"] if form == "one file" else []))
    page = browser.new_context(offline=True).new_page()
    seen = Seen(page)
    page.goto((target / "index.html" if form == "folder" else target).as_uri())
    page.wait_for_selector("html[data-ready]")
    page.get_by_role("link", name="Habits", exact=True).first.click()
    page.wait_for_selector("#habits[data-drawn]")
    told = as_json(morning.path, "habits")["sentence"]
    assert page.locator("#habits").get_by_role("heading", level=1).inner_text() == told
    page.get_by_role("link", name="Sessions", exact=True).first.click()
    page.locator("#sessions").get_by_role("link", name="1", exact=True).click()
    expect(page.locator("#session ul.burst li")).to_have_count(18)
    assert "rowers at dawn" not in page.content()
    assert seen.complaints == []
    assert seen.schemes <= {"file", "data", "blob"}
    page.context.close()


def test_a_mentors_comment_on_a_file_comes_back_beside_the_frame(
    browser: Browser, morning: Morning, tmp_path: Path
) -> None:
    frame = as_json(morning.path, "frames")[-1]["id"]
    thirdstop(morning.path, "review", "--output", tmp_path / "review.html", "--frame", frame, "--question", "Too slow?")
    page = browser.new_context(offline=True).new_page()
    page.goto((tmp_path / "review.html").as_uri())
    page.wait_for_selector("html[data-ready]")
    page.get_by_role("link", name="Chosen frames", exact=True).first.click()
    shown = page.locator(f"section:not([hidden]) li[data-frame='{frame}']").first
    shown.locator("summary").click()
    shown.get_by_role("radio", name="I would have kept this").check()
    shown.get_by_role("textbox").fill("The blur <b>suits</b> it.")
    shown.get_by_role("button", name="Add comment").click()
    page.get_by_label("The mentor’s name").fill("Ida")
    page.get_by_label("The mentor’s name").blur()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save comments file").click()
    download.value.save_as(tmp_path / "comments.json")
    page.context.close()
    thirdstop(morning.path, "review", "read", tmp_path / "comments.json", "--yes")
    page, seen = enter(browser, morning.link)
    for place in (f"/frames/{frame}", "/comments"):
        page.goto(morning.home + place)
        said = page.locator("main").inner_text()
        assert "The blur <b>suits</b> it." in said
        assert "Ida" in said
    assert page.get_by_role("row", name=re.compile(f"^{frame} Ida keeper reject: camera shake another")).count() == 1
    assert seen.complaints == []
    page.context.close()
    verdict = next(row for row in as_json(morning.path, "frames") if row["id"] == frame)["verdict"]
    assert verdict == "reject"  # what a mentor would have done is never the photographer's verdict
