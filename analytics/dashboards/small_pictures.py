"""Frames as small pictures with their settings under them, as every page of the server shows them.

Written here and not as a template: a session shows hundreds of them, and a template takes twice as long.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.pages.session import FrameCard

#: A space within the name of a fault, which no line ends at.
WITHIN_A_NAME = re.compile(r"(?<!,) ")
#: In the place of a picture that is not there.
BLANK = '<span class="blank">no preview</span>'
#: Texts that are kept.
TEXTS_KEPT = 2000


@dataclass(frozen=True, slots=True)
class Shown:
    """What is shown of each frame, and what stands beside it.

    Attributes:
        run: of the server, so that a browser keeps no preview of an earlier one.
        tables_url: where the tables are, for the page of the frame; nothing for a mentor.
        with_session: the session that a frame belongs to is named.
        against: a frame that each can be laid beside.
        is_own_page: it is the page of this frame, which needs no link to itself.
        is_shown_larger: the page shows the picture itself.
    """

    run: str
    tables_url: str | None = None
    with_session: bool = False
    against: int | None = None
    is_own_page: bool = False
    is_shown_larger: bool = False


def small_pictures(frames: Iterable[FrameCard], run: str, **more: Any) -> Markup:
    """A list of frames.

    Args:
        frames: in their order. What a file or a person named is escaped here.
        run: see `Shown`.
        more: the other attributes of `Shown`.
    """
    shown = Shown(run, **more)
    items = "\n".join(_item(frame, shown) for frame in frames)
    look = "burst alone" if shown.is_own_page else "burst"
    return Markup(f'<ul class="{look}">\n{items}\n</ul>\n')  # noqa: S704 - all that is in it was escaped


def _item(frame: FrameCard, shown: Shown) -> str:
    number, verdict = frame.frame_id, _text(frame.verdict)
    faults = f": {_faults(frame.faults)}" if frame.faults else ""
    at = f"{_text(frame.at)}<br>\n  " if frame.at else ""
    return (
        f'<li>\n  {_picture(frame, shown)}\n  <span class="dot {verdict}" aria-hidden="true"></span> {verdict}{faults}'
        f"<br>\n  {_text(frame.settings)}<br>\n  {at}{_name(frame, shown)} {escape(frame.file_name)}"
        f"{_ways(number, shown)}\n</li>"
    )


def _picture(frame: FrameCard, shown: Shown) -> str:
    if shown.is_shown_larger:
        return ""
    if not frame.has_preview:
        return BLANK
    address = f"/previews/{frame.frame_id}.webp?run={_text(shown.run)}"
    return f'<img src="{address}" loading="lazy" width="240" height="160" alt="Preview of frame {frame.frame_id}">'


def _name(frame: FrameCard, shown: Shown) -> str:
    number = frame.frame_id
    name = f"Frame {number}" if shown.is_own_page else f'<a href="/frames/{number}">Frame {number}</a>'
    if not (shown.with_session and frame.session_id):
        return name
    return f'{name} of <a href="/sessions/{frame.session_id}">session {frame.session_id}</a>'


def _ways(number: int, shown: Shown) -> str:
    """Links to what else can be looked at."""
    ways = ""
    if shown.against:
        ways = f'<br>\n  <a href="/frames/{shown.against}/{number}">beside frame {shown.against}</a>'
    if shown.is_own_page and shown.tables_url:
        stored = f"{_text(shown.tables_url)}/frames/{number}"
        ways += f'<br>\n  <a class="way" href="{stored}">all that is stored of it</a>'
    return ways


@lru_cache(maxsize=TEXTS_KEPT)
def _faults(faults: str) -> Markup:
    """The names of faults, none of which is broken."""
    return escape(WITHIN_A_NAME.sub("\u00a0", faults))


@lru_cache(maxsize=TEXTS_KEPT)
def _text(text: str) -> str:
    """Escaped; frames of a burst share all but their names."""
    return str(escape(text))
