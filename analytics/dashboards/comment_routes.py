"""What a mentor posts: a plain form, so that it works without script, answered with a way back to its page.

It must come from a page of this server and hold the token that only such a page, shown to this mentor, can hold. Each
form has a key of its own; what is posted again under it is stored once.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from analytics.dashboards.answering import RefusedError, body_of, header, respond
from analytics.dashboards.visitors import FORM, Visitor
from analytics.statistics.habit_catalogue import BY_KEY
from journal.errors import JournalError
from journal.records.mentors import Place, Said
from journal.store.mentors import NothingToStoreError, TooMuchSaidError

if TYPE_CHECKING:
    from analytics.dashboards.answering import Message, Receive, Send
    from analytics.dashboards.visitors import Mentors

#: Where comments are posted, and where a mentor's own are listed.
COMMENTS_PATH = "/comments"
#: A comment of the longest kind in letters of four bytes, each written with three characters, and the other fields.
MOST_BYTES = 56_000
MOST_FIELDS = 20
FORM_TYPE = "application/x-www-form-urlencoded"
KEY = re.compile(r"[0-9a-f]{32}")
NUMBER = re.compile(r"\d{1,18}")
#: Control characters but for the tab and the line end, and those that turn the direction of what follows.
UNPRINTABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]")


def path_of(place: Place) -> str:
    """The page that is about a place."""
    where = {"session": f"/sessions/{place.number}", "frame": f"/frames/{place.number}"}
    return where.get(place.about, f"/habits/{place.habit}" if place.about == "habit" else "/")


async def answer_comment(scope: Message, receive: Receive, send: Send, mentors: Mentors) -> None:
    """Stores what a mentor posted and sends them back to the page."""
    visitor: Visitor = scope["visitor"]
    if visitor.link is None:
        await respond(send, 403, "Comments are a mentor's; the photographer's own words are notes.\n")
        return
    try:
        refuse_foreign_form(scope, scope["origin"])
        fields = await form_fields(receive)
        if mentors.signatures.key_in(FORM, fields.get("token", "")) != visitor.link.key:
            raise RefusedError(403, "This form is not of this page.", "Load the page again and write it there.")
        said = _said(fields)
        await mentors.say(said, visitor.link)
    except RefusedError as error:
        await respond(send, error.status, told(error))
    except TooMuchSaidError as error:
        await respond(send, 429, told(error))
    except NothingToStoreError as error:
        await respond(send, 400, told(error))
    except JournalError:  # another program is writing, or the disk is full; the reason may name files of this machine
        later = JournalError("The comment could not be stored just now.", "Try again in a minute.")
        await respond(send, 503, told(later))
    else:
        place = f"{path_of(said.place)}#comments".encode()
        await respond(send, 303, "", [(b"location", place)])


def told(error: JournalError) -> str:
    """What went wrong, in plain text."""
    return f"{error.problem} {error.next_step} What you wrote is still there when you go back.\n"


def refuse_foreign_form(scope: Message, origin: str) -> None:
    """Refuses a form that no page of this server sent.

    Raises:
        RefusedError: another origin, no origin, or no form.
    """
    if header(scope, b"origin") != origin or header(scope, b"sec-fetch-site") not in ("", "same-origin"):
        raise RefusedError(403, "Only pages of this journal may post here.", "Use the page itself.")
    if header(scope, b"content-type").partition(";")[0].strip().lower() != FORM_TYPE:
        raise RefusedError(415, "Only forms are taken here.", "Use the page itself.")


async def form_fields(receive: Receive) -> dict[str, str]:
    """The fields of a posted form, the faults joined by semicolons; each other field may come once.

    Raises:
        RefusedError: it is too large, or no form.
    """
    body = await body_of(receive, MOST_BYTES)
    if body is None:
        raise RefusedError(413, "That is more than a form can hold.", "Write less.")
    try:
        found = parse_qs(body.decode("ascii"), keep_blank_values=True, errors="strict", max_num_fields=MOST_FIELDS)
    except ValueError as error:  # not ASCII, not UTF-8 inside, or too many fields
        raise _unreadable() from error
    faults = ";".join(found.pop("fault", []))
    if any(len(values) != 1 for values in found.values()):
        raise _unreadable()
    return {name: values[0] for name, values in found.items()} | {"faults": faults}


def _said(fields: dict[str, str]) -> Said:
    if not KEY.fullmatch(fields.get("key", "")):
        raise _unreadable()
    faults = tuple(dict.fromkeys(fault for fault in fields["faults"].split(";") if fault))
    verdict = fields.get("verdict", "")
    return Said(fields["key"], _place(fields), cleaned(fields.get("body", "")), verdict, faults)


def _place(fields: dict[str, str]) -> Place:
    about, which = fields.get("about", ""), fields.get("which", "")
    if about in ("session", "frame") and NUMBER.fullmatch(which):
        return Place(about, number=int(which))
    if about == "habit" and which in BY_KEY:
        return Place(about, habit=which)
    if about == "whole" and not which:
        return Place(about)
    raise _unreadable()


def cleaned(text: str) -> str:
    """The text as it is stored: one kind of line end, no characters that cannot be seen, no blanks around it."""
    return UNPRINTABLE.sub("", text.replace("\r\n", "\n").replace("\r", "\n")).strip()


def _unreadable() -> RefusedError:
    return RefusedError(400, "That is no comment.", "Write it on the page itself.")
