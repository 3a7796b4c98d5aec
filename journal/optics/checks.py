"""The one check that every formula's arguments go through."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from journal.errors import JournalError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def positive(name: str, value: ArrayLike, unit: str) -> NDArray[np.float64]:
    """The value as floats; NaN passes, zero or less is refused.

    Raises:
        JournalError: names the value and its unit.
    """
    numbers = np.asarray(value, dtype=np.float64)
    is_refused = value <= 0 if isinstance(value, float) else (numbers <= 0).any()  # one value is told in a tenth
    if is_refused:
        offending = numbers[numbers <= 0].flat[0]
        in_unit = "" if unit == "1" else f" {unit}"
        raise JournalError(f"{name} is {offending:g}{in_unit}; it must be more than zero.", f"Check the {name}.")
    return numbers
