"""Links that let a mentor in, and what a mentor says on a page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MentorLink:
    """A link that was made for a mentor; `key` is a random text that stands, signed, in the link."""

    number: int
    key: str
    mentor: str
    made_at: str
    expires_at: str
    withdrawn_at: str | None

    def state(self, now: str) -> str:
        """`open`, `expired` or `withdrawn` at a moment as the journal stores it."""
        if self.withdrawn_at is not None:
            return "withdrawn"
        return "open" if now < self.expires_at else "expired"


@dataclass(frozen=True, slots=True)
class Place:
    """What a comment is about: the `whole`, a `session`, a `frame` or a `habit`, and which."""

    about: str
    number: int | None = None
    habit: str | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """What a mentor says on one page at once: a comment, or what they would have done with a frame, or both.

    `body` and `verdict` (`keeper`, `reject`) are empty where there is none. `key` is random; what comes again under it
    is known.
    """

    key: str
    place: Place
    body: str
    verdict: str = ""
    faults: tuple[str, ...] = ()
