"""Old frames that are judged again, blind: how things stand, and what may be seen of one of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class AgainState:
    """Whether a round is `open`, a new one `due`, or neither (`rest`); the pictures are those of the latest round."""

    kind: Literal["open", "due", "rest"]
    round_id: int | None = None
    n_pictures: int = 0
    n_left: int = 0


@dataclass(frozen=True, slots=True)
class OldPicture:
    """One frame as it may be seen while it is judged again: no old verdict, no name, no time, no suggestion.

    `verdict` and `faults` are what was said of it in this round.
    """

    frame_id: int
    place: int
    exposure_time_s: float | None
    f_number: float | None
    iso: int | None
    focal_length_mm: float | None
    verdict: str
    faults: tuple[str, ...]
    has_original: bool


@dataclass(frozen=True, slots=True)
class SaidAgain:
    """Who says it, when, and under which name of the posting, so that what is sent twice is given once."""

    told: str
    judged_by: str
    judged_at: datetime
