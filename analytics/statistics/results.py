"""Typed results that charts and pages show."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RateLine:
    """Keepers among judged frames at one value of a setting (or of two); shares in [0, 1]."""

    key: str | None
    other_key: str | None
    n_frames: int
    n_bursts: int
    n_sessions: int
    estimate: float
    low: float
    high: float
    is_enough: bool

    @property
    def name(self) -> str:
        """What the line is called."""
        return " · ".join(part or "unknown" for part in (self.key, self.other_key) if part is not None) or "unknown"

    @property
    def interval(self) -> str:
        """The interval in keepers per 100 frames."""
        return f"{100 * self.low:.0f}–{100 * self.high:.0f}"
