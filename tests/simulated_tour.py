"""What the README shows of the simulated year: commands with what they really print."""

from __future__ import annotations

import contextlib
import io
import tempfile
from functools import cache
from pathlib import Path

from journal.cli import load_commands, run
from journal.demo.building import build_demo

NAME = "thirdstop-demo.journal"


@cache
def _year() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="thirdstop-tour-"))
    build_demo(folder / NAME, folder / "pictures")
    return folder / NAME


def shown(command: str) -> str:
    """A block of Markdown with the command and its output on the simulated year."""
    load_commands()
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        code = run([*command.split(), "--journal", str(_year())])
    if code:
        raise RuntimeError(f"thirdstop {command} ended with {code}")
    lines = [line.rstrip() for line in printed.getvalue().rstrip().splitlines()]
    return "\n".join(["```", f"$ thirdstop {command} --journal {NAME}", *lines, "```"])
