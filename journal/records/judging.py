"""What a person sees while judging: a frame with its newest verdict and its suggestion, a burst of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from journal.records.measures import Suggestion


@dataclass(frozen=True, slots=True)
class FrameToJudge:
    """One frame; `verdict_id` is what a client hands back to say which verdict it has seen, `why_unexamined` why its
    picture could not be examined, where that was tried in vain."""

    frame_id: int
    session_id: int | None
    burst_id: int | None
    position_in_burst: int | None
    file_name: str
    taken_at: str | None
    exposure_time_s: float | None
    f_number: float | None
    iso: int | None
    focal_length_mm: float | None
    verdict: str
    faults: tuple[str, ...]
    verdict_id: int | None
    has_preview: bool
    suggestion: Suggestion | None
    why_unexamined: str | None = None


@dataclass(frozen=True, slots=True)
class BurstToJudge:
    """Frames in quick succession, in their order; how many bursts of the session have unjudged frames."""

    burst_id: int
    session_id: int
    frames: tuple[FrameToJudge, ...]
    n_bursts_left: int


@dataclass(frozen=True, slots=True)
class Given:
    """A verdict that was recorded: its id, the judging by which it can be taken back, and whether it was."""

    frame_id: int
    verdict_id: int
    judging_id: int
    is_taken_back: bool = False


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A judging that was taken back, and the frames whose verdict is another one now."""

    judging_id: int
    description: str
    made_at: str
    n_verdicts: int
    frame_ids: tuple[int, ...]
    n_unjudged: int
