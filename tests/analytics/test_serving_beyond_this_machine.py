"""Beyond this machine: nobody without signing in, few attempts, and the link of a run stays on this machine."""

from __future__ import annotations

import io
import os
import socket
import subprocess
import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING

import httpx
import pytest
from browsing import barriers, needs_chromium
from journals import small_journal
from visiting import SECRET, Browser, new_link

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Beyond, Reach, bound_address, host_of_address, name_of_url
from analytics.dashboards.serving import application, listen_beyond
from analytics.dashboards.sign_in import (
    MOST_WRONG,
    PASSPHRASE_FILE,
    STAY_S,
    WINDOW_S,
    SignIn,
    hashed,
    is_right,
    keep_passphrase,
    kept_passphrase,
)
from journal.cli import load_commands, run
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser as Chromium

WORDS = "seven rowers under one bridge"
KEPT = hashed(WORDS)
ADDRESS = "127.0.0.2"
NAME, SECURE = "192.0.2.7:8356", "journal.example"


class Clock:
    """A time that passes when it is told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class Place:
    """A journal served beyond this machine under one name."""

    def __init__(self, path: Path, host: str, origin: str, stack: ExitStack) -> None:
        self.path, self.keys, self.clock, self.origin = path, Keys(), Clock(), origin
        beyond = Beyond(host, origin, SignIn(KEPT, self.clock))
        self.application = stack.enter_context(application(path, Reach(DEFAULT_PORT, beyond), self.keys, SECRET))

    def far(self) -> Browser:
        return Browser(self.application, self.origin)

    def here(self) -> Browser:
        return Browser(self.application)

    def sign_in(self, visitor: Browser, words: str = WORDS, **headers: str | None) -> int:
        return visitor.post({"passphrase": words}, "/sign-in", **headers).status_code


@pytest.fixture(params=[(NAME, f"http://{NAME}"), (SECURE, f"https://{SECURE}")], ids=["address", "proxy"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    with ExitStack() as stack:
        yield Place(small_journal(tmp_path / "a.journal", 2), *request.param, stack)


def test_whoever_comes_from_beyond_is_asked_to_sign_in(place: Place) -> None:
    visitor = place.far()
    for page in ("/", "/journal", "/journal/frames.json", "/judge/token", "/previews/1.webp", "/-/plugins.json"):
        answer = visitor.get(page)
        assert answer.status_code == 403
        assert "This journal is private." in answer.text
        assert ("This connection is not encrypted" in answer.text) == (place.origin[:5] == "http:")
    assert visitor.get("/sign-in").status_code == 200
    assert place.sign_in(visitor, "seven rowers under two bridges") == 403
    assert place.sign_in(visitor) == 303
    assert visitor.get("/").status_code == 200
    assert visitor.get("/journal").status_code == 200
    text = visitor.get("/standing").text
    assert "Served beyond the machine that holds the journal." in text
    assert "this machine only" not in text


def test_a_page_that_was_kept_says_to_each_visitor_where_it_is_served(place: Place) -> None:
    here, far = place.here(), place.far()
    here.get("/", params={"key": place.keys.link})
    assert place.sign_in(far) == 303
    for page in ("/sessions/1", "/frames/1", "/frames/1/2", "/keepers", "/frames?verdict=reject", "/plan?ev100=8"):
        for _ in range(2):
            assert "Served on this machine only" in here.get(page).text
            assert "Sign out" in far.get(page).text


def test_the_cookie_of_signing_in_is_strict_and_secure_where_the_way_is(place: Place) -> None:
    answer = place.far().post({"passphrase": WORDS}, "/sign-in")
    (cookie,) = answer.headers.get_list("set-cookie")
    assert cookie.startswith(f"thirdstop_signed_in_{DEFAULT_PORT}=")
    secure = "; Secure" if place.origin.startswith("https") else ""
    assert cookie.endswith(f"; Path=/; HttpOnly; SameSite=Strict{secure}")
    assert place.keys.cookie not in cookie
    assert answer.headers["location"] == "/"


def test_the_link_of_a_run_counts_only_on_this_machine(place: Place) -> None:
    visitor = place.far()
    assert visitor.get("/", params={"key": place.keys.link}).status_code == 403
    visitor.cookies = {f"thirdstop_{DEFAULT_PORT}": place.keys.cookie}
    assert visitor.get("/").status_code == 403
    here = place.here()
    for header in ("x-forwarded-for", "x-real-ip", "forwarded", "via"):
        assert here.get("/", params={"key": place.keys.link}, headers={header: "192.0.2.1"}).status_code == 403
    assert here.get("/", params={"key": place.keys.link}).status_code == 200
    assert here.get("/journal").status_code == 200
    assert here.get("/journal", headers={"x-forwarded-for": "192.0.2.1"}).status_code == 403
    assert "this machine only" in here.get("/").text


def test_a_mentors_link_works_beyond_too_and_allows_no_more_there(place: Place) -> None:
    visitor = place.far()
    assert visitor.get("/", params={"mentor": new_link(place.path)[1]}).status_code == 200
    assert visitor.get("/standing").status_code == 200
    assert visitor.get("/journal").status_code == 403
    assert visitor.post({**visitor.form("/sessions/1"), "body": "from afar"}).status_code == 303
    assert visitor.post({**visitor.form("/sessions/1"), "body": "x"}, origin="http://evil.example").status_code == 403


@pytest.mark.parametrize("host", ["evil.example", "192.0.2.7", "192.0.2.7:1", "journal.example:1", ""])
def test_other_names_are_misdirected(place: Place, host: str) -> None:
    assert place.far().get("/sign-in", headers={"host": host}).status_code == 421


def test_wrong_passphrases_are_soon_not_looked_at_and_right_ones_neither(place: Place) -> None:
    visitor = place.far()
    assert [place.sign_in(visitor, f"wrong words {n}") for n in range(MOST_WRONG + 2)] == [403] * MOST_WRONG + [429] * 2
    assert place.sign_in(place.far()) == 429
    answer = place.far().post({"passphrase": WORDS}, "/sign-in")
    assert "Too many wrong passphrases: none is looked at for 15 min. Try again then." in answer.text
    assert place.here().get("/", params={"key": place.keys.link}).status_code == 200  # this machine is not kept out
    place.clock.now += WINDOW_S
    assert place.sign_in(visitor) == 303


def test_signing_in_ends_by_signing_out_and_after_some_hours(place: Place) -> None:
    visitor, other = place.far(), place.far()
    assert (place.sign_in(visitor), place.sign_in(other)) == (303, 303)
    kept = dict(visitor.cookies)
    assert visitor.post({"leave": "1"}, "/sign-out", origin="http://evil.example").status_code == 403
    assert visitor.post({"leave": "1"}, "/sign-out").status_code == 303
    visitor.cookies = kept  # whoever copied the cookie is out as well
    assert visitor.get("/").status_code == 403
    assert other.get("/").status_code == 200
    place.clock.now += STAY_S
    assert other.get("/").status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": None}, 403),
        ({"origin": f"http://127.0.0.1:{DEFAULT_PORT}"}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"content_type": "application/json"}, 415),
    ],
)
def test_only_our_own_page_signs_in(place: Place, headers: dict[str, str | None], status: int) -> None:
    assert place.sign_in(place.far(), **headers) == status


def test_without_a_name_beyond_there_is_no_signing_in(tmp_path: Path) -> None:
    keys = Keys()
    with application(small_journal(tmp_path / "a.journal", 1), Reach(DEFAULT_PORT), keys) as served:
        visitor = Browser(served)
        assert visitor.get("/sign-in").status_code == 403
        assert visitor.post({"passphrase": WORDS}, "/sign-in").status_code == 403
        visitor.get("/", params={"key": keys.link})
        assert visitor.get("/sign-in").status_code == 404


def test_only_a_slow_hash_of_the_passphrase_is_kept() -> None:
    assert KEPT.startswith("scrypt 32768 8 3 ")
    assert WORDS not in KEPT
    assert hashed(WORDS) != KEPT  # a salt of its own
    assert is_right(WORDS, KEPT)
    for wrong in (WORDS[:-1], WORDS.upper()):
        assert not is_right(wrong, KEPT)
    for broken in ("", "scrypt", KEPT[:-2], KEPT.replace("scrypt", "plain"), "a b c d e f"):
        assert not is_right(WORDS, broken)


def test_the_passphrase_is_set_by_a_command_and_forgotten_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    load_commands()
    monkeypatch.setattr(sys, "stdin", io.StringIO("short\n"))
    assert run(["passphrase", "--stdin"]) == 1
    assert capsys.readouterr().err == (
        "Error: A passphrase of 5 characters cannot be used.\n  Next: Use 12 to 256: a few words do.\n"
    )
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{WORDS}\n"))
    assert run(["passphrase", "--stdin"]) == 0
    file = tmp_path / "thirdstop" / PASSPHRASE_FILE
    assert file.stat().st_mode & 0o777 == 0o600
    assert is_right(WORDS, kept_passphrase(tmp_path / "thirdstop"))
    assert run(["passphrase", "--forget"]) == 0
    assert not file.exists()


def test_nothing_is_served_beyond_without_a_passphrase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    load_commands()
    path = small_journal(tmp_path / "a.journal", 1)
    for options in (["--address", "192.0.2.7"], ["--reached-at", "https://journal.example"]):
        assert run(["serve", "--no-browser", "--journal", str(path), *options]) == 1
        assert capsys.readouterr().err == (
            "Error: Beyond this machine the journal is served only to whoever signs in, and no passphrase is set.\n"
            "  Next: Set one with: thirdstop passphrase\n"
        )


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "studio", "192.0.2", ""])  # noqa: S104 - refused
def test_an_address_is_one_of_this_machine(address: str) -> None:
    with pytest.raises(JournalError):
        bound_address(address)


def test_an_address_and_a_port_are_one_name() -> None:
    assert bound_address("localhost") is None
    assert bound_address("127.0.0.1") is None
    assert host_of_address(str(bound_address("192.0.2.7")), 8356) == "192.0.2.7:8356"
    assert host_of_address(str(bound_address("2001:DB8::1")), 8356) == "[2001:db8::1]:8356"
    with pytest.raises(JournalError) as caught:
        listen_beyond("192.0.2.7", 8356)
    assert caught.value.problem.startswith("Nothing can be served at 192.0.2.7, port 8356: ")


def test_the_name_of_a_proxy_is_read_as_a_browser_sends_it() -> None:
    assert name_of_url("https://journal.example/") == ("journal.example", "https://journal.example")
    assert name_of_url("https://journal.example:443") == ("journal.example", "https://journal.example")
    assert name_of_url("https://Journal.example:8443") == ("journal.example:8443", "https://journal.example:8443")
    assert name_of_url("http://[::1]:80") == ("[::1]", "http://[::1]")
    for wrong in ("journal.example", "ftp://a.example", "https://a.example/x", "https://u:p@a.example", "https://"):
        with pytest.raises(JournalError) as caught:
            name_of_url(wrong)
        assert caught.value.problem == f"{wrong} is no name of a server."
    assert Reach(8356).origin("journal.example") is None


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[str]]:
    """What `thirdstop serve` prints that serves at an address that every machine has, beside the one always served."""
    try:
        with socket.socket() as tried:
            tried.bind((ADDRESS, 0))
    except OSError:
        pytest.skip(f"{ADDRESS} is no address here")
    folder = tmp_path_factory.mktemp("beyond")
    keep_passphrase(folder / "thirdstop", WORDS)
    path = small_journal(folder / "a.journal", 2)
    command = [sys.executable, "-c", "from journal.cli import main; main()", "serve", "--no-browser"]
    options = ["--address", ADDRESS, "--mentor", "Ada Quill", "--port", "18755", "--journal", str(path)]
    environment = {**os.environ, "XDG_DATA_HOME": str(folder)}
    process = subprocess.Popen([*command, *options], stdout=subprocess.PIPE, text=True, env=environment)
    printed: list[str] = []
    while not printed or "review withdraw" not in printed[-1]:
        assert process.stdout is not None
        printed.append(process.stdout.readline())
    yield printed
    process.terminate()
    process.communicate(timeout=20)


def test_serve_answers_at_another_address_too(lines: list[str]) -> None:
    assert "That is not encrypted: others on the network can read along" in "".join(lines)
    link, own = (next(line.split()[-1] for line in lines if word in line) for word in ("?mentor=", "?key="))
    assert link.startswith(f"http://{ADDRESS}:")
    home = link.partition("?")[0]
    with httpx.Client(headers={"origin": home.rstrip("/")}) as client:
        assert client.get(home).status_code == 403
        assert client.post(f"{home}sign-in", data={"passphrase": WORDS}).status_code == 303
        assert client.get(home).status_code == 200
    with httpx.Client() as client:
        assert client.get(link).status_code == 200
        assert client.get(f"{home}limits").status_code == 200
    assert httpx.get(own).status_code == 200
    assert httpx.get(own.replace("127.0.0.1", ADDRESS)).status_code == 403


@needs_chromium[0]
@needs_chromium[1]
def test_the_photographer_signs_in_judges_and_signs_out_in_a_browser(browser: Chromium, lines: list[str]) -> None:
    home = next(line.split()[-1] for line in lines if "?mentor=" in line).partition("?")[0]
    context = browser.new_context(viewport={"width": 390, "height": 900})
    page = context.new_page()
    page.goto(home)
    assert barriers(page) == []
    page.get_by_label("The photographer’s passphrase").fill("some other words entirely")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("alert").get_by_text("That is not the passphrase.").wait_for()
    page.get_by_label("The photographer’s passphrase").fill(WORDS)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(home)
    page.goto(f"{home}judge/1")
    with page.expect_response(f"{home}judge/verdicts") as posted:
        page.locator("#keeper").click()
    assert posted.value.status == 200
    page.goto(f"{home}frames/11")
    assert "a keeper" in page.get_by_role("heading", level=1).inner_text()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", level=1, name="This journal is private.").wait_for()
    context.close()
