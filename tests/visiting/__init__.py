"""Visitors of a served journal without a screen: the photographer, mentors in every state, nobody."""

from __future__ import annotations

import asyncio
import re
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import TYPE_CHECKING, Any

import httpx

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.dashboards.visitors import LINK, Signatures
from journal.store.mentors import add_link, withdraw
from journal.store.opening import open_journal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

HOME = f"http://127.0.0.1:{DEFAULT_PORT}"
SECRET = b"a secret of the tests"
MENTOR = "Ada Quill"


class Browser:
    """Cookies, and what is asked with them."""

    def __init__(self, application: Any, home: str = HOME) -> None:
        self.application, self.home = application, home
        self.cookies: dict[str, str] = {}

    def ask(self, method: str, path: str, **options: Any) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.application)
            async with httpx.AsyncClient(transport=transport, base_url=self.home, cookies=self.cookies) as client:
                answer = await client.request(method, path, **options)
                self.cookies.update(dict(answer.cookies.items()))
                return answer

        return asyncio.run(asked())

    def get(self, path: str, **options: Any) -> httpx.Response:
        return self.ask("GET", path, **options)

    def form(self, page: str) -> dict[str, str]:
        """The hidden fields of the form on a page."""
        text = self.get(page).text
        found = re.findall(r'<input type="hidden" name="([a-z]+)" value="([^"]*)">', text)
        return {name: unescape(value) for name, value in found}

    def post(self, fields: dict[str, Any], path: str = "/comments", **headers: str | None) -> httpx.Response:
        given = {"origin": self.home, **{name.replace("_", "-"): value for name, value in headers.items()}}
        kept = {name: value for name, value in given.items() if value is not None}
        return self.ask("POST", path, data=fields, headers=kept)


class Served:
    """A journal that is served, and whoever visits it."""

    def __init__(self, path: Path, stack: ExitStack) -> None:
        self.path, self.keys = path, Keys()
        self.application = stack.enter_context(application(path, Reach(DEFAULT_PORT), self.keys, SECRET))

    def nobody(self) -> Browser:
        return Browser(self.application)

    def photographer(self) -> Browser:
        visitor = self.nobody()
        assert visitor.get("/", params={"key": self.keys.link}).status_code == 200
        return visitor

    def mentor(self, name: str = MENTOR, days: int = 14, made: datetime | None = None) -> Browser:
        """A mentor who came in; with a link that was made earlier they may not be let in any more."""
        visitor = self.nobody()
        visitor.get("/", params={"mentor": new_link(self.path, name, days, made)[1]})
        return visitor


def new_link(path: Path, name: str = MENTOR, days: int = 14, made: datetime | None = None) -> tuple[int, str]:
    """Number and signed text of a new link."""
    connection = open_journal(path)
    link = add_link(connection, name, days, made or datetime.now(UTC))
    connection.close()
    return link.number, Signatures(SECRET).signed(LINK, link.key)


def withdraw_link(path: Path, number: int) -> None:
    connection = open_journal(path)
    withdraw(connection, number, datetime.now(UTC))
    connection.close()


def expire_link(path: Path, number: int) -> None:
    """As time would."""
    connection = open_journal(path)
    yesterday = (datetime.now(UTC) - timedelta(days=1)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    connection.execute("update mentor_links set expires_at = ? where id = ?", [yesterday, number])
    connection.close()


@contextmanager
def served(path: Path) -> Iterator[Served]:
    with ExitStack() as stack:
        yield Served(path, stack)


def plain(html: str) -> str:
    """What is read of a page: its words without its marks."""
    return unescape(re.sub("<[^>]*>", "", html))
