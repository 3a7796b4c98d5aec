"""What a photographer found, not chose: light, pace, distance, gear and support, as columns of a design matrix.

Methods that ask about anything else hold these equal. Settings are not among them: adjusting for settings would take
away exactly the progress that was made by better settings. What is unknown is a condition of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from analytics.statistics.cells import Cells, Words
    from analytics.statistics.engine import Floats

#: Where light is counted from, and where its effect may bend [EV at ISO 100].
USUAL_EV, LIGHT_BENDS = 8.0, (4.0, 6.0, 8.0, 10.0, 12.0)
#: Columns by name.
Columns = dict[str, "Floats"]


def condition_columns(cells: Cells) -> Columns:
    """The conditions of every cell by name, each (m,): centred numbers, or 0 and 1; none that never varies.

    A name is the condition, a colon, and which side of it: "pace: running". What light does depends on pace, focal
    length and flash, so these have columns together.
    """
    if not len(cells.session):
        return {}
    light, focal = cells.ev100 - USUAL_EV, cells.focal_stops - 6
    columns = _number("light", light) | {
        f"light: below EV {bend:g}": np.nan_to_num(np.maximum(bend - cells.ev100, 0)) for bend in LIGHT_BENDS
    }
    columns |= _number("distance", cells.distance_stops - 3) | _number("subject depth", cells.depth_stops)
    columns |= _number("focal length", focal) | {"focal length: squared": np.nan_to_num(focal) ** 2}
    columns |= {"backlight: yes": _flag(cells.is_backlit), "flash: yes": _flag(cells.used_flash)}
    columns |= {"stabilisation: yes": _flag(cells.is_stabilised)}
    for name, words in (
        ("pace", cells.subject_pace),
        ("support", cells.support),
        ("body", cells.body),
        ("priority", cells.priority),
        ("kind of light", cells.light_kind),
    ):
        columns |= _words(name, words)
    known = np.nan_to_num(light)
    columns |= {
        f"light: with {name}": known * column
        for name, column in columns.items()
        if name.startswith("pace") or name in ("focal length: stops", "flash: yes")
    }
    return {name: column for name, column in columns.items() if np.ptp(column) > 0}


def condition_of(column: str) -> str:
    """The condition that a column belongs to."""
    return column.split(":")[0]


def matrix(columns: Columns, n_rows: int) -> Floats:
    """An intercept and the columns, shape (m, 1 + columns)."""
    return np.stack([np.ones(n_rows), *columns.values()], axis=1)


def _number(name: str, values: Floats) -> Columns:
    known = np.isfinite(values)
    return {f"{name}: stops": np.where(known, values, 0.0), f"{name}: unknown": (~known).astype(np.float64)}


def _flag(values: Floats) -> Floats:
    return np.nan_to_num(values)


def _words(name: str, words: Words) -> Columns:
    """A column for each word but the commonest, unknown among them."""
    if not len(words.codes):
        return {}
    counts = np.bincount(words.codes + 1, minlength=len(words.names) + 1)
    usual = int(counts.argmax()) - 1
    codes = [code for code in range(-1, len(words.names)) if code != usual and counts[code + 1]]
    return {
        f"{name}: {words.names[code] if code >= 0 else 'unknown'}": (words.codes == code).astype(np.float64)
        for code in codes
    }
