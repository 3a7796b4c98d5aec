"""What a terminal shows: tables in its width, names of files as they are, and pipes whose reader goes away."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest

from journal.cli.output import plain

TABLE = """
from journal.cli.output import table
table(
    ["limit", "of", "interval", "frames", "sessions", ""],
    [["Slowest hand-held time", "stabilised", "1/100 to 1/80", 3898, 24, "not enough yet"]],
    right=["frames", "sessions"],
)
"""


def on_a_terminal(columns: int, code: str) -> str:
    environment = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    child = pexpect.spawn(
        sys.executable,
        ["-c", code],
        encoding="utf-8",
        timeout=60,
        dimensions=(40, columns),
        env=environment | {"TERM": "xterm", "NO_COLOR": "1"},
    )
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    return re.sub(r"\x1b\[[0-9;]*m", "", str(child.before))


@pytest.mark.parametrize("columns", [56, 60, 64, 72, 80])
def test_a_table_on_a_narrow_terminal_breaks_lines_between_words(columns: int) -> None:
    shown = on_a_terminal(columns, TABLE)
    for word in ("hand-held", "Slowest", "stabilised", "interval", "sessions", "enough", "1/100"):
        assert word in shown
    assert max(len(line) for line in shown.splitlines()) <= columns


def test_a_table_on_a_terminal_too_narrow_for_its_words_loses_no_character() -> None:
    shown = "".join(on_a_terminal(34, TABLE).split())
    assert all(char in shown for char in "Slowesthand-held") and "3898" in shown


def test_a_byte_of_a_name_that_is_no_utf_8_is_shown_as_that_byte() -> None:
    assert plain(os.fsdecode(b"caf\xe9.jpg")) == "caf\\xe9.jpg"


def test_a_reader_of_a_pipe_that_goes_away_is_no_failure(tmp_path: Path) -> None:
    rows = "\n".join(f"roll-{number},1/125,5.6,400" for number in range(1000))
    (tmp_path / "notes.csv").write_text(f"FileName,ExposureTime,FNumber,PhotographicSensitivity\n{rows}\n")
    line = "from journal.cli import main; main()"
    for arguments in (["import", "--table", str(tmp_path / "notes.csv")], ["frames", "--json"], ["export", "frames"]):
        run = [sys.executable, "-c", line, *arguments, "--journal", str(tmp_path / "my.journal")]
        child = subprocess.Popen(run, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert child.stdout is not None and child.stderr is not None
        child.stdout.close()
        said = child.stderr.read()
        child.stderr.close()
        assert (child.wait(60), said) == (0, b"")
