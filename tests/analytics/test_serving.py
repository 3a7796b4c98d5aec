"""Who gets into a served journal, what leaves it, and that nothing in it can be changed."""

from __future__ import annotations

import asyncio
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
from journals import HOSTILE, PREVIEW, empty_journal, small_journal
from visiting import plain

from analytics.charts.bundle import vega_bundle
from analytics.dashboards import DEFAULT_PORT, plugin
from analytics.dashboards.guard import PAGE_POLICY, Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application, listen, opener
from journal.cli import load_commands, run
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"


class Visitor:
    """A browser without a screen, already let in or not."""

    def __init__(self, application: Any, keys: Keys, is_in: bool = True) -> None:
        self.application = application
        self.cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie} if is_in else {}

    def get(self, path: str, method: str = "GET", **options: Any) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.application)
            async with httpx.AsyncClient(transport=transport, base_url=HOME, cookies=self.cookies) as client:
                return await client.request(method, path, **options)

        return asyncio.run(ask())


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "what? 50%.journal", 4)


@pytest.fixture
def keys() -> Keys:
    return Keys()


@pytest.fixture
def served(path: Path, keys: Keys, stack: ExitStack) -> Any:
    return stack.enter_context(application(path, Reach(DEFAULT_PORT), keys))


@pytest.fixture
def visitor(served: Any, keys: Keys) -> Visitor:
    return Visitor(served, keys)


@pytest.fixture
def stranger(served: Any, keys: Keys) -> Visitor:
    return Visitor(served, keys, is_in=False)


class Tags(HTMLParser):
    """The elements of a page with their attributes, as a browser reads them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


PATHS = [
    "/",
    "/sessions/1",
    "/limits",
    "/habits/slow_by_hand",
    "/progress",
    "/keepers",
    "/keepers.json",
    "/frames",
    "/previews/1.webp",
    "/journal",
    "/journal/frames.json",
    "/-/plugins.json",
    "/nothing",
]


@pytest.mark.parametrize("place", PATHS)
def test_without_the_key_nothing_is_shown(stranger: Visitor, place: str) -> None:
    answer = stranger.get(place)
    assert (answer.status_code, answer.text) == (
        403,
        "This journal is private. Open it with the whole link that thirdstop printed in its terminal.\n",
    )


@pytest.mark.parametrize("wrong", ["", "x", "ü", "0" * 43])
def test_a_wrong_key_or_cookie_opens_nothing(stranger: Visitor, keys: Keys, wrong: str) -> None:
    assert stranger.get("/", params={"key": wrong}).status_code == 403
    if wrong.isascii():
        assert stranger.get("/", headers={"cookie": f"thirdstop_{DEFAULT_PORT}={wrong}"}).status_code == 403
    assert stranger.get("/", headers={"cookie": f"thirdstop_{DEFAULT_PORT}={keys.link}"}).status_code == 403


def test_the_key_is_exchanged_for_a_strict_cookie(stranger: Visitor, keys: Keys) -> None:
    answer = stranger.get("/", params={"key": keys.link})
    assert answer.status_code == 200
    assert answer.headers["set-cookie"] == (
        f"thirdstop_{DEFAULT_PORT}={keys.cookie}; Path=/; HttpOnly; SameSite=Strict"
    )
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cache-control"] == "no-store"
    assert keys.link not in answer.text
    assert Keys() != Keys()


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", f"evil.example:{DEFAULT_PORT}", "127.0.0.1:1", ""])
def test_a_foreign_name_is_misdirected(visitor: Visitor, keys: Keys, host: str) -> None:
    assert visitor.get("/", headers={"host": host}).status_code == 421
    assert visitor.get("/", params={"key": keys.link}, headers={"host": host}).status_code == 421


def test_localhost_is_a_name_of_this_machine(visitor: Visitor) -> None:
    assert visitor.get("/", headers={"host": f"localhost:{DEFAULT_PORT}"}).status_code == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("place", ["/", "/journal/frames", "/-/messages"])
def test_only_reading_methods_are_answered(visitor: Visitor, method: str, place: str) -> None:
    assert visitor.get(place, method).status_code == 405


@pytest.mark.parametrize("place", ["/", "/sessions/1", "/sessions/99"])
def test_our_pages_allow_nothing_inline_and_nothing_foreign(visitor: Visitor, place: str) -> None:
    answer = visitor.get(place)
    assert answer.headers.get_list("content-security-policy") == [PAGE_POLICY]
    assert "unsafe" not in PAGE_POLICY
    tags = Tags(answer.text).found
    assert not [tag for tag, attributes in tags if tag == "style" or "style" in attributes]
    assert not [name for _, attributes in tags for name in attributes if name.startswith("on")]
    assert not [tag for tag in tags if tag[0] == "script" and "/assets/" not in (tag[1].get("src") or "/assets/")]
    assert {tag[1].get("type") for tag in tags if tag[0] == "script" and "src" not in tag[1]} <= {"application/json"}
    for header in ("x-content-type-options", "cross-origin-opener-policy", "cross-origin-resource-policy"):
        assert header in answer.headers


def test_hostile_text_is_shown_as_text(visitor: Visitor) -> None:
    for place in ("/", "/sessions/1", "/journal/sessions", "/journal/frames"):
        text = visitor.get(place).text
        assert "<img src=x" not in text
        assert "&lt;img src=x onerror=alert(1)&gt;{{7*7}}" in text


def test_the_first_page_says_what_was_found_and_links_every_session(visitor: Visitor) -> None:
    text = unescape(visitor.get("/").text)
    assert "<h1>44 frames in 4 sessions: of 40 judged you kept 20, 50 of 100.</h1>" in text
    assert re.findall(r'href="/sessions/(\d)"', text) == ["4", "3", "2", "1"]
    assert text.count('<figure class="chart"') == 4


def test_the_frames_behind_a_line_are_exactly_those_it_counts(visitor: Visitor) -> None:
    text = unescape(visitor.get("/").text)
    links = re.findall(r'<a href="(/frames\?[^"]+)" aria-label="The (\d+) frames', text)
    assert len(links) == 6  # two times, one ISO, one aperture, two distances from the rule
    for link, n_frames in links:
        found = visitor.get(link).text
        assert re.search(rf"\n[^\n]+: {n_frames} judged frames\.\n", plain(found))
        assert len(set(re.findall(r'href="/frames/(\d+)">Frame ', found))) == int(n_frames)
        assert 'class="dot unjudged"' not in found


def test_unknown_settings_are_a_line_with_its_own_frames(path: Path, keys: Keys, stack: ExitStack) -> None:
    connection = open_journal(path)
    connection.execute("update frames set tv6 = null where id in (1, 2)")
    refresh_all(connection)
    connection.close()
    visitor = Visitor(stack.enter_context(application(path, Reach(DEFAULT_PORT), keys)), keys)
    (link,) = re.findall(r'<a href="([^"]+)" aria-label="The 2 frames at unknown"', unescape(visitor.get("/").text))
    assert re.findall(r'href="/frames/(\d+)">Frame ', visitor.get(link).text) == ["1", "2"]


def test_the_first_page_follows_what_is_judged_meanwhile(visitor: Visitor, path: Path) -> None:
    assert "of 40 judged you kept 20" in visitor.get("/").text
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'keeper' where id = 5")
    refresh_all(connection)
    connection.close()
    assert "of 40 judged you kept 21" in visitor.get("/").text


def test_a_session_shows_its_bursts_with_settings_and_verdicts(visitor: Visitor) -> None:
    text = visitor.get("/sessions/2").text
    assert "11 frames in 2 bursts: of 10 judged you kept 5; the commonest fault is camera shake (5 frames)." in plain(
        text
    )
    assert text.count('<ul class="burst">') == 2
    assert text.count('<span class="dot keeper"') == 5
    assert text.count('<span class="dot unjudged"') == 1
    assert "1/500, f/4, ISO\u00a0400, 50\u00a0mm" in text
    assert "<dt>planned ISO</dt><dd>200–1600</dd>" in text


@pytest.mark.parametrize(
    ("place", "problem"),
    [
        ("/nothing/here", "There is no page at this address."),
        ("/sessions/99", "There is no session 99 in this journal."),
        ("/sessions/1?page=2", "Session 1 has no page 2."),
        ("/sessions/1?page=x", "Session 1 has no page 0."),
        ("/sessions/999999999999999999", "There is no session 999999999999999999 in this journal."),
    ],
)
def test_what_is_not_there_is_said_so(visitor: Visitor, place: str, problem: str) -> None:
    answer = visitor.get(place)
    assert answer.status_code == 404
    assert problem in answer.text


def test_a_preview_comes_as_it_is_stored_and_may_be_kept(visitor: Visitor) -> None:
    answer = visitor.get("/previews/1.webp")
    assert (answer.content, answer.headers["content-type"]) == (PREVIEW, "image/webp")
    assert answer.headers["cache-control"].startswith("private, max-age=")
    assert visitor.get("/previews/2.webp").status_code == 404
    assert visitor.get("/previews/999999999999999999.webp").status_code == 404


def test_tables_can_be_browsed_but_not_changed(visitor: Visitor, path: Path) -> None:
    assert "Tidewell" in visitor.get("/journal/bodies").text
    before = path.read_bytes()
    for sql in ("delete from frames", "insert into frame_faults values (1, 'noise')", "pragma user_version = 7"):
        assert visitor.get("/journal.json", params={"sql": sql}).status_code == 400
    assert visitor.get("/journal.db").status_code == 403
    assert path.read_bytes() == before


def test_the_optics_are_known_to_sql(visitor: Visitor) -> None:
    answer = visitor.get("/journal.json?sql=select+stops_below_rule(0.08,50)+as+stops,+crop_factor(0,0)&_shape=arrays")
    assert answer.json()["rows"] == [[pytest.approx(2), None]]


def test_a_failed_request_prints_no_variables(visitor: Visitor, capfd: pytest.CaptureFixture[str], keys: Keys) -> None:
    assert visitor.get("/journal/nothing").status_code == 404
    assert visitor.get("/journal.json", params={"sql": "select nothing from frames"}).status_code == 400
    captured = capfd.readouterr()
    assert keys.cookie not in captured.out + captured.err
    assert "locals" not in captured.out + captured.err


def test_an_empty_journal_has_a_first_page_too(tmp_path: Path, keys: Keys, stack: ExitStack) -> None:
    path = empty_journal(tmp_path / "a.journal")
    text = Visitor(stack.enter_context(application(path, Reach(DEFAULT_PORT), keys)), keys).get("/").text
    assert "There are no frames in this journal yet. Next: thirdstop import CARD" in plain(text)
    assert "or you write one down first: thirdstop log" in plain(text)
    assert "<figure" not in text


def test_two_journals_are_served_side_by_side(tmp_path: Path, visitor: Visitor, stack: ExitStack) -> None:
    keys = Keys()
    path = small_journal(tmp_path / "other.journal", 1, is_simulated=True)
    other = Visitor(stack.enter_context(application(path, Reach(DEFAULT_PORT), keys)), keys)
    assert "Simulated data." in other.get("/").text
    assert "Simulated data" not in visitor.get("/").text
    assert "Simulated data" in other.get("/journal/frames").text


def test_the_bundle_is_made_once_and_kept_whole(tmp_path: Path) -> None:
    first = vega_bundle(tmp_path)
    (kept,) = tmp_path.iterdir()
    assert kept.read_bytes() == first
    assert b"window.vegaEmbed=" in first.replace(b" ", b"")
    kept.write_bytes(b"kept")
    assert vega_bundle(tmp_path) == b"kept"


def test_a_cache_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    assert len(vega_bundle(blocked / "below")) > 500_000


def test_a_taken_port_is_replaced_by_a_free_one() -> None:
    with listen(0) as first, listen(first.getsockname()[1]) as second:
        assert first.getsockname()[0] == second.getsockname()[0] == "127.0.0.1"
        assert first.getsockname()[1] != second.getsockname()[1]


def test_the_file_that_opens_the_browser_is_private_and_goes_away() -> None:
    with opener('http://127.0.0.1:1/?key=a&b="<c>') as address:
        file = Path(unescape(urlsplit(address).path))
        assert file.stat().st_mode & 0o077 == 0
        assert "key=a&amp;b=&quot;&lt;c&gt;" in file.read_text(encoding="utf-8")
    assert not file.exists()


def test_serve_prints_a_link_that_works_and_ends_on_an_interrupt(path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [sys.executable, "-c", "from journal.cli import main; main()", "serve", "--no-browser"]
        process = subprocess.Popen(
            [*command, "--port", str(port), "--journal", str(path)], stdout=subprocess.PIPE, text=True
        )
        try:
            assert process.stdout is not None
            assert process.stdout.readline().startswith(f"Port {port} is taken, so port ")
            link = process.stdout.readline().split()[-1]
            with httpx.Client() as client:
                assert client.get(link).status_code == 200
                home = urlsplit(link)._replace(query="").geturl()
                assert "44 frames in 4 sessions" in client.get(home).text
            assert httpx.get(home).status_code == 403
        finally:
            process.send_signal(signal.SIGINT)
            rest = process.communicate(timeout=20)[0]
    assert process.returncode == 0
    assert rest.splitlines()[-1] == "The journal is closed."


def test_serve_without_a_journal_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    load_commands()
    missing = tmp_path / "none.journal"
    assert run(["serve", "--no-browser", "--journal", str(missing)]) == 1
    assert capsys.readouterr().err == (
        f"Error: There is no journal at {missing}.\n  Next: Make one with: thirdstop log, or see: thirdstop demo\n"
    )


def test_hostile_names_are_in_the_journal_under_test(path: Path) -> None:
    connection = open_journal(path)
    assert connection.execute("select count(*) from frames where file_name = ?", [HOSTILE]).fetchone()[0] == 1
    connection.close()


def test_a_table_does_without_its_count_where_counting_takes_long(
    tmp_path: Path, keys: Keys, stack: ExitStack, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = small_journal(tmp_path / "longer.journal", 28)
    visitor = Visitor(stack.enter_context(application(path, Reach(DEFAULT_PORT), keys)), keys)
    address = "/journal/frames.json?iso=400&_shape=objects&_size=5"
    assert visitor.get(address).json()["filtered_table_rows_count"] == 28 * 11
    monkeypatch.setattr(plugin, "COUNT_MS", 1e-6)
    answer = visitor.get(address).json()
    assert answer["filtered_table_rows_count"] is None
    assert len(answer["rows"]) == 5
    assert visitor.get("/journal/frames?iso=400").status_code == 200
