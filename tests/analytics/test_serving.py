"""The served pages: who may enter, what they show, that nothing is written and nothing foreign is asked for."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from analytics.dashboards.serving import application, free_socket
from journal.demo.building import build_demo
from journal.errors import JournalError
from journal.records.sessions import Session
from journal.store.opening import open_journal
from journal.store.sessions import add_session

if TYPE_CHECKING:
    from collections.abc import Iterator

PORT = 8417
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("served")
    build_demo(folder / "served.journal", folder / "pictures")
    connection = open_journal(folder / "served.journal")
    add_session(connection, Session("2026-06-01T06:00:00Z", "2026-06-01T07:00:00Z", intent=HOSTILE, notes=HOSTILE))
    connection.close()
    return folder / "served.journal"


def ask(
    path: Path, address: str, entry: str | None = "entry", host: str = f"127.0.0.1:{PORT}", method: str = "GET"
) -> Any:
    """One request to the application, as a browser would make it."""

    async def request() -> httpx.Response:
        transport = httpx.ASGITransport(app=application(path, "entry", PORT))
        cookies = {} if entry is None else {"thirdstop_entry": entry}
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{host}", cookies=cookies) as client:
            return await client.request(method, address)

    return asyncio.run(request())


PLACES = (
    "/",
    "/sessions/1",
    "/previews/1",
    "/notebook/notebook.css",
    "/served",
    "/served/frames",
    "/served?sql=select+1",
)


@pytest.mark.parametrize("address", [*PLACES, "/-/plugins.json", "/-/versions.json", "/served.db"])
@pytest.mark.parametrize("entry", [None, "", "guess"])
def test_without_the_link_nothing_is_shown(demo: Path, address: str, entry: str | None) -> None:
    answer = ask(demo, address, entry)
    assert answer.status_code == 403
    assert answer.text == "Open the journal with the link that `thirdstop serve` printed."


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1:1", "127.0.0.1.evil.example"])
def test_another_host_name_is_refused_even_with_the_cookie(demo: Path, host: str) -> None:
    assert ask(demo, "/", host=host).status_code == 421


def test_the_link_gives_a_cookie_that_scripts_and_other_sites_cannot_use(demo: Path) -> None:
    answer = ask(demo, "/enter/entry", entry=None)
    assert (answer.status_code, answer.headers["location"]) == (302, "/")
    assert answer.headers["set-cookie"] == "thirdstop_entry=entry; HttpOnly; SameSite=Strict; Path=/"
    assert ask(demo, "/enter/guess", entry=None).status_code == 403


@pytest.mark.parametrize("address", PLACES)
def test_whoever_entered_reads_every_page(demo: Path, address: str) -> None:
    assert ask(demo, address).status_code == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_the_pages_are_for_reading(demo: Path, method: str) -> None:
    assert ask(demo, "/", method=method).status_code == 405


@pytest.mark.parametrize(
    "sql", ["delete from frames", "update+frames+set+iso=1", "attach+'x.db'+as+x", "pragma+query_only=off"]
)
def test_sql_in_the_browser_cannot_write(demo: Path, sql: str) -> None:
    before = demo.stat().st_mtime_ns
    assert ask(demo, f"/served.json?sql={sql}").status_code == 400
    assert demo.stat().st_mtime_ns == before


def test_the_file_itself_cannot_be_taken_away(demo: Path) -> None:
    assert ask(demo, "/served.db").status_code == 403


@pytest.mark.parametrize("address", ["/notebook/../serving.css", "/notebook/%2e%2e/plugin.css", "/notebook/secret.js"])
def test_no_other_file_of_the_disk_can_be_asked_for(demo: Path, address: str) -> None:
    answer = ask(demo, address)
    if answer.is_redirect:  # Datasette writes such an address in its own way first
        answer = ask(demo, answer.headers["location"])
    assert answer.status_code in (400, 404)


def test_strings_from_files_and_people_are_shown_and_never_run(demo: Path) -> None:
    for address in ("/", "/sessions/37", "/served/sessions"):
        text = ask(demo, address).text
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;alert(1)" in text


def test_our_pages_allow_nothing_inline_and_nothing_foreign(demo: Path) -> None:
    answer = ask(demo, "/")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert not re.findall(r"""(?:src|href|action)=["'](?:https?:)?//""", answer.text)
    assert not re.search(r"<script>|<style| style=| onclick=", answer.text)


def test_a_page_that_is_not_there_says_so_and_shows_no_innards(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    answer = ask(demo, "/sessions/999")
    assert answer.status_code == 404
    assert "There is no session 999 in this journal." in answer.text
    assert "thirdstop_entry" not in capsys.readouterr().err


def test_the_optics_are_known_to_sql(demo: Path) -> None:
    rows = ask(demo, "/served.json?sql=select+stops_below_rule(0.08,50)+as+stops&_shape=array").json()
    assert rows == [{"stops": pytest.approx(2)}]


def test_the_first_page_says_that_it_is_simulated(demo: Path) -> None:
    assert "Simulated data" in ask(demo, "/").text


def test_a_port_that_is_taken_is_left_for_another(demo: Path) -> None:
    first = free_socket(None)
    first.listen()
    second = free_socket(None)
    taken = first.getsockname()[1]
    assert second.getsockname()[1] != taken
    with pytest.raises(JournalError, match=f"Port {taken} is in use"):
        free_socket(taken)
    first.close()
    second.close()


@pytest.fixture
def link(demo: Path) -> Iterator[str]:
    command = [
        sys.executable,
        "-c",
        "from journal.cli import main; main()",
        "serve",
        "--no-browser",
        "--journal",
        str(demo),
    ]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"})
    assert running.stdout is not None
    yield re.findall(r"http\S+", running.stdout.readline())[0]
    running.terminate()
    running.wait()
    running.stdout.close()


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None and "CI" not in os.environ, reason="there is no Chromium here")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_browser_the_charts_are_drawn_and_only_this_machine_is_asked(link: str, scheme: Any) -> None:
    from playwright.sync_api import sync_playwright

    said: list[str] = []
    asked: list[str] = []
    with sync_playwright() as playwright:
        arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        context = browser.new_context(color_scheme=scheme, viewport={"width": 390, "height": 800})
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(link)
        page.wait_for_function("document.querySelectorAll('.chart svg').length === 4", timeout=60_000)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        page.locator("summary").first.click()
        page.get_by_role("link", name="2025-03").first.click()
        page.wait_for_selector(".burst img")
        assert page.evaluate("document.querySelector('.burst img').naturalWidth") > 0
        browser.close()
    assert said == []
    assert {re.sub(r"(https?://[^/]+|data:).*", r"\1", address) for address in asked} <= {
        link.split("/enter")[0],
        "data:",
    }
