"""Where in a picture to look closer, from what was measured: the camera's focus point, the place that a suggested
fault shows in, else the middle."""

from __future__ import annotations

import json
from dataclasses import dataclass

#: The place that each fault shows in, by its name among the measures.
PLACE_OF_FAULT = {"missed focus": "soft_place", "subject motion": "streaked_place"}


@dataclass(frozen=True, slots=True)
class SubjectPlace:
    """The middle of it in shares of the stored sides, and what it is in words."""

    row: float
    column: float
    words: str


MIDDLE = SubjectPlace(0.5, 0.5, "the middle")


def subject_place(measures: str | None, fault: str | None) -> SubjectPlace:
    """Where the subject was measured; the middle where nothing says otherwise.

    Args:
        measures: the JSON that the journal holds, or None.
        fault: the suggested fault, or None.
    """
    found = json.loads(measures) if measures else {}
    subject = found.get("subject")
    if not isinstance(subject, dict):
        return MIDDLE
    weights = subject.get("weights")
    if not isinstance(weights, list) or not weights or not weights[0]:
        return MIDDLE
    shape = (len(weights), len(weights[0]))
    if subject.get("is_from_camera"):
        return _middle_of(_heaviest(weights), shape, "where the camera focused")
    place = subject.get(PLACE_OF_FAULT.get(fault or "", ""))
    if isinstance(place, dict) and place.get("cells"):
        return _middle_of(place["cells"], shape, "the place that differs")
    return MIDDLE


def _heaviest(weights: list[list[float | None]]) -> list[list[int]]:
    most = max((weight or 0.0) for row in weights for weight in row)
    return [[y, x] for y, row in enumerate(weights) for x, weight in enumerate(row) if (weight or 0.0) >= most]


def _middle_of(cells: list[list[int]], shape: tuple[int, int], words: str) -> SubjectPlace:
    rows = sum(cell[0] + 0.5 for cell in cells) / len(cells) / shape[0]
    columns = sum(cell[1] + 0.5 for cell in cells) / len(cells) / shape[1]
    return SubjectPlace(rows, columns, words)
