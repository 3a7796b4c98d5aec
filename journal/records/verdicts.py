"""What somebody said about a frame."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Verdict:
    """`keeper`, `reject` or `unjudged`, with every fault that is visible on a reject."""

    frame_id: int
    verdict: str
    faults: tuple[str, ...] = ()
