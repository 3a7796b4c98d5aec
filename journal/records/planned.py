"""What was planned for a session beside what was used in it."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: Nominal and exact values of one setting differ (1/60 is 1/64 s): a sixth of a stop still counts as the plan.
SIXTH = 2 ** (1 / 6)

#: Settings with their plan: column of frames, lowest, highest, and the factor that a sixth of a stop is.
#: An f-number enters exposure squared, so its factor is the root.
PLANNED = (
    ("exposure_time_s", ("planned_exposure_time_min_s", "planned_exposure_time_max_s"), SIXTH),
    ("f_number", ("planned_f_number_min", "planned_f_number_max"), SIXTH**0.5),
    ("iso", ("planned_iso_min", "planned_iso_max"), SIXTH),
)


@dataclass(frozen=True, slots=True)
class PlannedAgainstUsed:
    """One setting: the planned range, what was used of it, and how many frames lie below the plan and above it."""

    setting: str
    planned_min: float
    planned_max: float
    used_min: float
    used_median: float
    used_max: float
    n_below: int
    n_above: int
    n_frames: int

    @property
    def n_within(self) -> int:
        """Frames inside the plan."""
        return self.n_frames - self.n_below - self.n_above

    @property
    def share_within(self) -> float:
        """Share of frames inside the plan [0, 1]."""
        return self.n_within / self.n_frames


def planned_against_used(
    session: Mapping[str, Any], used: Sequence[Mapping[str, Any]]
) -> tuple[PlannedAgainstUsed, ...]:
    """A line for every setting that was planned and used.

    Args:
        session: its `planned_…` columns.
        used: `exposure_time_s`, `f_number` and `iso` of each frame, `None` where nobody chose them.
    """
    lines = (_against_plan(session, used, *columns) for columns in PLANNED)
    return tuple(line for line in lines if line is not None)


def _against_plan(
    session: Mapping[str, Any], used: Sequence[Mapping[str, Any]], column: str, ends: tuple[str, str], sixth: float
) -> PlannedAgainstUsed | None:
    values = [row[column] for row in used if row[column] is not None]
    low, high = session[ends[0]], session[ends[1]]
    if low is None or high is None or not values:
        return None
    below, above = sum(value < low / sixth for value in values), sum(value > high * sixth for value in values)
    return PlannedAgainstUsed(column, low, high, min(values), median(values), max(values), below, above, len(values))
