"""How somebody comes in: the link of this run on this machine, a mentor's link, the passphrase from beyond.

Each is exchanged for a cookie of its own that scripts cannot read and that other sites' pages never send. The link of
this run counts only on this machine; from beyond it, the photographer signs in.
"""

from __future__ import annotations

import hmac
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from jinja2 import Environment, FileSystemLoader

from analytics.dashboards.answering import TO_OURSELVES, RefusedError, header, respond
from analytics.dashboards.comment_routes import form_fields, refuse_foreign_form
from analytics.dashboards.reach import PROXIED
from analytics.dashboards.sign_in import MOST, TooOftenError
from analytics.dashboards.visitors import COOKIE, LINK, REFUSED, Visitor

if TYPE_CHECKING:
    from analytics.dashboards.answering import Message, Receive, Send
    from analytics.dashboards.guard import Keys
    from analytics.dashboards.reach import Beyond, Reach
    from analytics.dashboards.visitors import Mentors

SIGN_IN_PATH, SIGN_OUT_PATH = "/sign-in", "/sign-out"
#: A mentor's browser keeps its cookie for longer than any link lasts; whether that counts is asked at every request.
KEPT_SECONDS = 400 * 86_400
NO_KEY = "This journal is private. Open it with the whole link that thirdstop printed in its terminal.\n"
HTML = (b"content-type", b"text/html; charset=utf-8")
NOT_KEPT = (b"cache-control", b"no-store")
#: Addresses of this machine, as a server sees them.
OWN_PEERS = ("127.0.0.1", "::1")
TEMPLATES = Path(__file__).parent / "templates"


class Entrance:
    """Lets visitors of one journal in, or says why not; a page that is of no one journal knows no mentors."""

    def __init__(self, reach: Reach, keys: Keys, mentors: Mentors | None, style: str) -> None:
        self.reach, self.keys, self.mentors, self.style = reach, keys, mentors, style
        # Cookies know no ports: two journals on this machine must not share one.
        self.own_cookie = f"thirdstop_{reach.port}"
        self.mentor_cookie = f"thirdstop_mentor_{reach.port}"
        self.signed_in_cookie = f"thirdstop_signed_in_{reach.port}"
        #: Cookies beside ours that the link of this run is exchanged for: those of journals served side by side.
        self.also_given: list[str] = []
        environment = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True)
        self._sign_in_page = environment.get_template("thirdstop_sign_in.html")
        self._refused_page = environment.get_template("thirdstop_refused.html")

    async def answer(self, scope: Message, receive: Receive, send: Send) -> bool:
        """Answers what belongs to coming in and going out; whether it was that."""
        path = scope["path"]
        if path == "/" and (word := _word(scope, "key")) is not None:
            await self._exchange(word, scope, send)
        elif path == "/" and self.mentors is not None and (word := _word(scope, "mentor")) is not None:
            await self._let_mentor_in(self.mentors, word, scope, send)
        elif path == SIGN_IN_PATH and (beyond := self.reach.beyond) is not None:
            await self._sign_in(beyond, scope, receive, send)
        elif path == SIGN_OUT_PATH and scope["method"] == "POST":
            await self._sign_out(scope, send)
        else:
            return False
        return True

    async def visitor(self, scope: Message) -> Visitor | str:
        """Who asks, or what to say to somebody who is not let in."""
        cookies = _cookies(scope)
        own, mentor = cookies.get(self.own_cookie), cookies.get(self.mentor_cookie)
        if own is not None and self._is_here(scope) and hmac.compare_digest(own.encode(), self.keys.cookie.encode()):
            return Visitor()
        beyond, signed_in = self.reach.beyond, cookies.get(self.signed_in_cookie)
        if beyond is not None and signed_in is not None and beyond.sign_in.is_in(signed_in):
            return Visitor(is_signed_in=True)
        if mentor is None or self.mentors is None:
            return NO_KEY
        found = await self.mentors.visitor(COOKIE, mentor)
        return REFUSED[found] if isinstance(found, str) else found

    async def turn_away(self, words: str, scope: Message, send: Send) -> None:
        """What somebody gets who is not let in; where one can sign in, the way there."""
        if self.reach.beyond is None or words != NO_KEY:
            await self.refuse(words, scope, send)
        else:
            await self._show_sign_in(403, "This journal is private.", "", scope, send)

    async def refuse(self, words: str, scope: Message, send: Send, is_in: bool = False) -> None:
        """Says why there is nothing to see: as a page to a browser, in our style where that may be had."""
        if "text/html" not in header(scope, b"accept"):
            await respond(send, 403, words)
            return
        sentence, _, rest = words.strip().partition(". ")
        style = self.style if is_in or self.reach.beyond is not None else None
        page = self._refused_page.render(sentence=f"{sentence.rstrip('.')}.", rest=rest, style=style, is_in=is_in)
        await respond(send, 403, page, [HTML, NOT_KEPT])

    def _is_here(self, scope: Message) -> bool:
        """Whether the request is made on this machine, and under its own name."""
        peer = (scope.get("client") or ("",))[0]
        if header(scope, b"host") not in self.reach.own_hosts or peer not in OWN_PEERS:
            return False
        return not any(name in PROXIED for name, _ in scope["headers"])

    async def _exchange(self, key: str, scope: Message, send: Send) -> None:
        if not self._is_here(scope) or not hmac.compare_digest(key.encode(), self.keys.link.encode()):
            await self.refuse(NO_KEY, scope, send)
            return
        await self._give([f"{self.own_cookie}={self.keys.cookie}", *self.also_given], scope, send)

    async def _let_mentor_in(self, mentors: Mentors, token: str, scope: Message, send: Send) -> None:
        visitor = await mentors.visitor(LINK, token)
        if isinstance(visitor, str) or visitor.link is None:
            await self.refuse(REFUSED["unknown" if isinstance(visitor, Visitor) else visitor], scope, send)
            return
        value = mentors.signatures.signed(COOKIE, visitor.link.key)
        await self._give([f"{self.mentor_cookie}={value}; Max-Age={KEPT_SECONDS}"], scope, send)

    async def _give(self, cookies: list[str], scope: Message, send: Send) -> None:
        """A page instead of a redirect: a strict cookie would not come along where another program opened the link."""
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/">'
            '<link rel="icon" href="data:,">'
            '<title>thirdstop</title><p><a href="/">Open the journal</a></p></html>'
        )
        given = [self._header(cookie, scope) for cookie in cookies]
        await respond(send, 200, page, [HTML, *given, NOT_KEPT])

    def _header(self, cookie: str, scope: Message) -> tuple[bytes, bytes]:
        secure = "; Secure" if scope["origin"].startswith("https:") else ""
        return (b"set-cookie", f"{cookie}; Path=/; HttpOnly; SameSite=Strict{secure}".encode())

    async def _sign_in(self, beyond: Beyond, scope: Message, receive: Receive, send: Send) -> None:
        if scope["method"] != "POST":
            await self._show_sign_in(200, "Sign in to your journal.", "", scope, send)
            return
        try:
            refuse_foreign_form(scope, scope["origin"])
            passphrase = (await form_fields(receive)).get("passphrase", "")
            value = await beyond.sign_in.attempt(passphrase[: MOST + 1])
        except TooOftenError as error:
            await self._show_sign_in(429, "This journal is private.", f"{error.problem} {error.next_step}", scope, send)
        except RefusedError as error:
            await respond(send, error.status, f"{error.problem} {error.next_step}\n")
        else:
            if value is None:
                await self._show_sign_in(403, "This journal is private.", "That is not the passphrase.", scope, send)
                return
            cookie = self._header(f"{self.signed_in_cookie}={value}", scope)
            await respond(send, 303, "", [(b"location", b"/"), cookie])

    async def _sign_out(self, scope: Message, send: Send) -> None:
        try:
            refuse_foreign_form(scope, scope["origin"])
        except RefusedError as error:
            await respond(send, error.status, f"{error.problem} {error.next_step}\n")
            return
        value = _cookies(scope).get(self.signed_in_cookie)
        if self.reach.beyond is not None and value is not None:
            self.reach.beyond.sign_in.leave(value)
        gone = self._header(f"{self.signed_in_cookie}=; Max-Age=0", scope)
        await respond(send, 303, "", [(b"location", b"/"), gone])

    async def _show_sign_in(self, status: int, sentence: str, said: str, scope: Message, send: Send) -> None:
        is_encrypted = scope["origin"].startswith("https:") or self._is_here(scope)
        words = {"sentence": sentence, "said": said, "style": self.style, "is_encrypted": is_encrypted}
        page = self._sign_in_page.render(words)
        await respond(send, status, page, [HTML, NOT_KEPT, TO_OURSELVES])


def _cookies(scope: Message) -> dict[str, str]:
    try:
        found = SimpleCookie(header(scope, b"cookie"))
    except CookieError:
        return {}
    return {name: morsel.value for name, morsel in found.items()}


def _word(scope: Message, name: str) -> str | None:
    """What the address says of this name, the first time; `None` where it says nothing."""
    asked: bytes = scope["query_string"]
    found = parse_qs(asked.decode("latin-1"), keep_blank_values=True).get(name)
    return found[0] if found else None
