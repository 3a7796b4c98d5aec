"""Published files in a real browser, opened from the disk with the network off."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest
from browsing import Seen, barriers, needs_chromium
from journals import PREVIEW, changed, small_journal
from playwright.sync_api import Browser, Page, expect

from analytics.dataset import OpenJournal
from analytics.pages.privacy import Asked
from analytics.pages.session import session_page
from analytics.publish.material import choose
from analytics.publish.packing import write_file, write_folder
from analytics.publish.publication import Request, compose
from journal.cli import load_commands, run
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

pytestmark = needs_chromium
#: Strings that would do harm on a page, or in a script, that trusts them.
HOSTILE = '</script><script>alert(1)</script><img src=x onerror=alert(2)>=HYPERLINK("x")\'${7*7}{{7*7}}<!--\u2028'
EVERYTHING = Asked(True, True, True, True, True, True, True)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same publication as a folder and as one file; every text in it is hostile and everything is asked for."""
    folder = tmp_path_factory.mktemp("published")
    path = small_journal(folder / "a.journal", 12, is_simulated=True)
    connection = open_journal(path)
    connection.execute(
        "update sessions set intent = :text, light = :text, notes = :text, place = :text, sunlight = :text",
        {"text": HOSTILE},
    )
    connection.execute("update bodies set model = :text, serial_number = :text", {"text": HOSTILE})
    connection.execute("update lenses set model = :text", {"text": HOSTILE})
    connection.execute("update frames set file_name = :text", {"text": HOSTILE})
    connection.execute("insert into previews values (2, ?)", [PREVIEW])
    refresh_all(connection)
    connection.close()
    with OpenJournal(path) as journal:
        chosen = choose(journal, (), [1], {"since": None, "until": None})
        document = compose(journal, Request(chosen, EVERYTHING, 400, date(2026, 4, 1))).document
    write_folder(document, folder / "out")
    write_file(document, folder / "one.html")
    return {"folder": folder / "out" / "index.html", "one file": folder / "one.html", "journal": path}


def opened(browser: Browser, file: Path, width: int = 1280, scheme: str = "light") -> tuple[Page, Seen]:
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
        offline=True,
    )
    page = context.new_page()
    seen = Seen(page)
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready]")
    return page, seen


@pytest.mark.parametrize("form", ["folder", "one file"])
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_every_page_opens_from_the_disk_without_a_complaint(
    browser: Browser, files: dict[str, Path], form: str, width: int, scheme: str
) -> None:
    page, seen = opened(browser, files[form], width, scheme)
    names = page.locator("header nav a").all_inner_texts()
    assert names[:4] == ["Where you stand", "Chosen frames", "Sessions", "Keepers"]
    for name in names:
        page.get_by_role("link", name=name, exact=True).first.click()
        page.locator("header nav a[aria-current=page]").get_by_text(name, exact=True).wait_for()
        page.wait_for_selector("section.page:not([hidden])[data-drawn]")
        assert page.locator("section.page:not([hidden])").count() == 1
        assert page.get_by_role("heading", level=1).count() == 1
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.locator("figure.chart[data-state=drawn]").count() >= 8
    assert page.locator("figure.chart[data-state=failed]").count() == 0
    assert seen.complaints == []
    assert seen.schemes <= {"file", "data", "blob"}
    # Only now, for axe asks for the style sheet by itself, which the page's policy refuses and the console tells.
    for name in names:
        page.get_by_role("link", name=name, exact=True).first.click()
        page.wait_for_selector("section.page:not([hidden])[data-drawn]")
        assert barriers(page) == []
    page.context.close()


@pytest.mark.parametrize("form", ["folder", "one file"])
def test_a_session_shows_its_frames_and_leaves_hostile_text_alone(
    browser: Browser, files: dict[str, Path], form: str
) -> None:
    page, seen = opened(browser, files[form])
    page.get_by_role("link", name="Sessions", exact=True).click()
    page.locator("#sessions").get_by_role("link", name="1", exact=True).click()
    picture = page.locator("#session ul.burst img").first
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") == 24
    assert page.get_by_role("heading", level=1).inner_text().startswith("Session 1, 2026-03-01: </script><script>alert")
    assert page.locator("#session ul.burst li").count() == 11
    assert page.locator("#session img").count() == 2
    bare = page.locator("#session ul.burst li.bare")  # frames without a picture are captions alone
    assert bare.count() == 9 and page.get_by_text("no picture").count() == 0
    first = bare.evaluate_all("(all) => all.map((each) => each.firstChild.className)")
    assert all(name.startswith("dot ") for name in first)
    assert "<img src=x onerror=alert(2)>" in page.locator("#session ul.burst li").first.inner_text()
    assert page.locator("#session .dot.reject").count() == 5
    assert seen.complaints == []
    assert page.get_by_role("note").inner_text() == "Simulated data."
    page.context.close()


@pytest.mark.parametrize("form", ["folder", "one file"])
def test_a_session_draws_its_charts_whenever_it_is_opened(browser: Browser, files: dict[str, Path], form: str) -> None:
    page, seen = opened(browser, files[form], 390, "dark")
    for number in (2, 3, 2):
        page.goto(f"{files[form].as_uri()}#session-{number}")
        page.get_by_role("heading", name=re.compile(f"^Session {number},")).wait_for()
        page.wait_for_function("document.querySelectorAll('#session figure[data-state=drawn]').length === 2")
    assert page.locator("#session h2").all_inner_texts() == [
        "Planned, and used", "Faults", "The course of the session", "Frames",
    ]  # fmt: skip
    assert page.locator("#session figure [aria-label^='camera shake: 100 of 100 rejects']").count() == 1
    page.get_by_text("The numbers: faults").click()
    assert page.locator("#session details td").all_inner_texts()[:4] == ["camera shake", "5", "2", "100"]
    page.get_by_text("The numbers: the course of the session").click()
    course = page.locator("#session details", has_text="the course of the session").locator("tbody tr")
    with OpenJournal(files["journal"]) as journal:
        own = session_page(journal, 2).course
    assert own is not None and own.course is not None
    expected = [[row["at"], row["label"], row["verdict"], str(row["n_frames"])] for row in own.course.rows]
    assert [row.locator("td").all_inner_texts() for row in course.all()] == expected
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert seen.complaints == []
    assert barriers(page) == []
    page.context.close()


#: Tables of the page that is shown whose end lies beyond the edge, or whose rows are blocks without headings.
CUT = """() => [...document.querySelectorAll('section.page:not([hidden]) .scroll')].filter((region) => {
  if (region.scrollWidth > region.clientWidth) return true;
  const cell = region.querySelector('table.stacking tbody td');
  return cell && !getComputedStyle(cell, '::before').content.startsWith('"');
}).map((region) => region.getAttribute('aria-label'))"""
#: Cells of rows that stand as blocks whose text takes two lines and leaves half of the row to another cell.
PARTED = """() => [...document.querySelectorAll('section.page:not([hidden]) table.stacking td')].filter((cell) => {
  const [box, row] = [cell.getBoundingClientRect(), cell.parentElement.getBoundingClientRect()];
  return box.height > 32 && box.width < 0.9 * row.width;
}).map((cell) => `${cell.dataset.label}: ${cell.textContent}`)"""


def test_on_a_phone_no_long_table_is_cut(browser: Browser, files: dict[str, Path]) -> None:
    page, seen = opened(browser, files["one file"], 390)
    seen_tables = 0
    for place in ("standing", "sessions", "keepers", "limits", "habits", "progress", "session-2"):
        page.goto(f"{files['one file'].as_uri()}#{place}")
        page.wait_for_selector(f"#{place.partition('-')[0]}:not([hidden])[data-drawn]")
        page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        assert page.evaluate(CUT) == []
        assert page.evaluate(PARTED) == []
        seen_tables += page.locator("section.page:not([hidden]) table.stacking").count()
    assert seen_tables >= 8
    assert page.locator("#session table.stacking td[data-label='bursts']").count() == 1
    assert page.locator("#session").get_by_role("cell", name="camera shake").count() == 1
    assert seen.complaints == []
    page.context.close()


def test_on_a_tablet_the_end_of_the_list_of_sessions_is_in_sight(browser: Browser, tmp_path: Path) -> None:
    intent = "update sessions set intent = 'wading birds feeding along the tide line'"
    path = changed(small_journal(tmp_path / "a.journal", is_simulated=True), intent)
    load_commands()
    assert run(["publish", str(tmp_path / "a.html"), "--one-file", "--with-intents", "--journal", str(path)]) == 0
    page, _ = opened(browser, tmp_path / "a.html", 700)
    page.goto(f"{(tmp_path / 'a.html').as_uri()}#sessions")
    page.wait_for_selector("#sessions:not([hidden])[data-drawn]")
    assert page.locator("#sessions .scroll").evaluate("(each) => each.scrollWidth <= each.clientWidth")
    page.context.close()


def test_single_frames_stand_in_one_row_with_a_date_where_it_is_another_day(browser: Browser, tmp_path: Path) -> None:
    path = changed(
        small_journal(tmp_path / "a.journal", 2),
        "insert into bursts (id, session_id) values (70, 1), (71, 1), (72, 1)",
        "update frames set burst_id = 67 + id, taken_at_local = '2026-03-01T08:00:0' || id where id between 3 and 5",
        "update frames set taken_at_local = '2026-02-27T23:59:07' where id = 3",
    )
    load_commands()
    assert run(["publish", str(tmp_path / "one.html"), "--one-file", "--journal", str(path)]) == 0
    page, seen = opened(browser, tmp_path / "one.html")
    page.goto(f"{(tmp_path / 'one.html').as_uri()}#session-1")
    page.get_by_role("heading", name="3 single frames").wait_for()
    assert page.locator("#session .began").all_inner_texts() == [
        "Burst 1, 06:40:00, 2 frames", "Burst 2, 06:40:00, 6 frames", "3 single frames",
    ]  # fmt: skip
    cards = page.locator("#session .began:text('3 single frames') + ul li").all_inner_texts()
    assert [re.findall(r"(?:2026-02-27 )?\d\d:\d\d:\d\d", card) for card in cards] == [
        ["2026-02-27 23:59:07"], ["08:00:04"], ["08:00:05"],
    ]  # fmt: skip
    assert seen.complaints == []
    page.context.close()


def test_a_burst_of_a_later_session_is_called_by_its_place_in_it(browser: Browser, files: dict[str, Path]) -> None:
    page, _ = opened(browser, files["one file"])
    page.goto(f"{files['one file'].as_uri()}#session-3")
    page.locator("#session .began").first.wait_for()
    names = page.locator("#session .began").all_inner_texts()
    assert [name.split(",")[0] for name in names] == ["Burst 1", "Burst 2"]
    page.context.close()


def test_a_link_into_the_file_and_the_way_back_work(browser: Browser, files: dict[str, Path]) -> None:
    page, seen = opened(browser, files["one file"])
    page.goto(f"{files['one file'].as_uri()}#session-3")
    page.get_by_role("heading", name=re.compile("^Session 3,")).wait_for()
    page.get_by_role("link", name="Session after").click()
    page.get_by_role("heading", name=re.compile("^Session 4,")).wait_for()
    page.go_back()
    page.get_by_role("heading", name=re.compile("^Session 3,")).wait_for()
    page.goto(f"{files['one file'].as_uri()}#session-900")
    page.get_by_role("heading", name=re.compile("^Of 120 judged frames")).wait_for()
    assert seen.complaints == []
    page.context.close()


def test_a_script_that_came_in_from_outside_would_not_run(browser: Browser, files: dict[str, Path]) -> None:
    for file in (files["folder"], files["one file"]):
        page, seen = opened(browser, file)
        page.evaluate(
            "() => { const script = document.createElement('script'); script.textContent = 'window.ran = 1';"
            " document.body.append(script); }"
        )
        assert page.evaluate("window.ran") is None
        assert any("Content Security Policy" in complaint for complaint in seen.complaints)
        page.context.close()


def test_paper_gets_the_page_in_dark_ink_with_its_numbers(browser: Browser, files: dict[str, Path]) -> None:
    page, _ = opened(browser, files["one file"], scheme="dark")
    page.get_by_role("link", name="Keepers", exact=True).click()
    page.wait_for_selector("#keepers[data-drawn]")
    page.emulate_media(media="print", color_scheme="dark")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#keepers details:not([open])").count() == 0
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.get_by_role("note").is_visible()
    assert not page.locator("header nav").is_visible()
    page.context.close()


#: What a mentor may type: it is told to nobody but the file.
TYPED = "=1+1 </textarea><script>alert(3)</script>\n“Closer.”"


@pytest.fixture
def reviewed(tmp_path: Path) -> tuple[Path, Path]:
    """A journal and its review, with hostile questions, made by the command."""
    load_commands()
    path, file = small_journal(tmp_path / "a.journal", 4, is_simulated=True), tmp_path / "r.html"
    changed(
        path, *(f"insert into previews select {frame}, webp from previews where frame_id = 1" for frame in (12, 13))
    )
    asked = ["--question", HOSTILE, "--frame", "1", "--session", "2", "--with-intents"]
    assert run(["review", "--journal", str(path), "--output", str(file), *asked]) == 0
    return path, file


def say_it_all(page: Page) -> None:
    """A comment on each kind of place but habits, of which this journal has none, and two verdicts."""
    for label in ("question 1", "the whole"):
        box = page.locator("#review div.say", has=page.get_by_label(f"Comment on {label}"))
        box.get_by_role("textbox").fill(f"{label}: {TYPED}")
        box.get_by_role("button", name="Add comment").click()
    page.get_by_role("link", name="Sessions", exact=True).click()
    page.locator("#sessions").get_by_role("link", name="2", exact=True).click()
    page.locator("#session div.say > div > textarea").first.fill("Go earlier.")
    page.get_by_role("button", name="Add comment").first.click()
    first = page.locator("#session li[data-frame='12']")
    first.locator("summary").click()
    first.get_by_role("radio", name="I would have rejected this").check()
    first.get_by_role("checkbox", name="missed focus").check()
    first.get_by_role("textbox").fill("Focus on the eye.")
    first.get_by_role("button", name="Add comment").click()
    second = page.locator("#session li[data-frame='13']")
    second.locator("summary").click()
    second.get_by_role("radio", name="I would have kept this").check()
    assert "mentor: reject, missed focus; 1 comment" in first.locator("summary").inner_text()
    unseen = page.locator("#session li[data-frame='14']")
    unseen.locator("summary").click()
    expect(unseen).to_contain_text("No picture of this frame is in this file, so no verdict is asked for.")
    assert unseen.get_by_role("radio").count() == 0


def test_a_mentor_comments_offline_and_the_journal_takes_it_in(
    browser: Browser, reviewed: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, file = reviewed
    page, seen = opened(browser, file, 390)
    assert page.locator("#review p", has_text="<img src=x onerror=alert(2)>").count() == 1
    page.get_by_role("link", name="Chosen frames", exact=True).click()
    chosen = page.locator("#chosen li")
    assert "Frame 1, session 1" in chosen.inner_text()
    assert chosen.get_by_role("link").count() == 0  # session 1 is not in the file
    page.get_by_role("link", name="Review", exact=True).click()
    say_it_all(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.get_by_role("button", name="Save comments file").click()
    assert "Write your name first" in page.get_by_role("status").inner_text()
    page.get_by_label("The mentor’s name").fill("Ida <b>")
    page.get_by_label("The mentor’s name").blur()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save comments file").click()
    download.value.save_as(tmp_path / "comments.json")
    assert seen.complaints == []
    assert seen.schemes <= {"file", "data", "blob"}
    page.context.close()
    capsys.readouterr()
    assert run(["review", "read", str(tmp_path / "comments.json"), "--journal", str(path), "--yes"]) == 0
    assert "4 new comments, 2 new verdicts" in capsys.readouterr().out
    assert run(["review", "comments", "--journal", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [(line["about"], line["mentor"]) for line in told["comments"]] == [
        ("question 1", "Ida <b>"),
        ("the whole journal", "Ida <b>"),
        ("session 2", "Ida <b>"),
        ("frame 12", "Ida <b>"),
    ]
    assert told["comments"][0]["body"] == f"question 1: {TYPED}"
    beside = [(line["frame_id"], line["theirs"], line["own"]) for line in told["verdicts"]]
    assert beside == [(12, "reject: missed focus", "keeper"), (13, "keeper", "keeper")]


def test_a_mentor_goes_on_after_closing_the_page_and_from_a_saved_file(
    browser: Browser, reviewed: tuple[Path, Path], tmp_path: Path
) -> None:
    page, seen = opened(browser, reviewed[1])
    say_it_all(page)
    page.get_by_label("The mentor’s name").fill("Ida")
    page.get_by_label("The mentor’s name").blur()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save comments file").click()
    download.value.save_as(tmp_path / "comments.json")
    again = page.context.new_page()
    again.goto(reviewed[1].as_uri())
    again.get_by_text("4 comments, 2 verdicts.").wait_for()
    box = again.locator("#review div.say").first
    box.get_by_role("textbox").fill("One more, from the other page.")
    box.get_by_role("button", name="Add comment").click()
    page.get_by_text("5 comments, 2 verdicts.").wait_for()
    assert seen.complaints == []
    page.context.close()
    other, complaints = opened(browser, reviewed[1])
    assert "0 comments, 0 verdicts." in other.locator("section.saving").inner_text()
    other.get_by_text("Go on with a file saved earlier").click()
    other.get_by_label("Comments file", exact=True).set_input_files(tmp_path / "comments.json")
    other.get_by_text("4 comments, 2 verdicts.").wait_for()
    assert other.get_by_label("The mentor’s name").input_value() == "Ida"
    assert f"question 1: {TYPED}" in other.locator("#review ul.said").first.inner_text()
    (tmp_path / "wrong.json").write_text('{"format": "x"}', encoding="utf-8")
    other.get_by_label("Comments file", exact=True).set_input_files(tmp_path / "wrong.json")
    other.get_by_text("This is no comments file of this review.").wait_for()
    assert complaints.complaints == []
    other.context.close()


def test_a_comment_that_is_taken_back_is_not_saved(browser: Browser, reviewed: tuple[Path, Path]) -> None:
    page, seen = opened(browser, reviewed[1])
    box = page.locator("#review div.say").first
    box.get_by_role("textbox").fill("Never mind.")
    box.get_by_role("button", name="Add comment").click()
    page.get_by_text("1 comment, 0 verdicts.").wait_for()
    page.get_by_role("button", name="Take back: Never mind.").click()
    page.get_by_text("0 comments, 0 verdicts.").wait_for()
    assert seen.complaints == []
    page.context.close()
