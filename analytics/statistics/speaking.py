"""Which frames the curve of a limit is fitted to, so that what is said and shown of a limit is of the same frames."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.statistics.cells import HIDDEN_BY, has_any, outcomes_of
from analytics.statistics.limits import FAULT_OF

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from analytics.statistics.engine import Floats, Integers
    from analytics.statistics.limits import LimitFit

    Booleans = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Speaking:
    """The frames that the curves of one kind are fitted to, each (n,) for all frames.

    Attributes:
        key: number of each frame's limit, -1 where it says nothing of any.
        dose: the setting on the kind's scale [stops], NaN where the key is -1.
        has_fault: whether it has the fault that the kind is about.
    """

    key: Integers
    dose: Floats
    has_fault: Booleans

    def at_or_beyond(self, key: int, limit: float) -> Booleans:
        """The frames of a key at its limit or on the risky side of it; a limit is said in thirds, so it counts so."""
        return np.asarray((self.key == key) & (np.round(3 * self.dose) >= np.round(3 * limit)))


def speaking(found: LimitFit, frames: pd.DataFrame, cell: Integers) -> Speaking:
    """The frames that curves are fitted to.

    Args:
        found: the curves.
        frames: the judged frames that were collapsed to the cells.
        cell: (n,) the cell of each frame, -1 where it is of none.
    """
    rows, fault = found.rows, FAULT_OF[found.kind]
    row_of_cell = np.full(max(cell.max(initial=-1), rows.cell.max(initial=-1)) + 2, -1)
    row_of_cell[rows.cell] = np.arange(len(rows.cell))  # the last place is of no cell
    outcome = outcomes_of(frames)
    row = np.where(has_any(HIDDEN_BY[fault])[outcome], -1, row_of_cell[cell])
    key, dose = np.append(rows.key, -1)[row], np.append(rows.dose, np.nan)[row]
    return Speaking(key, dose, (key >= 0) & has_any((fault,))[outcome])
