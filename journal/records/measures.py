"""What is examined of a picture and what came of it; a suggestion is never a verdict."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


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


#: Where the figures of a sentence begin.
FIGURES = re.compile(r"[<\d]")


def is_said(sentence: str, told: Iterable[str]) -> bool:
    """Whether one of them says the same, be it with other numbers: a place can be the likely one for two faults."""
    opening = FIGURES.split(sentence)[0]
    return any(sentence == each or (opening and each.startswith(opening)) for each in told)


def said_once(evidence: Iterable[str]) -> tuple[str, ...]:
    """Evidence as it is stored, without what is said again: an earlier version could tell of one place twice."""
    told: list[str] = []
    for sentence in evidence:
        if not is_said(sentence, told):
            told.append(sentence)
    return tuple(told)


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
