"""A review that is handed to a mentor, and the answer that comes back from it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Review:
    """What was handed over; `key` is a random text that only the review and its answers know."""

    key: str
    made_at: str
    questions: tuple[str, ...]
    session_ids: tuple[int, ...]
    frame_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Comment:
    """What a mentor says about the whole, a question (by its number from 1), a session, a frame or a habit.

    `key` is a random text that tells this comment from all others; the places that it is not about are None.
    """

    key: str
    about: str
    body: str
    said_at: str
    question: int | None = None
    session_id: int | None = None
    frame_id: int | None = None
    habit: str | None = None


@dataclass(frozen=True, slots=True)
class MentorVerdict:
    """What the mentor would have done with a frame: `keeper` or `reject`, and its faults."""

    key: str
    frame_id: int
    verdict: str
    faults: tuple[str, ...]
    said_at: str


@dataclass(frozen=True, slots=True)
class Answer:
    """All that one file brings back. `mentor` is the name that it gives; nobody has verified it."""

    review_key: str
    mentor: str
    comments: tuple[Comment, ...]
    verdicts: tuple[MentorVerdict, ...]
