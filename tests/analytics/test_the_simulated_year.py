"""The simulated year: what is planted in it is found again, and the README shows what the commands print of it."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from analytics.dataset import OpenJournal
from analytics.statistics.limits import limits
from journal.cli import load_commands, run
from journal.demo.building import build_demo
from journal.demo.scenario import BODIES, FREEZE_LIMIT, HAND_HELD_LIMIT

if TYPE_CHECKING:
    import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
NAME = "thirdstop-demo.journal"
#: What the README prints of the simulated year: a command, then its output up to the end of the block.
TOLD = re.findall(rf"\$ thirdstop ([^\n]*) --journal {NAME}\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.S)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("year")
    build_demo(made / NAME, made / "pictures")
    return made


@pytest.fixture(scope="module")
def frames(folder: Path) -> pd.DataFrame:
    with OpenJournal(folder / NAME) as journal:
        return journal.judged_frames()


def found(frames: pd.DataFrame, kind: str) -> dict[object, tuple[float, float]]:
    return {line.key: (line.low, line.high) for line in limits(frames, kind).itertuples()}


def test_all_that_the_statistics_ask_for_is_stated(frames: pd.DataFrame) -> None:
    needed = frames.drop(columns=[name for name in frames if name.startswith(("planned", "sun"))])
    assert not needed.isna().any().any()
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


@pytest.mark.parametrize(("command", "output"), TOLD, ids=[command for command, _ in TOLD])
def test_the_readme_shows_what_the_command_prints(
    folder: Path, capsys: pytest.CaptureFixture[str], command: str, output: str
) -> None:
    load_commands()
    assert run([*command.split(), "--journal", str(folder / NAME)]) == 0
    printed = [line.rstrip() for line in capsys.readouterr().out.rstrip().splitlines()]
    assert printed == [line.rstrip() for line in output.rstrip().splitlines()]
