"""What leaves the journal only when it is asked for by name, and what never leaves it this way, as a report.

The rule itself is in `analytics.pages.privacy`, for a mentor's pages keep to it too.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.queries.publishing import PRIVATE_TEXTS
from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analytics.dataset import OpenJournal
    from analytics.pages.privacy import Asked

#: What no option publishes.
NEVER = (
    "Never published: file paths, keywords and labels, ids of pictures, who judged, "
    "positions of single frames, and whatever stands in the pictures' own files."
)
#: Name of each kind of text in the report, the column that counts it, the option that asks for it, and what it counts.
KINDS = (
    ("intents in words", "n_intents", "--with-intents", "session"),
    ("the light in words", "n_light", "--with-light", "session"),
    ("notes", "n_notes", "--with-notes", "session"),
    ("places and time zones", "n_places", "--with-places", "session"),
    ("positions and the sun's height", "n_positions", "--with-positions", "session"),
    ("serial numbers", "n_serials", "--with-serials", "body"),
    ("file names", "n_file_names", "--with-file-names", "frame"),
)
PLURALS = {"body": "bodies"}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One kind of private text: how many there are, and whether they were asked for."""

    name: str
    n: int
    option: str
    noun: str
    is_shown: bool

    @property
    def sentence(self) -> str:
        """Left out: notes of 12 sessions (--with-notes)."""
        counted = f"{self.n:,} {PLURALS[self.noun]}" if self.noun in PLURALS and self.n != 1 else ""
        counted = counted or format_count(self.n, self.noun)
        if self.is_shown:
            return f"Shown, as asked: {self.name} of {counted}."
        return f"Left out: {self.name} of {counted} ({self.option})."


def left_out(journal: OpenJournal, asked: Asked, sessions: Iterable[int], frames: Iterable[int]) -> list[LeftOut]:
    """What there is of each kind of private text in what is published, and whether it is shown.

    Args:
        journal: the journal.
        asked: what is to be shown.
        sessions: those that are published, with all of their frames.
        frames: those that are shown beside them.
    """
    shown_here = {"sessions": json.dumps(list(sessions)), "numbers": json.dumps(list(frames))}
    counts: dict[str, Any] = journal.rows(PRIVATE_TEXTS, shown_here)[0]
    shown = (
        asked.intents,
        asked.light,
        asked.notes,
        asked.places,
        asked.positions,
        asked.serials,
        asked.file_names,
    )
    return [
        LeftOut(name, counts[column], option, noun, is_shown)
        for (name, column, option, noun), is_shown in zip(KINDS, shown, strict=True)
        if counts[column]
    ]
