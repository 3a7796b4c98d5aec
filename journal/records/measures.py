"""What is examined of a picture and what came of it; a suggestion is never a verdict."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


#: How the description of a judging begins whose verdicts were taken from suggestions at one go; whoever asks how well
#: suggestions agree with a person must leave these verdicts out.
ACCEPTED = "suggestions accepted"
#: How the model's version ends where a suggestion was made from one picture alone, before its session was looked at.
ALONE = ", picture alone"


@dataclass(frozen=True, slots=True)
class ToExamine:
    """One frame with the file whose pixels stand for it; `settings` are columns of `frames`, unknown ones left out."""

    frame_id: int
    path: str
    kind: str
    size_bytes: int
    mtime_ns: int
    content_key: str
    settings: Mapping[str, Any] = field(default_factory=dict)

    @property
    def source(self) -> str:
        """What is looked at: the picture itself, or the preview inside a raw file."""
        return "embedded preview" if self.kind in ("raw", "dng") else "picture"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The suggested fault, if one stands out, with the probabilities of all and the evidence in sentences."""

    fault: str | None
    probability: float | None
    is_unsure: bool
    probabilities: Mapping[str, float]
    evidence: tuple[str, ...]
    model_version: str


@dataclass(frozen=True, slots=True)
class Examined:
    """The measures of one frame and what they suggest; `measures` is plain data that JSON can hold."""

    frame_id: int
    measure_version: int
    source: str
    content_key: str
    measures: Mapping[str, Any]
    suggestion: Suggestion
