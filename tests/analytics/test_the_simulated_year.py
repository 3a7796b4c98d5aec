"""The simulated year: what is planted in it is found again, and what is not planted is not."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from analytics.dataset import OpenJournal
from analytics.statistics.habits import habits
from analytics.statistics.limits import limits
from analytics.statistics.progress import progress
from journal.demo.scenario import BODIES, FREEZE_LIMIT, HABITS, HAND_HELD_LIMIT, NOT_HABITS

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd


@pytest.fixture(scope="module")
def frames(simulated_year: Path) -> pd.DataFrame:
    with OpenJournal(simulated_year) as journal:
        return journal.judged_frames()


def found(frames: pd.DataFrame, kind: str) -> dict[object, tuple[float, float]]:
    """Intervals that hold all at once, for there are about eight of them."""
    return {line.key: (line.low, line.high) for line in limits(frames, kind, level=1 - 0.05 / 8).itertuples()}


def test_all_that_the_statistics_ask_for_is_stated(frames: pd.DataFrame) -> None:
    needed = frames.drop(columns=[name for name in frames if name.startswith(("planned", "sun"))])
    assert not needed.drop(columns="light_kind").isna().any().any()
    assert frames["is_simulated"].all()
    assert 0 < frames["is_backlit"].mean() < 1


def test_the_planted_limits_lie_within_their_intervals(frames: pd.DataFrame) -> None:
    for kind, planted in (
        ("hand-held", HAND_HELD_LIMIT),
        ("freeze", FREEZE_LIMIT),
        ("iso", {body.model: math.log2(body.iso_limit / 100) for body in BODIES}),
    ):
        intervals = found(frames, kind)
        assert intervals
        for key, (low, high) in intervals.items():
            assert low < planted[key] < high, (kind, key)


def test_the_planted_habits_are_found_and_nothing_else_is(frames: pd.DataFrame) -> None:
    table = habits(frames).set_index("key")
    assert set(table.index[table["is_flagged"]]) == set(HABITS)
    assert table.loc[list(NOT_HABITS), "is_enough"].all()


def test_a_year_without_a_change_of_skill_shows_no_clear_change(frames: pd.DataFrame) -> None:
    assert progress(frames).verdict == "no clear change"
