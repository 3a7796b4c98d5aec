"""What the judging page shows of a frame, of a burst and of a session, as plain data that the page's script reads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.dataset.opened import SIMULATED
from analytics.pages.privacy import local_moment
from analytics.pages.session import settings_in_words
from journal.errors import JournalError
from journal.notation import format_count, format_faults
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    from collections.abc import Collection

    from analytics.dataset import OpenJournal
    from journal.records.anchors import OldPicture
    from journal.records.judging import FrameToJudge
    from journal.records.measures import Suggestion
    from journal.records.verdicts import Verdict


@dataclass(frozen=True, slots=True)
class FaultKey:
    """A fault and the key that names it: its first letter, which the page underlines."""

    fault: str

    @property
    def letter(self) -> str:
        """The key."""
        return self.fault[0]


#: Every fault begins with a letter of its own, and none with k or r, which name the verdicts.
FAULT_KEYS = tuple(FaultKey(fault) for fault in FAULTS)


@dataclass(frozen=True, slots=True)
class JudgePage:
    """What the judging page of a session says before its script runs."""

    number: int
    heading: str
    simulated: str | None
    n_frames: int
    n_unjudged: int
    day: str
    faults: tuple[FaultKey, ...] = FAULT_KEYS

    @property
    def sentence(self) -> str:
        """How much there is to do."""
        if not self.n_frames:
            return "No frame of this session has been imported yet."
        if not self.n_unjudged:
            return "Its one frame is judged." if self.n_frames == 1 else f"All {self.n_frames:,} frames are judged."
        is_are = "is" if self.n_unjudged == 1 else "are"
        return f"{self.n_unjudged} of {format_count(self.n_frames, 'frame')} {is_are} still unjudged."


@dataclass(frozen=True, slots=True)
class SessionToJudge:
    """A session with unjudged frames, as the list of them names it."""

    number: int
    day: str
    intent: str
    n_frames: int
    n_unjudged: int


@dataclass(frozen=True, slots=True)
class ToJudge:
    """The sessions with unjudged frames, the latest first, and how many frames of sessions there are at all."""

    sessions: tuple[SessionToJudge, ...]
    simulated: str | None
    n_frames: int

    @property
    def sentence(self) -> str:
        """What there is to do."""
        if not self.n_frames:
            return "There is no frame to judge yet. Next: thirdstop import CARD"
        if not self.sessions:
            return "Every frame that belongs to a session is judged."
        n_unjudged = sum(session.n_unjudged for session in self.sessions)
        frames, sessions = format_count(n_unjudged, "frame"), format_count(len(self.sessions), "session")
        return f"{frames} of {sessions} {'is' if n_unjudged == 1 else 'are'} still unjudged."


def to_judge(journal: OpenJournal) -> ToJudge:
    """The sessions that have unjudged frames."""
    with journal.snapshot():
        rows = journal.kept_rows(queries.SESSIONS_TO_JUDGE)
        n_frames = journal.kept_rows(queries.TOTALS)[0]["n_frames"]
        return ToJudge(tuple(SessionToJudge(**row) for row in rows), journal.simulated(), n_frames)


def judge_page(journal: OpenJournal, number: int) -> JudgePage:
    """The judging page of one session.

    Raises:
        JournalError: there is no such session.
    """
    found = journal.rows(queries.ONE_SESSION, {"number": number})
    if not found:
        raise JournalError(
            f"There is no session {number} in this journal.", "List the sessions with: thirdstop sessions"
        )
    session = found[0]
    return JudgePage(
        number=number,
        heading=session["intent"],
        simulated=SIMULATED if session["is_simulated"] else None,
        n_frames=session["n_frames"],
        n_unjudged=session["n_frames"] - session["n_judged"],
        day=local_moment(session["started_at"], session["time_zone"])[:10],
    )


def frame_data(frame: FrameToJudge, accepted: Verdict | None, piece: str | None) -> dict[str, Any]:
    """One frame for the page's script.

    Args:
        frame: as it is now.
        accepted: the verdict that taking its suggestion gives, or None.
        piece: what its piece at full size is taken from; None where the journal knows no picture file of it.
    """
    return {
        "id": frame.frame_id,
        "burst": frame.burst_id,
        "name": frame.file_name,
        "day": (frame.taken_at or "")[:10],
        "at": (frame.taken_at or "")[11:19],
        "settings": settings_words(frame),
        "verdict": frame.verdict,
        "faults": list(frame.faults),
        "verdict_id": frame.verdict_id,
        "preview": frame.has_preview,
        "original": piece is not None,
        "piece": piece,
        "suggested": suggestion_words(frame.suggestion, accepted, frame.why_unexamined),
        "evidence": [] if frame.suggestion is None else list(frame.suggestion.evidence),
        "take": None if accepted is None else {"verdict": accepted.verdict, "faults": list(accepted.faults)},
    }


def settings_words(frame: FrameToJudge | OldPicture) -> str:
    """The settings as they are written under a picture."""
    return settings_in_words(frame.exposure_time_s, frame.f_number, frame.iso, frame.focal_length_mm)


def suggestion_words(suggestion: Suggestion | None, accepted: Verdict | None, unexamined: str | None = None) -> str:
    """What is suggested, with probabilities, never more than that; or why the picture could not be examined."""
    if suggestion is None and unexamined is not None:
        return f"none, for the picture could not be examined: {unexamined.removesuffix('.')}"
    if suggestion is None:
        return "none, not examined yet (thirdstop examine)"
    if accepted is None:
        perhaps = "" if suggestion.fault is None else f"; perhaps {_with_chances([suggestion.fault], suggestion)[0]}"
        return f"none, for the picture does not tell{perhaps}"
    if accepted.verdict == "keeper":
        return "keeper; no fault stands out"
    return f"reject {format_faults(_with_chances(accepted.faults, suggestion))}"


def _with_chances(faults: Collection[str], suggestion: Suggestion) -> list[str]:
    return [f"{fault} (probability {suggestion.probabilities[fault]:.2f})" for fault in faults]
