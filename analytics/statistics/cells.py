"""Judged frames, collapsed to cells: burst x time x f-number x ISO with counts of what happened.

Frames of one burst with the same settings say nothing more than their counts, so every method of this package works on
cells: about four times fewer rows, and the same numbers. A cell also holds the conditions of its frames (light, pace,
support, gear); conditions that are words split cells, numbers are averaged within a cell. What nobody wrote down stays
unknown: NaN among the numbers, code -1 among the words; a column that is missing is unknown throughout.

Sessions stay whole and in order, for they are the unit of evidence everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Booleans = NDArray[np.bool_]

#: Faults in the order of their bits in an outcome.
FAULTS = ("exposure", "focus", "shake", "motion", "noise", "timing")
#: The bit of a keeper, and how many outcomes there are.
KEEPER_BIT = 1 << len(FAULTS)
N_OUTCOMES = 2 * KEEPER_BIT
#: Which faults hide another in a picture: nobody sees shake in a frame that is out of focus.
HIDDEN_BY = {
    "exposure": (),
    "focus": ("shake", "motion"),
    "shake": ("focus", "motion"),
    "motion": ("focus", "shake"),
    "noise": ("exposure", "focus", "shake", "motion"),
    "timing": (),
}
#: Settings that are the same within this are one cell [stops]; engraved values differ by a third or a half.
CELL_STOPS = 1 / 6
#: Largest product of code ranges that is combined without renumbering.
_ROOM = 2**62

_WORDS = ("body", "lens", "support", "subject_pace", "priority", "light_kind")
_FLAGS = ("is_stabilised", "used_flash", "is_backlit", "is_off_plan", "is_light_stated")
_MEANS = ("day", "burst_number", "session_bursts", "burst_length")


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words: `codes` (m,) into the sorted `names`, -1 where unknown."""

    codes: Integers
    names: tuple[str, ...]

    def where(self, *names: str) -> Booleans:
        """The cells that have one of the names, shape (m,)."""
        wanted = [code for code, name in enumerate(self.names) if name in names]
        return np.isin(self.codes, wanted)


@dataclass(frozen=True, slots=True)
class Cells:
    """Counts and conditions by cell, all of shape (m,), sorted by session, then burst.

    Attributes:
        session: 0 to G-1; burst: 0 to B-1.
        n_frames, n_keepers: judged frames and keepers.
        time_stops: log2(t / 1 s); aperture_stops: 2 log2 N; iso_stops: log2(ISO / 100) [stops].
        focal_stops: log2(35 mm-equivalent focal length / 1 mm).
        ev100: the light, EV at ISO 100.
        distance_stops, depth_stops: log2 of the subject's distance and depth / 1 m.
        day, burst_number, session_bursts, burst_length: as in the frames table.
        is_stabilised, used_flash, is_backlit, is_off_plan, is_light_stated: 0, 1, NaN where unknown.
        body, lens, support, subject_pace, priority, light_kind: words.
        outcome_cell, outcome, outcome_frames: (k,) how many frames of a cell had which outcome: a bit per recorded
            fault of a reject in the order of `FAULTS`, `KEEPER_BIT` alone for a keeper, 0 for a reject without a fault.
    """

    session: Integers
    burst: Integers
    n_frames: Floats
    n_keepers: Floats
    time_stops: Floats
    aperture_stops: Floats
    iso_stops: Floats
    focal_stops: Floats
    ev100: Floats
    distance_stops: Floats
    depth_stops: Floats
    day: Floats
    burst_number: Floats
    session_bursts: Floats
    burst_length: Floats
    is_stabilised: Floats
    used_flash: Floats
    is_backlit: Floats
    is_off_plan: Floats
    is_light_stated: Floats
    body: Words
    lens: Words
    support: Words
    subject_pace: Words
    priority: Words
    light_kind: Words
    outcome_cell: Integers
    outcome: Integers
    outcome_frames: Floats

    @property
    def n_sessions(self) -> int:
        """How many sessions there are."""
        return int(self.session[-1]) + 1 if len(self.session) else 0

    @property
    def stops_below_rule(self) -> Floats:
        """log2(t · f35): 0 at the 1/focal-length rule, positive is slower [stops]."""
        return self.time_stops + self.focal_stops

    @property
    def exposure_error_stops(self) -> Floats:
        """How much brighter than the light asks for: log2(t · ISO/100 / N²) + EV at ISO 100 [stops].

        NaN where nobody stated the light: an EV that was read from the settings themselves says nothing against them.
        """
        error = self.time_stops + self.iso_stops - self.aperture_stops + self.ev100
        return np.where(self.is_light_stated == 0, np.nan, error)

    def count(self, outcomes: Booleans) -> Floats:
        """Frames of each cell whose outcome is among those marked, shape (m,); `outcomes` has shape (N_OUTCOMES,)."""
        chosen = outcomes[self.outcome]
        return sums(self.outcome_cell[chosen], self.outcome_frames[chosen], len(self.session))

    def seen(self, fault: str) -> tuple[Floats, Floats]:
        """(frames in which the fault would be seen, those of them that have it), each (m,)."""
        clear = ~has_any(HIDDEN_BY[fault])
        return self.count(clear), self.count(clear & has_any((fault,)))


def has_any(faults: Sequence[str]) -> Booleans:
    """Which outcomes record at least one of the faults, shape (N_OUTCOMES,)."""
    mask = sum(1 << FAULTS.index(fault) for fault in faults)
    return (np.arange(N_OUTCOMES) & mask) > 0


def cells_of(frames: pd.DataFrame) -> Cells:
    """Collapses judged frames to cells.

    Args:
        frames: one row per frame with the columns of the frames table; `session`, `burst` and `is_keeper` are needed,
            the rest is unknown where it is missing. Frames without a verdict are left out. A burst that belongs to no
            session stands for a session of its own.

    Returns:
        The cells; the order of the rows of `frames` makes no difference.

    Raises:
        KeyError: `session`, `burst` or `is_keeper` is missing.
    """
    return collapse(frames)[0]


def collapse(frames: pd.DataFrame) -> tuple[Cells, Integers]:
    """The cells of `cells_of`, and for each row of `frames` the number of its cell, -1 where there is no verdict."""
    is_judged = frames["is_keeper"].notna().to_numpy(dtype=bool)
    judged = frames[is_judged]
    session, burst = session_codes(judged), _codes(judged["burst"])[0]
    stops = _stops(judged)
    words = {name: _words(judged, name) for name in _WORDS}
    flags = {name: _numbers(judged, name) for name in _FLAGS}
    parts = [session, burst]
    parts += [_whole(stops[name] / CELL_STOPS) for name in ("time_stops", "aperture_stops", "iso_stops")]
    parts += [words[name].codes for name in _WORDS] + [_whole(flags[name]) for name in _FLAGS]
    first, cell = _distinct(combine(parts))
    n_cells = len(first)
    outcomes = outcomes_of(judged)
    codes, counts = np.unique(cell * N_OUTCOMES + outcomes, return_counts=True)
    means = stops | {name: _numbers(judged, name) for name in _MEANS}
    conditions: dict[str, Any] = {name: _mean(values, cell, n_cells) for name, values in means.items()}
    conditions |= {name: values[first] for name, values in flags.items()}
    conditions |= {name: Words(column.codes[first], column.names) for name, column in words.items()}
    places = np.full(len(frames), -1, dtype=np.int64)
    places[is_judged] = cell
    cells = Cells(
        session=session[first],
        burst=combine([session, burst], renumber=True)[first],
        n_frames=sums(cell, np.ones(len(cell)), n_cells),
        n_keepers=sums(cell, (outcomes == KEEPER_BIT).astype(np.float64), n_cells),
        **conditions,
        outcome_cell=codes // N_OUTCOMES,
        outcome=codes % N_OUTCOMES,
        outcome_frames=counts.astype(np.float64),
    )
    return cells, places


def take(cells: Cells, rows: Booleans) -> Cells:
    """The cells that are marked, with sessions and bursts numbered anew."""
    kept = {field.name: getattr(cells, field.name) for field in fields(cells)}
    outcomes = rows[cells.outcome_cell]
    new_number = np.cumsum(rows) - 1
    for name, values in kept.items():
        if name.startswith("outcome"):
            kept[name] = values[outcomes]
        elif isinstance(values, Words):
            kept[name] = Words(values.codes[rows], values.names)
        else:
            kept[name] = values[rows]
    kept["outcome_cell"] = new_number[kept["outcome_cell"]]
    kept["session"] = combine([kept["session"]], renumber=True)
    kept["burst"] = combine([kept["burst"]], renumber=True)
    return Cells(**kept)


def session_codes(frames: pd.DataFrame) -> Integers:
    """Sessions as 0 to G-1 in their order; a burst without a session is a session of its own, after the others."""
    codes, names = _codes(frames["session"])
    if codes.size and codes.min() < 0:
        alone = _codes(frames["burst"])[0]
        codes = combine([np.where(codes >= 0, codes, len(names) + alone)], renumber=True)
    return codes


def combine(parts: Sequence[Integers], renumber: bool = False) -> Integers:
    """One number per row that is the same exactly where all parts are; sorts like the parts from first to last.

    Args:
        parts: whole numbers, each (n,).
        renumber: whether the result runs from 0 without gaps.
    """
    total = np.zeros(len(parts[0]), dtype=np.int64)
    room = 1
    for part in parts:
        if not len(part):
            continue
        low = int(part.min())
        size = int(part.max()) - low + 1
        if room * size > _ROOM:
            total = np.unique(total, return_inverse=True)[1]
            room = int(total.max()) + 1
        total = total * size + (part - low)
        room *= size
    return np.unique(total, return_inverse=True)[1] if renumber else total


def sums(index: Integers, values: Floats, size: int) -> Floats:
    """The sum of `values` for each `index` from 0 to `size` - 1, shape (size,)."""
    return np.bincount(index, values, size).astype(np.float64, copy=False)


def _distinct(key: Integers) -> tuple[Integers, Integers]:
    """(row of the first of each distinct value in order of value, number of the value of each row)."""
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    starts = np.ones(len(key), dtype=bool)
    starts[1:] = ordered[1:] != ordered[:-1]
    number = np.empty(len(key), dtype=np.int64)
    number[order] = np.cumsum(starts) - 1
    return order[starts], number


def _codes(column: pd.Series) -> tuple[Integers, pd.Index]:
    codes, names = pd.factorize(column, sort=True)
    return codes.astype(np.int64), pd.Index(names)


def _words(frames: pd.DataFrame, name: str) -> Words:
    if name not in frames:
        return Words(np.full(len(frames), -1, dtype=np.int64), ())
    codes, names = _codes(frames[name])
    return Words(codes, tuple(str(word) for word in names))


def _numbers(frames: pd.DataFrame, name: str) -> Floats:
    """A column as floats, NaN where it is unknown or missing."""
    if name not in frames:
        return np.full(len(frames), np.nan)
    return np.asarray(frames[name].to_numpy(dtype=np.float64, na_value=np.nan))


def _stops(frames: pd.DataFrame) -> dict[str, Floats]:
    """Settings and conditions on their scales of stops; what is zero or less is unknown here."""
    logs = {
        name: np.log2(np.where((values > 0) & np.isfinite(values), values, np.nan))
        for name, values in (
            ("time_stops", _numbers(frames, "exposure_time_s")),
            ("aperture_stops", _numbers(frames, "f_number")),
            ("iso_stops", _numbers(frames, "iso") / 100),
            ("focal_stops", _numbers(frames, "focal_length_35mm")),
            ("distance_stops", _numbers(frames, "subject_distance_m")),
            ("depth_stops", _numbers(frames, "subject_depth_m")),
        )
    }
    logs["aperture_stops"] *= 2
    return logs | {"ev100": _numbers(frames, "ev100")}


def _whole(values: Floats) -> Integers:
    """Rounded to whole numbers; unknown is one number below all others."""
    rounded = np.round(values)
    known = np.isfinite(rounded)
    lowest = rounded[known].min() if known.any() else 0.0
    return np.where(known, rounded, lowest - 1).astype(np.int64)


def _mean(values: Floats, cell: Integers, n_cells: int) -> Floats:
    """Mean of the known values of each cell; NaN where none is known."""
    known = np.isfinite(values)
    n_known = sums(cell[known], np.ones(int(known.sum())), n_cells)
    with np.errstate(invalid="ignore"):
        return sums(cell[known], values[known], n_cells) / n_known


def outcomes_of(frames: pd.DataFrame) -> Integers:
    """What happened to each frame, as in `Cells.outcome`; a keeper has no faults, whatever is noted about it."""
    is_keeper = _numbers(frames, "is_keeper") > 0
    outcome = np.zeros(len(frames), dtype=np.int64)
    for bit, fault in enumerate(FAULTS):
        if f"fault_{fault}" in frames:
            outcome |= (_numbers(frames, f"fault_{fault}") > 0).astype(np.int64) << bit
    return np.where(is_keeper, KEEPER_BIT, outcome)
