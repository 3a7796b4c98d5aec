"""Typed results that charts and pages show."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any


class Named:
    """A result whose fields can also be taken by name, like the columns of a row."""

    __slots__ = ()

    def __getitem__(self, name: str) -> Any:
        """The field of that name."""
        if name not in self.keys():
            raise KeyError(name)
        return getattr(self, name)

    def keys(self) -> tuple[str, ...]:
        """The names of the fields."""
        return tuple(field.name for field in fields(self))  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Driver(Named):
    """A condition that drifted, and by how much that alone moved the keeper rate from the first day to the last."""

    name: str
    change: float


@dataclass(frozen=True, slots=True)
class Progress(Named):
    """Change of the keeper rate from the first to the last day, at equal scenes and raw; shares in [-1, 1]."""

    change: float
    low: float
    high: float
    verdict: str
    raw_change: float
    raw_low: float
    raw_high: float
    n_frames: int
    n_bursts: int
    n_sessions: int
    drivers: tuple[Driver, ...] = ()

    @property
    def is_enough(self) -> bool:
        """Whether there is enough evidence to say anything."""
        return self.verdict != "not enough"

    @classmethod
    def unknown(cls, counts: tuple[int, int, int]) -> Progress:
        """Nothing can be said."""
        return cls(math.nan, -1.0, 1.0, "not enough", math.nan, -1.0, 1.0, *counts)


@dataclass(frozen=True, slots=True)
class Line(Named):
    """One change from before to after, with its interval and what it says."""

    change: float
    low: float
    high: float
    verdict: str

    @classmethod
    def unknown(cls) -> Line:
        """Nothing can be said."""
        return cls(math.nan, math.nan, math.nan, "not enough")


@dataclass(frozen=True, slots=True)
class AdviceEffect(Named):
    """What came of a piece of advice: keepers gained per frame; whether it was followed; whether the fault fell.

    `followed` is the change of the share of frames that show the habit, `target_fault` that of the share with the fault
    that the advice is against; both at equal conditions, in [-1, 1].
    """

    gain: float
    low: float
    high: float
    verdict: str
    followed: Line
    target_fault: Line
    n_before: int
    n_after: int
    n_frames: int = 0
    n_bursts: int = 0

    @property
    def n_sessions(self) -> int:
        """Sessions on both sides."""
        return self.n_before + self.n_after

    @property
    def is_enough(self) -> bool:
        """Whether there is enough evidence to say anything."""
        return self.verdict != "not enough"

    @classmethod
    def unknown(cls, n_before: int, n_after: int, n_frames: int = 0, n_bursts: int = 0) -> AdviceEffect:
        """Nothing can be said."""
        nothing = (Line.unknown(), Line.unknown(), n_before, n_after, n_frames, n_bursts)
        return cls(math.nan, math.nan, math.nan, "not enough", *nothing)


@dataclass(frozen=True, slots=True)
class SeriesLimit(Named):
    """A hand-held limit found by a test series [stops slower than 1 / focal length]."""

    estimate: float
    low: float
    high: float
    n_frames: int
    n_days: int
    is_enough: bool


@dataclass(frozen=True, slots=True)
class Shortage(Named):
    """Frames for which the best settings lacked light; stops are the median and the quartiles, shares in [0, 1]."""

    n_frames: int
    n_bursts: int
    n_sessions: int
    stops: float
    stops_low: float
    stops_high: float
    keepers: float
    keepers_low: float
    keepers_high: float
    share_by_hands: float
    is_enough: bool

    @classmethod
    def none(cls) -> Shortage:
        """Light was never missing, or nothing is known of it."""
        unknown = math.nan
        return cls(0, 0, 0, unknown, unknown, unknown, unknown, unknown, unknown, unknown, False)
