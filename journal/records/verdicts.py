"""What somebody said about a frame, and what a session's verdicts say together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from journal.records.planned import PlannedAgainstUsed


@dataclass(frozen=True, slots=True)
class Verdict:
    """`keeper`, `reject` or `unjudged`, with every fault that is visible on a reject.

    `judged_at` and `judged_by` are None unless the source says them itself, as a table of verdicts may.
    """

    frame_id: int
    verdict: str
    faults: tuple[str, ...] = ()
    judged_at: datetime | None = None
    judged_by: str | None = None


@dataclass(frozen=True, slots=True)
class Takeaway:
    """What one session's verdicts and settings say; `sentence` is the one thing to take away."""

    session_id: int
    intent: str
    n_frames: int
    n_bursts: int
    n_judged: int
    n_judged_bursts: int
    n_keepers: int
    n_rejects: int
    commonest_fault: str | None
    n_commonest_fault: int
    plan: tuple[PlannedAgainstUsed, ...]
    sentence: str
