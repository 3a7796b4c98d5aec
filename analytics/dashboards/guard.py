"""Who gets in, and with which headers anything goes out.

Any program and any user of this machine can reach a port on loopback, and any page in a browser can make it ask there.
So: only our own Host names (a foreign name that points here is refused), only reading methods but for the verdicts of
`desk_routes`, and a random key that stands in the link printed on the terminal. The key is exchanged for a cookie that
scripts cannot read and that other sites' pages never send. A mentor comes in through a signed link and may open what
`MENTOR_PAGES` names, nothing else. Previews and our own assets are served here, not through Datasette, whose router
forbids every answer to a request with a cookie to be cached.
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
from analytics.dashboards.answering import PAGE_POLICY, TABLE_POLICY, header, respond, sparing, with_headers
from analytics.dashboards.comment_routes import COMMENTS_PATH, answer_comment
from analytics.dashboards.desk_routes import WRITES, answer_desk, is_of_desk
from analytics.dashboards.visitors import COOKIE, LINK, REFUSED, Visitor
from journal.errors import JournalError, Problem

if TYPE_CHECKING:
    from analytics.dashboards.again import Again
    from analytics.dashboards.answering import Application, Message, Receive, Send
    from analytics.dashboards.desk import Desk
    from analytics.dashboards.pictures import Pictures
    from analytics.dashboards.reading import Reader
    from analytics.dashboards.visitors import Mentors

#: Paths of our own pages.
OWN_PAGES = re.compile(
    r"/(sessions/\d+|frames(/\d+(/\d+)?)?|judge(/\d+|/again)?|keepers(\.json)?|standing|limits|progress|advice|plan"
    r"|series|habits(/[a-z_-]+)?|comments)?"
)
#: Of these, what a mentor may open. A page that is added later is the photographer's own until it is named here and in
#: `analytics.pages.mentor`.
MENTOR_PAGES = re.compile(
    r"/((sessions|frames)/\d+|frames/\d+/\d+|standing|limits|progress|advice|habits(/[a-z_-]+)?|comments)?"
)
PREVIEW_PATH = re.compile(r"/previews/(\d{1,18})\.webp")
PICTURE_PATH = re.compile(r"/frames/(\d{1,18})/(whole|piece)\.jpg")
#: Paths that are only posted to.
EVERY_WRITE = WRITES | AGAIN_WRITES
#: A mentor's browser keeps its cookie for longer than any link lasts; whether that counts is asked at every request.
KEPT_SECONDS = 400 * 86_400
KEPT = b"private, max-age=86400, immutable"
NO_KEY = "This journal is private. Open it with the whole link that thirdstop printed in its terminal.\n"
MENTOR_MAY = "This link lets you read the journal's pages and comment on them, and nothing else.\n"


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
    mentors: Mentors
    assets: dict[str, Asset]


class Guard:
    """The outermost application."""

    def __init__(self, inner: Application, port: int, keys: Keys, holdings: Holdings) -> None:
        self.inner, self.keys = inner, keys
        self.reader, self.desk, self.pictures = holdings.reader, holdings.desk, holdings.pictures
        self.again, self.mentors, self.assets = holdings.again, holdings.mentors, holdings.assets
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie_name = f"thirdstop_{port}"  # cookies know no ports: two journals must not share one
        self.mentor_cookie_name = f"thirdstop_mentor_{port}"

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
        elif path not in EVERY_WRITE and scope["method"] not in ("GET", "HEAD") and not _is_comment(scope):
            await respond(send, 405, "The journal can only be read here.\n", [(b"allow", b"GET, HEAD")])
        elif path == "/" and (word := _word(scope, "key")) is not None:
            await self._exchange(word, send)
        elif path == "/" and (word := _word(scope, "mentor")) is not None:
            await self._let_mentor_in(word, send)
        elif isinstance(visitor := await self._visitor(scope), str):
            await respond(send, 403, visitor)
        elif visitor.mentor is not None and not self._may_mentor(scope):
            await respond(send, 403, MENTOR_MAY)
        else:
            await self._answer_visitor({**scope, "visitor": visitor, "actor": visitor.actor}, receive, send)

    async def _answer_visitor(self, scope: Message, receive: Receive, send: Send) -> None:
        path, visitor = scope["path"], scope["visitor"]
        if path in self.assets:
            asset = self.assets[path]
            await respond(send, 200, asset.content, [(b"content-type", asset.kind), (b"cache-control", KEPT)])
        elif match := PREVIEW_PATH.fullmatch(path):
            await self._preview(int(match[1]), visitor.mentor is not None, send)
        elif match := PICTURE_PATH.fullmatch(path):
            await self._picture(int(match[1]), match[2], scope, send)
        elif is_of_again(path):
            await answer_again(scope, receive, send, self.keys.token, self.again)
        elif is_of_desk(path):
            await answer_desk(scope, receive, send, self.keys.token, self.desk)
        elif _is_comment(scope):
            await answer_comment(scope, receive, send, self.mentors, f"http://{header(scope, b'host')}")
        else:
            policy = PAGE_POLICY if OWN_PAGES.fullmatch(path) else TABLE_POLICY
            await self.inner(scope, receive, with_headers(send if visitor.mentor is None else sparing(send), policy))

    async def _exchange(self, key: str, send: Send) -> None:
        if not hmac.compare_digest(key.encode(), self.keys.link.encode()):
            await respond(send, 403, NO_KEY)
            return
        await self._give(f"{self.cookie_name}={self.keys.cookie}", send)

    async def _let_mentor_in(self, token: str, send: Send) -> None:
        visitor = await self.mentors.visitor(LINK, token)
        if isinstance(visitor, str) or visitor.link is None:
            await respond(send, 403, REFUSED["unknown" if isinstance(visitor, Visitor) else visitor])
            return
        value = self.mentors.signatures.signed(COOKIE, visitor.link.key)
        await self._give(f"{self.mentor_cookie_name}={value}; Max-Age={KEPT_SECONDS}", send)

    async def _give(self, cookie: str, send: Send) -> None:
        """A page instead of a redirect: a strict cookie would not come along where another program opened the link."""
        cookie = f"{cookie}; Path=/; HttpOnly; SameSite=Strict"
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/">'
            '<link rel="icon" href="data:,">'
            '<title>thirdstop</title><p><a href="/">Open the journal</a></p></html>'
        )
        headers = [(b"content-type", b"text/html; charset=utf-8"), (b"set-cookie", cookie.encode())]
        await respond(send, 200, page, [*headers, (b"cache-control", b"no-store")])

    async def _visitor(self, scope: Message) -> Visitor | str:
        """Who asks, or what to say to somebody who is not let in."""
        try:
            cookies = SimpleCookie(header(scope, b"cookie"))
        except CookieError:
            return NO_KEY
        own, mentor = (cookies.get(name) for name in (self.cookie_name, self.mentor_cookie_name))
        if own is not None and hmac.compare_digest(own.value.encode(), self.keys.cookie.encode()):
            return Visitor()
        if mentor is None:
            return NO_KEY
        found = await self.mentors.visitor(COOKIE, mentor.value)
        return REFUSED[found] if isinstance(found, str) else found

    def _may_mentor(self, scope: Message) -> bool:
        path = scope["path"]
        pictures = PREVIEW_PATH.fullmatch(path) or PICTURE_PATH.fullmatch(path)
        return path in self.assets or pictures is not None or MENTOR_PAGES.fullmatch(path) is not None

    async def _preview(self, number: int, is_bare: bool, send: Send) -> None:
        preview = await self.reader.preview(number, is_bare)
        if preview is None:
            await respond(send, 404, "There is no preview of this frame.\n")
            return
        await respond(send, 200, preview, [(b"content-type", b"image/webp"), (b"cache-control", KEPT)])

    async def _picture(self, number: int, what: str, scope: Message, send: Send) -> None:
        if scope["visitor"].mentor is not None:
            send = sparing(send, 400)  # why there is none may name a file
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


def _word(scope: Message, name: str) -> str | None:
    """What the address says of this name, the first time; `None` where it says nothing."""
    asked: bytes = scope["query_string"]
    found = parse_qs(asked.decode("latin-1"), keep_blank_values=True).get(name)
    return found[0] if found else None


def _is_comment(scope: Message) -> bool:
    return bool(scope["path"] == COMMENTS_PATH and scope["method"] == "POST")
