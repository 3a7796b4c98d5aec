"""How anything is answered: whole answers with the headers that every one of them carries."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, MutableMapping

    Message = MutableMapping[str, Any]
    Receive = Callable[[], Awaitable[Message]]
    Send = Callable[[Message], Awaitable[None]]
    Application = Callable[[Message, Receive, Send], Awaitable[None]]

#: What our own pages may load: files of this server, nothing inline, nothing foreign.
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: Datasette's own pages carry inline styles; their inline scripts stay switched off, and the pages work without.
TABLE_POLICY = PAGE_POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")
#: Headers of every answer.
ALWAYS = (
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
#: No address leaves this server. A page with a form names its own origin to it, or a browser would call that null.
NO_ADDRESS, TO_OURSELVES = (b"referrer-policy", b"no-referrer"), (b"referrer-policy", b"same-origin")


async def respond(
    send: Send, status: int, content: str | bytes, headers: list[tuple[bytes, bytes]] | None = None
) -> None:
    """Sends a whole answer; text unless a header says otherwise."""
    body = content.encode() if isinstance(content, str) else content
    named = headers or []
    if not any(name == b"content-type" for name, _ in named):
        named = [*named, (b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store")]
    length = (b"content-length", str(len(body)).encode())
    policy = (b"content-security-policy", PAGE_POLICY.encode())
    referrer = [] if TO_OURSELVES in named else [NO_ADDRESS]
    everything = [*named, length, policy, *referrer, *ALWAYS]
    await send({"type": "http.response.start", "status": status, "headers": everything})
    await send({"type": "http.response.body", "body": body})


class RefusedError(JournalError):
    """A request that is not answered as it was meant, with its HTTP status."""

    def __init__(self, status: int, problem: str, next_step: str) -> None:
        super().__init__(problem, next_step)
        self.status = status


async def body_of(receive: Receive, most_bytes: int) -> bytes | None:
    """What was posted; `None` where it is more than that."""
    body, is_more = b"", True
    while is_more:
        message = await receive()
        body += message.get("body", b"")
        is_more = message["type"] == "http.request" and message.get("more_body", False)
        if len(body) > most_bytes:
            return None
    return body


def with_headers(send: Send, policy: str) -> Send:
    """The same answer with the headers of a page."""
    ours = [(b"content-security-policy", policy.encode()), TO_OURSELVES, *ALWAYS]
    names = {name for name, _ in ours}

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [(name, value) for name, value in message.get("headers", []) if name.lower() not in names]
            message = {**message, "headers": [*kept, *ours]}
        await send(message)

    return sending


def sparing(send: Send, from_status: int = 500) -> Send:
    """Says of what went wrong only that it did: the reason may name files of this machine."""
    is_hidden = False

    async def sending(message: Message) -> None:
        nonlocal is_hidden
        if message["type"] == "http.response.start":
            is_hidden = message["status"] >= from_status
            if is_hidden:
                words = "There is nothing to see here just now.\n"
                await respond(send, message["status"], words)
        if not is_hidden:
            await send(message)

    return sending


def header(scope: Message, name: bytes) -> str:
    """A header that came exactly once; two of a kind are as good as none."""
    found = [value for key, value in scope["headers"] if key == name]
    return found[0].decode("latin-1").lower() if name == b"host" and len(found) == 1 else _only(found)


def _only(found: list[bytes]) -> str:
    return found[0].decode("latin-1") if len(found) == 1 else ""
