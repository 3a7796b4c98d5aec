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
from datetime import datetime
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence


def plain(value: object) -> str:
    """A value as text for the terminal; control and format characters are shown as escapes, never sent."""
    text = "" if value is None else str(value)
    return "".join(char if unicodedata.category(char) not in ("Cc", "Cf", "Cs") else _escape(char) for char in text)


def _escape(char: str) -> str:
    """A byte of a file name that is no UTF-8 comes as a surrogate, and is shown as the byte that it is."""
    code = ord(char)
    return f"\\x{code - 0xDC00 if 0xDC80 <= code <= 0xDCFF else code:02x}"


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
    cells = [[plain(cell) for cell in row] for row in rows]
    if ascii_only:
        cells = [[cell.encode("ascii", "replace").decode() for cell in row] for row in cells]
    gap, widths = _fitting(columns, cells, console.width)
    grid = Table(box=box.ASCII2 if ascii_only else box.SIMPLE_HEAD, pad_edge=False, padding=PADDING[gap])
    for name, width in zip(columns, widths, strict=True):
        grid.add_column(
            Text(name), justify="right" if name in right else "left", overflow="fold", min_width=width, max_width=width
        )
    for number, row in enumerate(cells):
        is_grey = number < len(grey) and grey[number]
        grid.add_row(*[Text(cell) for cell in row], style="dim" if is_grey else None)
    console.print(grid)


#: Padding (top, right, bottom, left) that makes a gap of that many characters, one of them the box's own line.
PADDING = {3: (0, 1, 0, 1), 2: (0, 1, 0, 0), 1: (0, 0, 0, 0)}
#: Characters between two columns where there is room; a narrow terminal gets fewer before a word is broken.
USUAL_GAP = 3
#: Characters of the frame, left and right.
EDGES = 2
#: No column is folded to fewer characters than this.
NARROWEST = 4


def _fitting(columns: Sequence[str], rows: Sequence[Sequence[str]], room: int) -> tuple[int, list[int]]:
    """The gap and the widths of the columns that fit: lines break at words, inside words only as the last resort."""
    from rich.cells import cell_len

    texts = [[name, *(row[number] for row in rows)] for number, name in enumerate(columns)]
    widths = [max(cell_len(text) for text in column) for column in texts]
    words = [max((cell_len(word) for text in column for word in text.split()), default=1) for column in texts]
    gap = USUAL_GAP

    def excess(of: list[int]) -> int:
        return sum(of) + gap * (len(of) - 1) + EDGES - room

    if excess(widths) <= 0:
        return gap, widths
    gap = 2
    if excess(words) > 0:
        gap = 1
    while excess(widths) > 0:
        wide = [number for number, width in enumerate(widths) if width > words[number]]
        wide = wide or [number for number, width in enumerate(widths) if width > NARROWEST]
        if not wide:
            break
        widths[max(wide, key=widths.__getitem__)] -= 1
    return gap, widths


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


def on_this_clock(moment: str) -> str:
    """A stored moment to the second, on this machine's clock."""
    return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M:%S")
