"""Who gets in, and with which headers anything goes out.

Any program and any user of this machine can reach a port on loopback, and any page in a browser can make it ask there.
So: only our own Host names (a foreign name that points here is refused), only reading methods but for the verdicts of
`desk_routes`, and a random key that stands in the link printed on the terminal. The key is exchanged for a cookie that
scripts cannot read and that other sites' pages never send. Previews and our own assets are served here, not through
Datasette, whose router forbids every answer to a request with a cookie to be cached.
"""

from __future__ import annotations

import hmac
import re
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from analytics.dashboards.again_routes import AGAIN_WRITES, answer_again, is_of_again
from analytics.dashboards.answering import PAGE_POLICY, TABLE_POLICY, header, respond, with_headers
from analytics.dashboards.desk_routes import WRITES, answer_desk, is_of_desk
from journal.errors import JournalError, Problem

if TYPE_CHECKING:
    from analytics.dashboards.again import Again
    from analytics.dashboards.answering import Application, Message, Receive, Send
    from analytics.dashboards.desk import Desk
    from analytics.dashboards.pictures import Pictures
    from analytics.dashboards.reading import Reader

#: Paths of our own pages.
OWN_PAGES = re.compile(
    r"/(sessions/\d+|frames/\d+(/\d+)?|judge(/\d+|/again)?|standing|limits|progress|advice|plan|series"
    r"|habits(/[a-z_-]+)?)?"
)
PREVIEW_PATH = re.compile(r"/previews/(\d{1,18})\.webp")
PICTURE_PATH = re.compile(r"/frames/(\d{1,18})/(whole|piece)\.jpg")
#: Paths that are only posted to.
EVERY_WRITE = WRITES | AGAIN_WRITES
KEPT = b"private, max-age=86400, immutable"
NO_KEY = "This journal is private. Open it with the whole link that thirdstop printed in its terminal.\n"


@dataclass(frozen=True, slots=True)
class Asset:
    """A file of our own: what it is and what is in it."""

    kind: bytes
    content: bytes


@dataclass(frozen=True, slots=True)
class Keys:
    """Random secrets of one run: the key of the link, the value of the cookie it is exchanged for, and the token that
    a page shows when it changes something."""

    link: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))


@dataclass(frozen=True, slots=True)
class Holdings:
    """What the guard serves itself."""

    reader: Reader
    desk: Desk
    again: Again
    pictures: Pictures
    assets: dict[str, Asset]


class Guard:
    """The outermost application."""

    def __init__(self, inner: Application, port: int, keys: Keys, holdings: Holdings) -> None:
        self.inner, self.keys = inner, keys
        self.reader, self.desk, self.pictures = holdings.reader, holdings.desk, holdings.pictures
        self.again, self.assets = holdings.again, holdings.assets
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie_name = f"thirdstop_{port}"  # cookies know no ports: two journals must not share one

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.inner(scope, receive, send)
        elif scope["type"] == "http":
            await self._answer(scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _answer(self, scope: Message, receive: Receive, send: Send) -> None:
        path = scope["path"]
        if header(scope, b"host") not in self.hosts:
            await respond(send, 421, "This server answers only to its own name on this machine.\n")
        elif path in EVERY_WRITE and scope["method"] != "POST":
            await respond(send, 405, "Verdicts are posted here.\n", [(b"allow", b"POST")])
        elif path not in EVERY_WRITE and scope["method"] not in ("GET", "HEAD"):
            await respond(send, 405, "The journal can only be read here.\n", [(b"allow", b"GET, HEAD")])
        elif "key" in (query := parse_qs(scope["query_string"].decode("latin-1"))):
            await self._exchange(query["key"][0], send)
        elif not self._has_cookie(scope):
            await respond(send, 403, NO_KEY)
        elif path in self.assets:
            asset = self.assets[path]
            await respond(send, 200, asset.content, [(b"content-type", asset.kind), (b"cache-control", KEPT)])
        elif match := PREVIEW_PATH.fullmatch(path):
            await self._preview(int(match[1]), send)
        elif match := PICTURE_PATH.fullmatch(path):
            await self._picture(int(match[1]), match[2], send)
        elif is_of_again(path):
            await answer_again(scope, receive, send, self.keys.token, self.again)
        elif is_of_desk(path):
            await answer_desk(scope, receive, send, self.keys.token, self.desk)
        else:
            policy = PAGE_POLICY if OWN_PAGES.fullmatch(path) else TABLE_POLICY
            await self.inner({**scope, "actor": {"id": "photographer"}}, receive, with_headers(send, policy))

    async def _exchange(self, key: str, send: Send) -> None:
        """A page instead of a redirect: a strict cookie would not come along where another program opened the link."""
        if not hmac.compare_digest(key.encode(), self.keys.link.encode()):
            await respond(send, 403, NO_KEY)
            return
        cookie = f"{self.cookie_name}={self.keys.cookie}; Path=/; HttpOnly; SameSite=Strict"
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/">'
            '<title>thirdstop</title><p><a href="/">Open the journal</a></p></html>'
        )
        headers = [(b"content-type", b"text/html; charset=utf-8"), (b"set-cookie", cookie.encode())]
        await respond(send, 200, page, [*headers, (b"cache-control", b"no-store")])

    def _has_cookie(self, scope: Message) -> bool:
        try:
            found = SimpleCookie(header(scope, b"cookie")).get(self.cookie_name)
        except CookieError:
            return False
        return found is not None and hmac.compare_digest(found.value.encode(), self.keys.cookie.encode())

    async def _preview(self, number: int, send: Send) -> None:
        preview = await self.reader.preview(number)
        if preview is None:
            await respond(send, 404, "There is no preview of this frame.\n")
            return
        await respond(send, 200, preview, [(b"content-type", b"image/webp"), (b"cache-control", KEPT)])

    async def _picture(self, number: int, what: str, send: Send) -> None:
        look = await self.reader.original(number)
        if look is None:
            await respond(send, 404, "The journal knows no picture file of this frame.\n")
            return
        try:
            found = await self.pictures.closer(look)
        except JournalError as error:
            await respond(send, 503, f"{error.problem} {error.next_step}\n")
            return
        if isinstance(found, Problem):
            await respond(send, 404, f"{found.problem} {found.next_step}\n")
            return
        kind = [(b"content-type", b"image/jpeg"), (b"cache-control", KEPT)]
        await respond(send, 200, found.whole if what == "whole" else found.piece, kind)
