"""A large picture seen from further away: a wide blur looks small there, and the fault model knows small ones best.

Nobody has to step back from a picture that is sharp where its subject may be; so most are looked at once, near, pixel
for pixel. Where edges around the likely subject are wider than a few pixels, the same picture is looked at again at
half its size, and on until they are not, or until there is too little left to see. What is seen from afar has to be
surer than what is seen near.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.pixels.cells import halved, tiles_of
from analytics.pixels.decoding import Picture
from analytics.pixels.features import Measures, at_full_size, features_of, measures_of
from analytics.pixels.model import FaultModel
from analytics.pixels.settings import Settings
from analytics.pixels.subject import subject_weights

#: Longer side from which a picture is worth stepping back from, and the least that is left of it then [px].
#: Source: measured on 93 photographs of 2,500 px and more with discs and smears of 6 to 60 px put into them; in
#: pictures of 2,000 px, as the model was fitted on, a second look finds hardly more.
LARGE_SIDE, LEAST_SIDE = 2500, 800
#: Spread of edges that is wide [px], and how much of the subject's weight has to be so wide [0..1].
#: Source: the same; nearly all that a second look finds has this, and a quarter of sharp pictures have.
WIDE_SPREAD, WIDE_SHARE = 4.0, 0.1
#: Log-odds by which what is seen from afar counts less. Source: the same; without it four more of the 93 sharp
#: pictures, at 1/30, would get a suggestion, with it one.
DOUBT = 1.0
#: The faults that are looked for from afar: those of sharpness.
TOLD_FROM_AFAR = ("focus", "shake", "subject_motion")


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
    seen, times = picture, 1
    measures = measures_of(tiles_of(picture), picture.scale, point)
    views = [View(measures, features_of(measures, settings), times)]
    is_large = max(picture.grey.shape) >= LARGE_SIDE
    while is_large and max(seen.grey.shape) >= 2 * LEAST_SIDE and is_wide(measures, picture.scale, point):
        seen, times = replace(seen, grey=halved(seen.grey)), 2 * times
        measures = measures_of(tiles_of(seen), picture.scale, point)
        views.append(View(at_full_size(measures, times), features_of(measures, settings), times))
    return views


def is_wide(measures: Measures, scale: float, point: tuple[float, float] | None) -> bool:
    """Whether edges around the likely subject are wider than a few pixels.

    Args:
        measures: of the picture.
        scale: pixels that they are told in, per pixel that was seen [px/px].
        point: where the camera focused, in shares of the rows and columns, or None.

    Returns:
        False where there are no edges.

    Source: own choice.
    """
    spread = measures.map.spread
    weights = subject_weights((spread.shape[0], spread.shape[1]), point)
    return float(weights[np.nan_to_num(spread, nan=0.0) > WIDE_SPREAD * scale].sum()) >= WIDE_SHARE


def told_by(views: Sequence[View], model: FaultModel) -> dict[str, tuple[float, View]]:
    """How likely each fault is, and the view that says so: the one in which it is likeliest.

    Args:
        views: of one picture, the nearest first.
        model: of faults.

    Returns:
        Probability and view by fault.

    Source: own choice; the mean over views lost blurs that are seen in one of them only.
    """
    near = views[0]
    told = {fault: (found, near) for fault, found in model.probabilities(near.features).items()}
    for view in views[1:]:
        found = model.probabilities(view.features)
        for fault in TOLD_FROM_AFAR:
            doubted = _doubted(found[fault])
            if doubted > told[fault][0]:
                told[fault] = (doubted, view)
    return told


def _doubted(probability: float) -> float:
    odds = probability / (1 - probability) * math.exp(-DOUBT)
    return odds / (1 + odds)
