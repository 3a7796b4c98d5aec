"""What the bands of detail say of a picture: all over, at the guessed subject, and in the places that lack fine
detail."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.bands import Bands, detail_by_direction, detail_map, directed
from analytics.pixels.subject import DetailPlace, blurred_place, swept_place

Numbers = NDArray[np.float64]

#: Shares of the cells at which the map of detail is told, those with least fine detail first.
SHARES = (0.15, 0.5, 0.85)


@dataclass(frozen=True, slots=True)
class Detail:
    """Fine over coarse detail [octaves] along 12 directions, (12,); NaN where nothing tells.

    Attributes:
        whole: of the whole picture.
        subject: around the guessed subject.
        surroundings: of what surrounds it.
        cells: by cell, (rows, columns), over all directions.
        agreement: how far the cells agree on a direction [0..1].
        blurred: inside and outside the place with least fine detail.
        blurred_differs: by how much it differs [octaves].
        swept: inside and outside the place that lacks fine detail one way.
        swept_differs: by how much it differs [octaves].
    """

    whole: Numbers
    subject: Numbers
    surroundings: Numbers
    cells: Numbers
    agreement: float
    blurred: tuple[Numbers, Numbers]
    blurred_differs: float
    swept: tuple[Numbers, Numbers]
    swept_differs: float

    def features(self) -> dict[str, float]:
        """What the model looks at, by name."""
        known = self.cells[np.isfinite(self.cells)]
        quantiles = np.quantile(known, SHARES) if len(known) else [math.nan] * 3
        lost = self.surroundings - self.subject
        most = int(np.argmax(lost)) if np.isfinite(lost).all() else 0
        inside, outside = self.swept
        worst = int(np.argmax(outside - inside)) if np.isfinite(inside).all() and np.isfinite(outside).all() else 0
        square = (worst + len(inside) // 2) % len(inside)
        return {
            "detail": float(self.whole.mean()),
            "detail_least": float(self.whole.min()),
            "detail_directed": float(np.ptp(self.whole)),
            "detail_agreement": self.agreement,
            "detail_softest_cells": float(quantiles[0]),
            "detail_middle_cells": float(quantiles[1]),
            "detail_sharpest_cells": float(quantiles[2]),
            "subject_detail": float(self.subject.mean()),
            "subject_detail_directed": float(np.ptp(self.subject)),
            "subject_detail_apart": float(self.subject.mean() - self.surroundings.mean()),
            "subject_detail_lost": float(lost[most]),
            "subject_detail_lost_across": float(lost[(most + len(lost) // 2) % len(lost)]),
            "blurred_detail": float(self.blurred[0].mean()),
            "blurred_outside": float(self.blurred[1].mean()),
            "blurred_directed": float(np.ptp(self.blurred[0])),
            "blurred_differs": self.blurred_differs,
            "swept_detail": float(inside.mean()),
            "swept_along": float(inside[worst]),
            "swept_outside": float(outside[worst]),
            "swept_apart": float(outside[worst] - inside[worst]),
            "swept_apart_across": float(outside[square] - inside[square]),
            "swept_differs": self.swept_differs,
        }


def detail_of(bands: Bands, weights: Numbers, around: Numbers, point: tuple[float, float] | None) -> Detail:
    """Detail of a picture.

    Args:
        bands: of the picture.
        weights: how much each cell counts for the subject.
        around: how much it counts for what surrounds the subject.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        Detail [octaves].

    Source: see `bands`.
    """
    by_direction = detail_map(bands)
    cells = by_direction.mean(axis=0)
    cosine, sine = directed(by_direction)
    blurred, swept = blurred_place(cells, point), swept_place(by_direction, point)
    strength = np.hypot(cosine, sine)
    known = np.isfinite(strength)
    together = math.hypot(float(cosine[known].sum()), float(sine[known].sum()))
    return Detail(
        whole=detail_by_direction(bands, np.ones(cells.shape)),
        subject=detail_by_direction(bands, weights),
        surroundings=detail_by_direction(bands, around),
        cells=cells,
        agreement=together / max(float(strength[known].sum()), 1e-9) if known.any() else math.nan,
        blurred=_inside_and_outside(bands, blurred),
        blurred_differs=blurred.differs if blurred else math.nan,
        swept=_inside_and_outside(bands, swept),
        swept_differs=swept.differs if swept else math.nan,
    )


def _inside_and_outside(bands: Bands, place: DetailPlace | None) -> tuple[Numbers, Numbers]:
    if place is None:
        nothing = np.zeros(bands.floors.shape[1:])
        return detail_by_direction(bands, nothing), detail_by_direction(bands, nothing)
    return detail_by_direction(bands, place.inside.astype(float)), detail_by_direction(
        bands, place.outside.astype(float)
    )
