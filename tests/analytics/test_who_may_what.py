"""Every route of a served journal, and what everybody gets there: one table, which no new route can be missing from."""

from __future__ import annotations

import importlib
import pkgutil
import re
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest
from datasette.plugins import pm
from journals import small_journal
from visiting import SECRET, Browser, expire_link, new_link, withdraw_link

from analytics import dashboards
from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import MENTOR_PAGES, Keys
from analytics.dashboards.plugin import Pages
from analytics.dashboards.reach import Beyond, Reach
from analytics.dashboards.serving import application
from analytics.dashboards.sign_in import SignIn, hashed

if TYPE_CHECKING:
    from collections.abc import Iterator

    import httpx

NAME = "192.0.2.7:8356"
WORDS = "seven rowers under one bridge"


@dataclass(frozen=True)
class Row:
    """A request, and what the photographer and a mentor get; everybody else gets 403 but where `anybody` says more."""

    method: str
    path: str
    photographer: int
    mentor: int = 403
    anybody: int = 403


def gets(photographer: int, mentor: int, *paths: str) -> list[Row]:
    return [Row("GET", path, photographer, mentor) for path in paths]


#: What is read. A mentor gets our pages, without those for judging and planning, and pictures; no table, no SQL,
#: nothing below /-/, no file of the journal.
READ = [
    *gets(
        200, 200, "/", "/standing", "/limits", "/progress", "/advice", "/habits", "/habits/slow_by_hand", "/comments"
    ),
    *gets(200, 200, "/sessions/1", "/frames/1", "/frames/1/2", "/previews/1.webp"),
    *gets(404, 404, "/sessions/99", "/frames/99", "/habits/none", "/previews/2.webp"),
    *gets(404, 404, "/frames/1/whole.jpg", "/frames/1/piece.jpg"),  # frame 1 has no file
    *gets(200, 403, "/judge", "/judge/1", "/judge/again", "/plan", "/series"),
    *gets(200, 200, "/keepers", "/keepers?by=iso&by2=lens", "/keepers.json", "/frames", "/frames?iso=400"),
    *gets(400, 400, "/keepers?by=luck", "/keepers.json?where=1", "/frames?iso=fast"),
    *gets(200, 403, "/judge/token", "/judge/1/bursts", "/judge/again/bursts"),
    *gets(404, 403, "/nothing", "/judge/nothing", "/:memory:", "/.json", "/journal-", "/sessions", "/sign-out"),
    *gets(404, 403, "/side-by-side"),  # this journal is served alone
    *gets(200, 403, "/journal", "/journal.json", "/journal?sql=select+1", "/journal.json?sql=select+1"),
    *gets(200, 403, "/journal/frames", "/journal/frames.json", "/journal/frames.csv", "/journal/frames?_where=1"),
    *gets(200, 403, "/journal/frames/1", "/journal/frames/1.json", "/journal/mentor_links.json", "/journal/previews/1"),
    *gets(403, 403, "/journal.db"),
    *gets(200, 403, "/favicon.ico", "/-/static/app.css"),
    *gets(200, 403, "/-/metadata.json", "/-/versions.json", "/-/plugins.json", "/-/settings.json", "/-/databases.json"),
    *gets(200, 403, "/-/actor.json", "/-/patterns", "/-/threads.json", "/-/messages", "/-/logout"),
    *gets(200, 403, "/-/allow-debug"),
    *gets(301, 403, "/-/config", "/-/config.json"),  # to the metadata
    *gets(403, 403, "/-/permissions", "/-/auth-token"),
    Row("GET", "/sign-in", 200, 200, 200),
]
#: What is posted to, with everything that a page of ours would send along but a body that makes sense.
POSTED = [
    *(Row("POST", f"/judge/{what}", 400) for what in ("verdicts", "take-back", "again/verdicts", "again/take-back")),
    *(Row("POST", f"/judge/again/{what}", 400) for what in ("begin", "put-off")),
    Row("POST", "/comments", 403, 400),
]
#: What is posted to by hand alone, for it changes who somebody is.
COMING_AND_GOING = [Row("POST", "/sign-in", 403, 403, 403), Row("POST", "/sign-out", 303, 303, 303)]
#: What nobody may do.
NEVER = [
    Row(method, path, 405, 405, 405)
    for method in ("POST", "PUT", "PATCH", "DELETE")
    for path in ("/", "/journal", "/journal/frames", "/journal/-/create", "/-/messages", "/-/logout", "/judge/token")
] + [Row("GET", row.path, 405, 405, 405) for row in POSTED if row.path != "/comments"]
ROWS = [*READ, *POSTED, *COMING_AND_GOING, *NEVER]


class World:
    """A journal that is served here and beyond, and everybody who asks."""

    def __init__(self, path: Any, stack: ExitStack) -> None:
        self.keys = Keys()
        beyond = Beyond(NAME, f"http://{NAME}", SignIn(hashed(WORDS)))
        self.application = stack.enter_context(application(path, Reach(DEFAULT_PORT, beyond), self.keys, SECRET))
        self.photographer, self.signed_in = Browser(self.application), Browser(self.application, f"http://{NAME}")
        self.photographer.get("/", params={"key": self.keys.link})
        assert self.signed_in.post({"passphrase": WORDS}, "/sign-in").status_code == 303
        self.mentor, self.far_mentor, withdrawn, expired = (self._mentor(path, far) for far in (0, 1, 0, 0))
        withdraw_link(path, 3)
        expire_link(path, 4)
        self.outside = {
            "nobody": Browser(self.application),
            "nobody from afar": Browser(self.application, f"http://{NAME}"),
            "a mentor whose link is withdrawn": withdrawn,
            "a mentor whose link has expired": expired,
        }

    def _mentor(self, path: Any, is_far: int) -> Browser:
        visitor = Browser(self.application, *([f"http://{NAME}"] if is_far else []))
        assert visitor.get("/", params={"mentor": new_link(path)[1]}).status_code == 200
        return visitor

    def ask(self, visitor: Browser, row: Row, **headers: str) -> int:
        """The status that a visitor gets; a posting comes with token and origin, as a page of ours would send it."""
        kept = dict(visitor.cookies)
        answer = visitor.ask(row.method, row.path, **self._sent(visitor, row, headers))
        visitor.cookies = kept
        return answer.status_code

    def _sent(self, visitor: Browser, row: Row, headers: dict[str, str]) -> dict[str, Any]:
        if row.method != "POST":
            return {"headers": headers}
        given = {"origin": visitor.home, "x-thirdstop-token": self.keys.token, **headers}
        is_json = row.path.startswith("/judge/")
        token = visitor.form("/sessions/1")["token"] if visitor in (self.mentor, self.far_mentor) else "x"
        body = {"content": "{}"} if is_json else {"data": {"x": "1", "token": token}}
        return {**body, "headers": {**({"content-type": "application/json"} if is_json else {}), **given}}


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    with ExitStack() as stack:
        yield World(small_journal(tmp_path_factory.mktemp("world") / "a.journal", 4), stack)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.method} {row.path}")
def test_everybody_gets_what_the_table_says(world: World, row: Row) -> None:
    if row.path != "/sign-in" or row.method == "GET":
        assert world.ask(world.photographer, row) == row.photographer
        assert world.ask(world.mentor, row) == row.mentor
        assert world.ask(world.far_mentor, row) == row.mentor
    if row.path not in ("/sign-in", "/sign-out"):
        assert world.ask(world.signed_in, row) == row.photographer
    for who, visitor in world.outside.items():
        if row.path not in ("/sign-in", "/sign-out"):
            assert world.ask(visitor, row) == row.anybody, who


@pytest.mark.parametrize("row", [*POSTED, *COMING_AND_GOING], ids=lambda row: row.path)
@pytest.mark.parametrize("sent", [{"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}], ids=str)
def test_another_sites_page_can_post_nothing_in_anybodys_name(world: World, row: Row, sent: dict[str, str]) -> None:
    for visitor in (world.photographer, world.signed_in, world.mentor, *world.outside.values()):
        assert world.ask(visitor, row, **sent) == 403


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.method} {row.path}")
def test_a_foreign_name_gets_nothing(world: World, row: Row) -> None:
    for visitor in (world.photographer, world.signed_in, world.mentor):
        assert world.ask(visitor, row, host="evil.example") == 421


def test_our_files_are_for_whoever_is_in_and_the_style_also_for_whoever_signs_in(world: World) -> None:
    for path in world.application.assets:
        assert world.ask(world.photographer, Row("GET", path, 200)) == 200
        assert world.ask(world.mentor, Row("GET", path, 200)) == 200
        for visitor in world.outside.values():
            assert world.ask(visitor, Row("GET", path, 200)) == (200 if "/style-" in path else 403)


def named_in_the_table(pattern: re.Pattern[str]) -> bool:
    return any(pattern.match(row.path.partition("?")[0]) for row in ROWS)


def test_no_route_of_the_pages_or_of_datasette_is_missing_from_the_table(world: World) -> None:
    (pages,) = [plugin for plugin in pm.get_plugins() if isinstance(plugin, Pages)]
    patterns = [route[0] for route in pages.datasette._routes()]
    assert len(patterns) >= 25
    assert [pattern.pattern for pattern in patterns if not named_in_the_table(pattern)] == []


def test_no_path_that_is_answered_before_datasette_is_missing_from_the_table() -> None:
    found: set[str] = set()
    for module in pkgutil.iter_modules(dashboards.__path__, "analytics.dashboards."):
        for name, value in vars(importlib.import_module(module.name)).items():
            if name.endswith(("_PATH", "_WRITES", "WRITES", "WRITE")):
                values = value if isinstance(value, frozenset | set | tuple) else [value]
                found |= {each.pattern if isinstance(each, re.Pattern) else re.escape(each) for each in values}
    assert len(found) >= 14
    assert [pattern for pattern in found if not named_in_the_table(re.compile(f"{pattern}$"))] == []


def test_a_mentor_may_open_each_page_that_is_named_for_mentors_and_no_other(world: World) -> None:
    own = {row.path for row in READ if row.photographer in (200, 404) and "." not in row.path and "?" not in row.path}
    named = {path for path in own if MENTOR_PAGES.fullmatch(path)}
    assert {row.path for row in READ if row.path in named and row.mentor == 403} == set()
    assert {row.path for row in READ if row.path in own - named and row.mentor != 403} == {"/sign-in"}


def test_a_head_is_answered_like_a_get(world: World) -> None:
    for path in ("/", "/journal", "/previews/1.webp"):
        head: httpx.Response = world.photographer.ask("HEAD", path)
        assert head.status_code == 200
        assert world.mentor.ask("HEAD", path).status_code == (403 if path == "/journal" else 200)
        assert world.outside["nobody"].ask("HEAD", path).status_code == 403
