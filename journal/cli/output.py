"""How commands print: text, tables, JSON and progress, safe for any terminal and any string from a file.

A file's name or Exif string may hold terminal escapes or table markup. `plain` makes control characters visible, and
nothing here interprets markup.
"""

from __future__ import annotations

import json
import math
import sys
import unicodedata
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence


def plain(value: object) -> str:
    """A value as text for the terminal; control and format characters are shown as escapes, never sent."""
    text = "" if value is None else str(value)
    return "".join(
        char if unicodedata.category(char) not in ("Cc", "Cf", "Cs") else f"\\x{ord(char):02x}" for char in text
    )


def say(text: str = "", err: bool = False) -> None:
    """Prints lines of text; characters the terminal cannot show are replaced, never an error."""
    stream = sys.stderr if err else sys.stdout
    encoding = getattr(stream, "encoding", None) or "utf-8"
    lines = "\n".join(plain(line) for line in text.split("\n"))
    typer.echo(lines.encode(encoding, "replace").decode(encoding), err=err)


def print_json(value: Any) -> None:
    """Prints a result as JSON. Not-a-number and infinity become null, for JSON knows neither."""
    typer.echo(json.dumps(_json_safe(value), indent=2, ensure_ascii=True, allow_nan=False))


def _json_safe(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _json_safe(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_json_safe(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, str | int | float | bool):
        return value
    return str(value)


def table(
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    right: Sequence[str] = (),
    grey: Sequence[bool] = (),
) -> None:
    """Prints a table. Columns named in `right` are aligned right; rows marked in `grey` are dimmed."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(markup=False, highlight=False, emoji=False)
    if not console.is_terminal:  # a pipe has no width; never cut what a script reads
        console = Console(markup=False, highlight=False, emoji=False, width=200, no_color=True)
    ascii_only = (console.encoding or "").lower().replace("-", "") not in ("utf8", "utf16", "utf_8")
    grid = Table(box=box.ASCII2 if ascii_only else box.SIMPLE_HEAD, pad_edge=False)
    for name in columns:
        grid.add_column(Text(name), justify="right" if name in right else "left", overflow="fold")
    for number, row in enumerate(rows):
        cells = [plain(cell) for cell in row]
        if ascii_only:
            cells = [cell.encode("ascii", "replace").decode() for cell in cells]
        is_grey = number < len(grey) and grey[number]
        grid.add_row(*[Text(cell) for cell in cells], style="dim" if is_grey else None)
    console.print(grid)


@contextmanager
def progress(total: int | None, description: str) -> Iterator[Callable[[int], None]]:
    """A progress bar with rate and time left on a terminal, silence elsewhere; yields `advance(steps)`."""
    if not sys.stderr.isatty():
        yield lambda _steps: None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class RateColumn(ProgressColumn):
        def render(self, task: Any) -> Text:
            return Text(f"{task.speed:.0f}/s" if task.speed else "")

    console = Console(stderr=True, markup=False, highlight=False)
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        RateColumn(),
        TimeRemainingColumn(),
        console=console,
    )
    with bar:
        task = bar.add_task(description, total=total)
        yield lambda steps: bar.advance(task, steps)
