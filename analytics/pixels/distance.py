"""A picture seen from further away: a wide blur looks small there, and the fault model knows small ones best.

A picture of a few megapixels is always looked at twice, pixel for pixel and at half its size. In a large one a look
takes longer than decoding it, and most are sharp where their subject may be; so it is looked at again only where edges
around the likely subject are wider than a few pixels, at half its size, and on until they are not, or until there is
too little left to see. The fault model knows which look is which, and what is seen from afar has to be surer; less so
in a large picture, which is not looked at from afar without a reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.pixels.cells import halved, tiles_of
from analytics.pixels.decoding import SHORTEST_SIDE, Picture
from analytics.pixels.features import Measures, at_full_size, features_of, measures_of
from analytics.pixels.model import TOLD_FROM_AFAR, FaultModel, probability_of
from analytics.pixels.settings import Settings
from analytics.pixels.subject import subject_weights

#: Longer side from which a picture is large [px].
LARGE_SIDE = 2500
#: The least longer side that a picture is made smaller to, and that a large one is [px].
#: Source: the smallest that was tried on generated frames, and on large photographs.
LEAST_SIDE, LEAST_OF_LARGE = 500, 800
#: Spread of edges that is wide [px], and how much of the subject's weight has to be so wide [0..1].
#: Source: measured on 93 photographs of 2,500 px and more with discs and smears of 6 to 60 px put into them: nearly
#: all that a second look finds in them has this, and a quarter of sharp pictures have.
WIDE_SPREAD, WIDE_SHARE = 4.0, 0.1
#: How much a look from afar is doubted, as the fault model was fitted, and how much in a large picture.
#: Source: 24 of the photographs named above; as much as in others, or half as much.
FROM_AFAR, FROM_AFAR_IF_WIDE = 1.0, 0.5


@dataclass(frozen=True, slots=True)
class View:
    """A picture as it is seen from some distance.

    Attributes:
        measures: in pixels of the full-size picture.
        features: what the model looks at, of the picture as it is seen.
        times_smaller: sides of the full-size picture over those of what is seen [1].
    """

    measures: Measures
    features: Mapping[str, float]
    times_smaller: int


def views_of(picture: Picture, settings: Settings, point: tuple[float, float] | None) -> list[View]:
    """The picture seen near, and from further away as often as that is worth it.

    Args:
        picture: at full size.
        settings: of the camera.
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        Views, the nearest first; at least one.

    Source: own choice.
    """
    seen, times, measures = picture, 1, measures_of(tiles_of(picture), picture.scale, point)
    views = [View(measures, features_of(measures, settings), times)]
    is_large = max(picture.grey.shape) >= LARGE_SIDE
    while _is_enough_left(picture, 2 * times) and (not is_large or _is_wide(measures, picture.scale, point)):
        seen, times = replace(seen, grey=halved(seen.grey)), 2 * times
        measures = measures_of(tiles_of(seen), picture.scale, point)
        features = features_of(measures, settings, FROM_AFAR_IF_WIDE if is_large else FROM_AFAR)
        views.append(View(at_full_size(measures, times), features, times))
    return views


def _is_enough_left(picture: Picture, times: int) -> bool:
    """Whether a picture may be seen so many times smaller; one of a few megapixels is at half its size only."""
    shorter, longer = sorted(int(side) // times for side in picture.grey.shape)
    if max(picture.grey.shape) >= LARGE_SIDE:
        return longer >= LEAST_OF_LARGE and shorter >= SHORTEST_SIDE
    return times == 2 and longer >= LEAST_SIDE and shorter >= SHORTEST_SIDE


def _is_wide(measures: Measures, scale: float, point: tuple[float, float] | None) -> bool:
    """Whether edges around the likely subject are wider than a few pixels, of which `scale` are one that was seen."""
    spread = measures.map.spread
    weights = subject_weights((spread.shape[0], spread.shape[1]), point)
    return float(weights[np.nan_to_num(spread, nan=0.0) > WIDE_SPREAD * scale].sum()) >= WIDE_SHARE


def told_by(views: Sequence[View], model: FaultModel) -> dict[str, tuple[float, View]]:
    """How likely each fault is, and the view that shows it best; of what only near looks tell, the nearest.

    Args:
        views: of one picture, the nearest first.
        model: of faults.

    Returns:
        Probability and view by fault.

    Source: see `FaultModel.joined`.
    """
    shown = [model.by_fault(view.features) for view in views]
    told = {}
    for fault, log_odds in model.joined(shown).items():
        best = max(range(len(views)), key=lambda at: shown[at][fault]) if fault in TOLD_FROM_AFAR else 0
        told[fault] = (probability_of(log_odds), views[best])
    return told
