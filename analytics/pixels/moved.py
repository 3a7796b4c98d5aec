"""What is known of the place that most likely moved: how sure its dip of the cepstrum is, and whether its edges and
its detail agree."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.pixels.bands import Bands, detail_by_direction
from analytics.pixels.spread import PLACE_SHARE, SHARP_SHARE, Blur, blur_of, directed_octaves, octaves, spread_along
from analytics.pixels.subject import weighted_counts
from analytics.pixels.travel import Moved, PlaceDips, Travel, moved_place

Numbers = NDArray[np.float64]

#: Sureness from which the distance is told: of frames with a moved subject it is then right in two of three, where the
#: spread of edges is in one of three. Source: measured on generated frames, right is within a fifth or 1.2 px.
SURE = 2.0


@dataclass(frozen=True, slots=True)
class MovedPlace:
    """What is measured where something moved.

    Attributes:
        moved: by the cepstrum.
        middle: blur of its middle edges, and of those around it.
        sharp: blur of its sharp edges, and of those around it.
        detail: fine over coarse detail along 12 directions, (12,), inside and around it [octaves].
    """

    moved: Moved
    middle: tuple[Blur, Blur]
    sharp: tuple[Blur, Blur]
    detail: tuple[Numbers, Numbers]

    @property
    def is_sure(self) -> bool:
        """Whether way and distance are worth telling."""
        return self.moved.sureness >= SURE

    def at_full_size(self, scale: float, blur_at_full_size: Callable[[Blur], Blur]) -> MovedPlace:
        """The same, measured in a small preview, in pixels of the full-size picture.

        Args:
            scale: pixels of the full-size picture per pixel of the preview's [px/px].
            blur_at_full_size: what does so with a blur.
        """
        moved = replace(self.moved, far=self.moved.far * scale, whole_far=self.moved.whole_far * scale)
        middle, sharp = ((blur_at_full_size(pair[0]), blur_at_full_size(pair[1])) for pair in (self.middle, self.sharp))
        return replace(self, moved=moved, middle=middle, sharp=sharp)


def moved_of(
    travel: Travel, places: PlaceDips, counts: Numbers, bands: Bands, point: tuple[float, float] | None
) -> MovedPlace:
    """The place that most likely moved.

    Args:
        travel: of the picture.
        places: its dips by place.
        counts: of its edges, (level, rows, columns, direction, bin).
        bands: of the picture.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        The place.

    Source: see `travel`.
    """
    moved = moved_place(travel, places, point)
    inside, outside = moved.inside.astype(float), moved.outside.astype(float)
    crests = weighted_counts(counts, inside), weighted_counts(counts, outside)
    return MovedPlace(
        moved=moved,
        middle=(blur_of(crests[0], PLACE_SHARE), blur_of(crests[1], PLACE_SHARE)),
        sharp=(blur_of(crests[0], SHARP_SHARE), blur_of(crests[1], SHARP_SHARE)),
        detail=(detail_by_direction(bands, inside), detail_by_direction(bands, outside)),
    )


def moved_features(place: MovedPlace, tolerance: float) -> dict[str, float]:
    """What the model looks at.

    Args:
        place: that most likely moved.
        tolerance: of the picture's size [1].

    Returns:
        Numbers by name.

    Source: own choice.
    """
    moved, (inside, outside), (sharp, sharp_outside) = place.moved, place.middle, place.sharp
    lost = place.detail[1] - place.detail[0]
    found = {
        "sureness": moved.sureness,
        "wider": moved.sureness_wider,
        "depth": moved.depth,
        "depth_outside": moved.depth_outside,
        "far": math.log2(moved.far / tolerance),
        **moved.by_span,
        "whole_same": moved.whole_same,
        "whole": moved.whole,
        "whole_far": math.log2(moved.whole_far / tolerance),
        "along": octaves(inside.along, tolerance),
        "directed": directed_octaves(inside, tolerance),
        "apart": _apart(inside, outside, inside.direction, tolerance),
        "way_apart": _apart(inside, outside, moved.direction, tolerance),
        "sharp_apart": _apart(sharp, sharp_outside, sharp.direction, tolerance),
        "lost": moved.along(lost),
        "lost_across": moved.along(lost, len(lost) // 2),
        "detail_directed": float(np.ptp(place.detail[0])),
    }
    return {f"moved_{key}": value for key, value in found.items()}


def _apart(inside: Blur, outside: Blur, direction: float, tolerance: float) -> float:
    """How much wider edges spread inside than outside along one direction [octaves]."""
    return octaves(spread_along(inside, direction), tolerance) - octaves(spread_along(outside, direction), tolerance)
