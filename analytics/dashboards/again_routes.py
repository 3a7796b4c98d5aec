"""Requests of judging again, in JSON: pictures, what is said of one, taking it back, beginning and putting off.

They are checked as every writing request is: from a page of this server, with the token of this run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

from analytics.dashboards.answering import RefusedError
from analytics.dashboards.desk_routes import (
    posted_data,
    posted_place,
    posted_verdict,
    refuse_foreign,
    respond_json,
    told_of,
    unreadable,
)
from journal.errors import JournalError

if TYPE_CHECKING:
    from analytics.dashboards.again import Again
    from analytics.dashboards.answering import Message, Receive, Send

PICTURES_PATH = "/judge/again/bursts"
SAY_PATH, TAKE_BACK_PATH = "/judge/again/verdicts", "/judge/again/take-back"
BEGIN_PATH, PUT_OFF_PATH = "/judge/again/begin", "/judge/again/put-off"
#: What each posting holds; `expected` is what the judging page sends along, for here the last one counts.
FIELDS = {
    SAY_PATH: {"journal", "frame", "verdict", "faults", "expected", "told"},
    TAKE_BACK_PATH: {"journal", "frame", "told"},
    BEGIN_PATH: {"journal"},
    PUT_OFF_PATH: {"journal"},
}
#: Paths that are only posted to.
AGAIN_WRITES = frozenset(FIELDS)


def is_of_again(path: str) -> bool:
    """Whether the path is answered here."""
    return path == PICTURES_PATH or path in AGAIN_WRITES


async def answer_again(scope: Message, receive: Receive, send: Send, token: str, again: Again) -> None:
    """Answers one request of a visitor who was let in."""
    path = scope["path"]
    try:
        if path in AGAIN_WRITES:
            refuse_foreign(scope, token)
            status, data = 200, await _write(path, await posted_data(receive), again)
        else:
            asked = (parse_qs(scope["query_string"].decode("latin-1")).get("after") or [""])[0]
            after = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 19 else 0
            status, data = 200, await again.pictures(after)
    except RefusedError as error:
        status, data = error.status, told_of(error)
    except JournalError as error:
        status, data = 503, told_of(error)
    await respond_json(send, status, data)


async def _write(path: str, posted: dict[str, Any], again: Again) -> dict[str, Any]:
    if set(posted) != FIELDS[path]:
        raise unreadable()
    if posted["journal"] != again.journal_id:
        raise RefusedError(400, "This verdict belongs to another journal.", "Open that journal to give it.")
    if path == BEGIN_PATH:
        await _begin(again)
        return {}
    if path == PUT_OFF_PATH:
        await again.put_off()
        return {}
    frame, told = posted_place(posted)
    verdict = posted_verdict(posted) if path == SAY_PATH else None
    if verdict is not None and verdict.verdict == "unjudged":
        raise unreadable()
    try:
        await again.known(frame)
    except JournalError as error:
        raise RefusedError(404, error.problem, error.next_step) from error
    return await (again.take_back(frame, told) if verdict is None else again.say(verdict, told))


async def _begin(again: Again) -> None:
    """Begins a round; that there is too little to choose from is an answer, not a failure of the journal."""
    try:
        await again.begin()
    except JournalError as error:
        raise RefusedError(409, error.problem, error.next_step) from error
