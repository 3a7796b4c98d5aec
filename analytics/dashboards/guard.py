"""Who gets in, and with which headers anything goes out.

Any program and any user of this machine can reach a port on loopback, and any page in a browser can make it ask there.
So: only our own Host names (a foreign name that points here is refused), only reading methods but for the verdicts of
`desk_routes`, and a random key that stands in the link printed on the terminal. The key is exchanged for a cookie that
scripts cannot read and that other sites' pages never send. A mentor comes in through a signed link and may open what
`MENTOR_PAGES` names, nothing else. Previews and our own assets are served here, not through Datasette, whose router
forbids every answer to a request with a cookie to be cached.
"""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analytics.dashboards.again_routes import AGAIN_WRITES, answer_again, is_of_again
from analytics.dashboards.answering import PAGE_POLICY, TABLE_POLICY, header, respond, sparing, with_headers
from analytics.dashboards.comment_routes import COMMENTS_PATH, answer_comment
from analytics.dashboards.desk_routes import WRITES, answer_desk, is_of_desk
from analytics.dashboards.entrance import SIGN_IN_PATH, SIGN_OUT_PATH, Entrance
from journal.errors import JournalError, Problem

if TYPE_CHECKING:
    from analytics.dashboards.again import Again
    from analytics.dashboards.answering import Application, Message, Receive, Send
    from analytics.dashboards.desk import Desk
    from analytics.dashboards.estimates import Estimates
    from analytics.dashboards.pictures import Pictures
    from analytics.dashboards.plugin import Pages
    from analytics.dashboards.reach import Reach
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
    r"/((sessions|frames)/\d+|frames(/\d+/\d+)?|keepers(\.json)?|standing|limits|progress|advice|habits(/[a-z_-]+)?"
    r"|comments)?"
)
PREVIEW_PATH = re.compile(r"/previews/(\d{1,18})\.webp")
PICTURE_PATH = re.compile(r"/frames/(\d{1,18})/(whole|piece)\.jpg")
#: Paths that are only posted to.
EVERY_WRITE = WRITES | AGAIN_WRITES
KEPT = b"private, max-age=86400, immutable"
MENTOR_MAY = "A mentor's link opens the journal's pages to read and to comment on, and nothing else.\n"


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
    estimates: Estimates
    assets: dict[str, Asset]


class Guard:
    """The outermost application."""

    def __init__(self, inner: Application, reach: Reach, keys: Keys, holdings: Holdings, pages: Pages) -> None:
        self.inner, self.keys, self.pages = inner, keys, pages
        self.reader, self.desk, self.pictures = holdings.reader, holdings.desk, holdings.pictures
        self.again, self.mentors, self.assets = holdings.again, holdings.mentors, holdings.assets
        self.reach, self.estimates = reach, holdings.estimates
        style = next(path for path in self.assets if path.startswith("/assets/style-"))
        self.entrance = Entrance(reach, keys, holdings.mentors, style)

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.inner(scope, receive, send)
        elif scope["type"] == "http":
            await self._answer(scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _answer(self, scope: Message, receive: Receive, send: Send) -> None:
        path, origin = scope["path"], self.reach.origin(header(scope, b"host"))
        scope = {**scope, "origin": origin}
        if origin is None:
            await respond(send, 421, "This server answers only to its own name.\n")
        elif path in EVERY_WRITE and scope["method"] != "POST":
            await respond(send, 405, "Verdicts are posted here.\n", [(b"allow", b"POST")])
        elif not (path in EVERY_WRITE or scope["method"] in ("GET", "HEAD") or _is_form(scope)):
            await respond(send, 405, "The journal can only be read here.\n", [(b"allow", b"GET, HEAD")])
        elif await self.entrance.answer(scope, receive, send):
            return
        elif isinstance(visitor := await self.entrance.visitor(scope), str):
            if path == self.entrance.style and self.reach.beyond is not None:
                await self._asset(path, send)
            else:
                await self.entrance.turn_away(visitor, scope, send)
        elif visitor.mentor is not None and not self._may_mentor(scope):
            await self.entrance.refuse(MENTOR_MAY, scope, send, is_in=True)
        else:
            await self._answer_visitor({**scope, "visitor": visitor, "actor": visitor.actor}, receive, send)

    async def _answer_visitor(self, scope: Message, receive: Receive, send: Send) -> None:
        path, visitor = scope["path"], scope["visitor"]
        if path in self.assets:
            await self._asset(path, send)
        elif match := PREVIEW_PATH.fullmatch(path):
            await self._preview(int(match[1]), visitor.mentor is not None, send)
        elif match := PICTURE_PATH.fullmatch(path):
            await self._picture(int(match[1]), match[2], scope, send)
        elif is_of_again(path):
            await answer_again(scope, receive, send, self.keys.token, self.again)
        elif is_of_desk(path):
            await answer_desk(scope, receive, send, self.keys.token, self.desk)
        elif path == COMMENTS_PATH and scope["method"] == "POST":
            await answer_comment(scope, receive, send, self.mentors)
        else:
            policy = PAGE_POLICY if OWN_PAGES.fullmatch(path) else TABLE_POLICY
            await self.inner(scope, receive, with_headers(send if visitor.mentor is None else sparing(send), policy))

    async def _asset(self, path: str, send: Send) -> None:
        asset = self.assets[path]
        await respond(send, 200, asset.content, [(b"content-type", asset.kind), (b"cache-control", KEPT)])

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


def _is_form(scope: Message) -> bool:
    return scope["method"] == "POST" and scope["path"] in (COMMENTS_PATH, SIGN_IN_PATH, SIGN_OUT_PATH)
