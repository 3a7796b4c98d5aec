"""The judging page's own requests, in JSON: bursts to judge, the token of this run, a verdict, taking it back.

They are answered before Datasette, which has no part in writing. A posting must come from a page of this server
(`Origin`, and `Sec-Fetch-Site` where the browser sends it) and carry the token, which only such a page can read.
"""

from __future__ import annotations

import hmac
import json
import re
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

from analytics.dashboards.answering import RefusedError, body_of, header, respond
from analytics.dashboards.desk import Desk, Posted, as_json
from journal.errors import JournalError
from journal.records.verdicts import Verdict
from journal.store.judging import JudgedMeanwhileError
from journal.store.verdicts import refuse_nonsense

if TYPE_CHECKING:
    from analytics.dashboards.answering import Message, Receive, Send

TOKEN_PATH = "/judge/token"  # noqa: S105 - where it is asked for, not what it is
VERDICTS_PATH, TAKE_BACK_PATH = "/judge/verdicts", "/judge/take-back"
BURSTS_PATH = re.compile(r"/judge/(\d{1,18})/bursts")
#: Paths that are only posted to.
WRITES = frozenset({VERDICTS_PATH, TAKE_BACK_PATH})
#: A posting is a few hundred bytes.
MOST_BYTES = 4096
#: The largest number of a row in SQLite.
LARGEST_NUMBER = 2**63 - 1
#: What a page may call a posting.
TOLD = re.compile(r"[0-9a-f]{16}\.\d{1,9}")
#: What each posting holds.
FIELDS = {
    VERDICTS_PATH: {"journal", "frame", "verdict", "faults", "expected", "told"},
    TAKE_BACK_PATH: {"journal", "frame", "told"},
}


def is_of_desk(path: str) -> bool:
    """Whether the path is answered here."""
    return path == TOKEN_PATH or path in WRITES or BURSTS_PATH.fullmatch(path) is not None


async def answer_desk(scope: Message, receive: Receive, send: Send, token: str, desk: Desk) -> None:
    """Answers one request of a visitor who was let in."""
    path = scope["path"]
    data: dict[str, Any] | str
    try:
        if path in WRITES:
            refuse_foreign(scope, token)
            status, data = 200, await _write(path, await posted_data(receive), desk)
        elif match := BURSTS_PATH.fullmatch(path):
            status, data = 200, await _bursts(int(match[1]), scope, desk)
        else:
            status, data = 200, {"token": token}
    except JudgedMeanwhileError as error:
        frame = await desk.frame(error.frame.frame_id)
        status, data = 409, {**told_of(error), "frame": frame}
    except RefusedError as error:
        status, data = error.status, told_of(error)
    except JournalError as error:  # another program is writing, or the disk is full: it is worth trying again
        status, data = 503, told_of(error)
    await respond_json(send, status, data)


async def respond_json(send: Send, status: int, data: dict[str, Any] | str) -> None:
    """Sends an answer that is only true now; a text is JSON already."""
    kind = [(b"content-type", b"application/json; charset=utf-8"), (b"cache-control", b"no-store")]
    await respond(send, status, data if isinstance(data, str) else as_json(data), kind)


def refuse_foreign(scope: Message, token: str) -> None:
    """Refuses a posting that no page of this server sent.

    Raises:
        RefusedError: another origin, no origin, no token of this run, or a form.
    """
    if header(scope, b"origin") != scope["origin"] or header(scope, b"sec-fetch-site") not in ("", "same-origin"):
        raise RefusedError(403, "Only pages of this journal may change it.", "Judge on the page itself.")
    if not hmac.compare_digest(header(scope, b"x-thirdstop-token").encode("latin-1"), token.encode()):
        raise RefusedError(403, "The server was started anew since this page was opened.", "Open its new link.")
    if header(scope, b"content-type") != "application/json":
        raise RefusedError(415, "Verdicts are posted as JSON.", "Judge on the page itself.")


async def posted_data(receive: Receive) -> dict[str, Any]:
    """What was posted.

    Raises:
        RefusedError: too much, or no JSON object.
    """
    body = await body_of(receive, MOST_BYTES)
    if body is None:
        raise RefusedError(413, "That is more than a verdict needs.", "Judge on the page itself.")
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise unreadable()
    return found


async def _write(path: str, posted: dict[str, Any], desk: Desk) -> dict[str, Any]:
    if set(posted) != FIELDS[path]:
        raise unreadable()
    frame, told = posted_place(posted)
    if posted["journal"] != desk.journal_id:
        raise RefusedError(400, "This verdict belongs to another journal.", "Open that journal to give it.")
    verdict = posted_verdict(posted) if path == VERDICTS_PATH else None
    try:
        await desk.frame(frame)
    except JournalError as error:
        raise RefusedError(404, error.problem, error.next_step) from error
    if verdict is None:
        return {"frame": await desk.take_back(frame, told)}
    return {"frame": await desk.give(Posted(verdict, posted["expected"], told))}


def posted_place(posted: dict[str, Any]) -> tuple[int, str]:
    """The frame that a posting is about, and the posting's own name.

    Raises:
        RefusedError: one of them is missing or is something else.
    """
    told, frame = posted.get("told"), posted.get("frame")
    if not isinstance(told, str) or not TOLD.fullmatch(told) or not isinstance(frame, int) or not _is_number(frame):
        raise unreadable()
    return frame, told


def posted_verdict(posted: dict[str, Any]) -> Verdict:
    """The verdict in a posting.

    Raises:
        RefusedError: it is none that a journal can hold.
    """
    word, faults, expected = posted["verdict"], posted["faults"], posted["expected"]
    if not (isinstance(word, str) and isinstance(faults, list) and all(isinstance(fault, str) for fault in faults)):
        raise unreadable()
    if expected is not None and not _is_number(expected):
        raise unreadable()
    verdict = Verdict(posted["frame"], word, tuple(faults))
    try:
        refuse_nonsense(verdict)
    except JournalError as error:
        raise RefusedError(400, error.problem, error.next_step) from error
    return verdict


async def _bursts(session_id: int, scope: Message, desk: Desk) -> str:
    asked = parse_qs(scope["query_string"].decode("latin-1"))
    after = (asked.get("after") or [""])[0]
    number = int(after) if after.isascii() and after.isdecimal() and len(after) < 19 else None
    return await desk.bursts(session_id, number, asked.get("all") == ["1"])


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value <= LARGEST_NUMBER


def unreadable() -> RefusedError:
    """What is said of a posting that no page of ours sends."""
    return RefusedError(400, "That is no verdict.", "Judge on the page itself.")


def told_of(error: JournalError) -> dict[str, Any]:
    """An error as the page's script reads it."""
    return {"problem": error.problem, "next_step": error.next_step}
