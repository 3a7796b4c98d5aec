"""Puts a publication together: pages, the table of frames, pictures, and what to say at its foot."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.session import shape
from analytics.publish.builders import build_pages
from analytics.publish.material import Material
from analytics.publish.packing import Document
from analytics.publish.pictures import by_worth, pictures
from analytics.publish.privacy import NEVER, left_out
from analytics.publish.session_parts import shape_names
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from analytics.dataset import OpenJournal
    from analytics.pages.privacy import Asked
    from analytics.publish.blocks import Page
    from analytics.publish.material import Chosen
    from analytics.publish.privacy import LeftOut

#: Most pictures unless more are asked for: a single file then still fits into a mail.
PICTURES = 400
#: Said whenever pictures leave the journal.
CAUTIONS = (
    "Before you hand this on: people who did not agree to it, and children in particular, come first, and so does "
    "the law of the place; of nests, dens and roosts publish no location, nor a picture that shows it."
)


@dataclass(frozen=True, slots=True)
class Publication:
    """A document and what to tell about it."""

    document: Document
    n_sessions: int
    n_frames: int
    n_pictures: int
    left_out: list[LeftOut]

    def report(self) -> list[str]:
        """What is in it, what was left out, and what to mind."""
        counts = [
            format_count(self.n_sessions, "session"),
            format_count(self.n_frames, "frame"),
            format_count(self.n_pictures, "picture"),
        ]
        held = f"In it: {', '.join(counts)}."
        caution = [CAUTIONS] if self.n_pictures else []
        return [held, *(kind.sentence for kind in self.left_out), NEVER, *caution]

    def as_json(self) -> dict[str, Any]:
        """For scripts."""
        return {
            "simulated": self.document.simulated,
            "n_sessions": self.n_sessions,
            "n_frames": self.n_frames,
            "n_pictures": self.n_pictures,
            "left_out": [asdict(kind) for kind in self.left_out],
        }


@dataclass(frozen=True, slots=True)
class Request:
    """What is wanted: the sessions and frames, what is private, how many pictures, and the day it is made on."""

    chosen: Chosen
    asked: Asked
    n_pictures: int
    made_on: date


def compose(
    journal: OpenJournal,
    request: Request,
    title: str = "thirdstop",
    preface: Callable[[Material, list[Page]], tuple[list[Page], dict[str, Any]]] | None = None,
) -> Publication:
    """Reads all of it at one moment of the journal.

    Args:
        journal: the journal.
        request: what is wanted.
        title: of the document.
        preface: makes the pages that come first in a review, and its data; given the material and the other pages.
    """
    with journal.snapshot():
        material = Material(journal, request.chosen, request.asked)
        pages = build_pages(material)
        first, review = preface(material, pages) if preface else ([], None)
        pages = [*first, *pages]
        shown = [*request.chosen.frames, *(number for page in pages for number in page.frames())]
        frames = material.frames(shown)
        order = by_worth(journal, request.chosen.sessions, shown)
        made = pictures(journal, order, request.n_pictures)
        private = left_out(journal, request.asked, request.chosen.sessions, shown)
        sessions = material.sessions
    document = Document(
        title=title,
        simulated=material.simulated,
        pages=pages,
        data={"sessions": sessions, "shapes": {name: shape(name) for name in shape_names(sessions)}, "frames": frames},
        pictures=made,
        made_on=request.made_on,
        not_in_it=[kind.name for kind in private if not kind.is_shown],
        review=review,
    )
    return Publication(document, len(sessions), len(frames["number"]), len(made), private)
