"""Who may enter: the holder of the link, on this machine, under this machine's own name.

Any local user can open a loopback port, and any web page can name one; so every request must carry a cookie that only
the printed link gives, and a Host header that is loopback.
"""

from __future__ import annotations

import hmac
from http.cookies import CookieError, SimpleCookie
from typing import Any

COOKIE = "thirdstop_entry"
#: The only scripts, styles and pictures are our own; nothing is inline, nothing may frame a page.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: Datasette's own pages bring styles in the page; their scripts do not run, and they work without.
TABLES_POLICY = POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")
HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)
REFUSED = b"Open the journal with the link that `thirdstop serve` printed."
WRONG_HOST = b"This address is not the journal's."

Scope = dict[str, Any]


def has_entered(scope: Scope, entry: str) -> bool:
    """Whether the request carries the cookie of this run."""
    header = _header(scope, b"cookie")
    try:
        morsel = SimpleCookie(header).get(COOKIE)
    except CookieError:
        return False
    return morsel is not None and hmac.compare_digest(morsel.value.encode(), entry.encode())


def is_our_host(scope: Scope, port: int) -> bool:
    """Whether the Host header names loopback and our port; a page elsewhere that resolves to loopback does not."""
    return _header(scope, b"host") in (f"127.0.0.1:{port}", f"localhost:{port}")


def _header(scope: Scope, name: bytes) -> str:
    return next((value.decode("latin-1") for key, value in scope["headers"] if key == name), "")


def guarded(app: Any, entry: str, port: int) -> Any:
    """The application behind the door: wrong host 421, no cookie 403; the link gives the cookie."""

    async def guard(scope: Scope, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            await app(scope, receive, send)
        elif not is_our_host(scope, port):
            await _answer(send, 421, WRONG_HOST)
        elif scope["path"] == f"/enter/{entry}":
            cookie = f"{COOKIE}={entry}; HttpOnly; SameSite=Strict; Path=/"
            await _answer(send, 302, b"", [(b"location", b"/"), (b"set-cookie", cookie.encode())])
        elif not has_entered(scope, entry):
            await _answer(send, 403, REFUSED)
        elif scope["method"] not in ("GET", "HEAD"):
            await _answer(send, 405, b"These pages are for reading.")
        else:
            await app(scope, receive, _with_headers(send, scope["path"]))

    return guard


def _with_headers(send: Any, path: str) -> Any:
    """Adds our headers to every answer; ours win."""
    policy = POLICY if is_own_page(path) else TABLES_POLICY
    ours = [*HEADERS, (b"content-security-policy", policy.encode())]
    names = {name for name, _value in ours}

    async def send_with(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            kept = [pair for pair in message.get("headers", []) if pair[0].lower() not in names]
            message = message | {"headers": [*kept, *ours]}
        await send(message)

    return send_with


def is_own_page(path: str) -> bool:
    """Whether a path is one of our pages, and not one of Datasette's."""
    return path == "/" or path.startswith(("/sessions/", "/previews/", "/notebook/"))


async def _answer(send: Any, status: int, body: bytes, headers: list[tuple[bytes, bytes]] | None = None) -> None:
    plain = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-security-policy", b"default-src 'none'")]
    start = {"type": "http.response.start", "status": status, "headers": [*plain, *HEADERS, *(headers or [])]}
    await send(start)
    await send({"type": "http.response.body", "body": body})
