"""One picture file and its settings -> measures, probabilities of faults, and the evidence in words.

Everything that comes back is plain numbers, texts and lists, so that it can be stored as JSON. Nothing here decides
anything: a probability is a suggestion to look, and `analytics.pixels.suggest` weighs it against the session.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.decoding import Picture, read_picture
from analytics.pixels.distance import View, told_by, views_of
from analytics.pixels.evidence import TOLD_FROM, evidence_of, sentences_for
from analytics.pixels.features import Measures
from analytics.pixels.model import FAULTS, TOLD_FROM_AFAR, shipped_model
from analytics.pixels.settings import Settings, settings_of
from analytics.pixels.spread import Blur
from analytics.pixels.subject import Place, subject_weights

#: Version of the measures: pictures are measured again when it changes.
MEASURE_VERSION = 15
#: Extent of an even smear and diameter of an even disc, in standard deviations of either across an edge. Source:
#: uniform distributions on a line (L²/12) and on a disc (D²/16).
SMEAR_PER_SPREAD, DISC_PER_SPREAD = math.sqrt(12.0), 4.0


def measure(path: str | Path, exif: Mapping[str, Any]) -> dict[str, Any]:
    """Measures of one picture and the probability of each fault.

    Args:
        path: of a picture file; it is only read.
        exif: settings by Exif name, any may be missing.

    Returns:
        `exposure`, `focus`, `shake`, `subject_motion`, `noise` [0..1]; `ev` [stops], `noise_sigma` [codes of 8 bits],
        `blur_px` [px of the full-size picture]; `cant_tell`; `evidence`; `blur`, `map`, `subject`, `tones` to draw
        from.

    Raises:
        UnmeasurablePictureError: there is no picture in the file that can be measured.

    Source: see the modules of each measure; the model is described in `model.json`.
    """
    cv2.setNumThreads(1)
    return measured(read_picture(path), exif)


def measured(picture: Picture, exif: Mapping[str, Any]) -> dict[str, Any]:
    """As `measure`, of a picture that is already decoded.

    Args:
        picture: grey, at full size.
        exif: settings by Exif name, any may be missing.

    Returns:
        As `measure`.

    Source: as `measure`.
    """
    settings = settings_of(exif)
    rows, columns = (round(side * picture.scale) for side in picture.grey.shape)
    point = focus_point(settings, rows, columns)
    views, model = views_of(picture, settings, point), shipped_model()
    near, told = views[0], told_by(views, model)
    measures, probabilities = near.measures, {fault: probability for fault, (probability, _) in told.items()}
    error = model.exposure_error.total(near.features)
    looks = model.by_look(near.features)
    is_bright = looks["too_bright"] > looks["too_dark"]
    by_fault = {fault: _sentences(fault, told[fault][1], settings, error) for fault in FAULTS}
    return {
        **{fault: round(value, 6) for fault, value in probabilities.items()},
        "is_too_bright": is_bright,
        "ev": round(error, 2),
        "noise_sigma": _rounded(measures.noise.shown),
        "blur_px": _rounded(_blur_px(told), 1),
        "cant_tell": not measures.is_telling,
        "evidence": evidence_of(measures, settings, probabilities, by_fault),
        "evidence_by_fault": by_fault,
        **_to_draw(measures, picture, point),
        "model_version": model.version,
        "measure_version": MEASURE_VERSION,
    }


def focus_point(settings: Settings, rows: int, columns: int) -> tuple[float, float] | None:
    """Where the camera says the subject is, in shares of the rows and columns; None where it does not say.

    Args:
        settings: with the subject area, x before y [px].
        rows: of the full-size picture [px].
        columns: of the full-size picture [px].

    Returns:
        Shares in 0..1 or None.

    Source: Exif 2.32, SubjectArea: the first two values are the centre's x and y.
    """
    if len(settings.subject_area) < 2:
        return None
    x, y = settings.subject_area[0] / columns, settings.subject_area[1] / rows
    return (y, x) if 0 < x < 1 and 0 < y < 1 else None


def _sentences(fault: str, view: View, settings: Settings, error: float) -> list[str]:
    """What the view that says a fault is likeliest has to say on it; from further away, that it is."""
    said = sentences_for(fault, view.measures, settings, error)
    return said if view.times_smaller == 1 else [*said, f"seen best at 1/{view.times_smaller} of the picture's size"]


def _blur_px(told: Mapping[str, tuple[float, View]]) -> float:
    """Extent of the blur of the likeliest fault of sharpness, or of the sharpest edges where none is likely [px]."""
    likeliest = max(TOLD_FROM_AFAR, key=lambda fault: told[fault][0])
    probability, view = told[likeliest]
    measures = view.measures
    if probability < TOLD_FROM:
        spread = measures.blur.spread * DISC_PER_SPREAD
    elif likeliest == "shake":
        spread = measures.soft_half.along * SMEAR_PER_SPREAD
    elif likeliest == "subject_motion" and measures.moved.is_sure:
        return measures.moved.moved.far
    elif likeliest == "subject_motion" and measures.streaked_place:
        spread = measures.streaked_place.blur.along * SMEAR_PER_SPREAD
    elif likeliest == "focus" and measures.rings.told:
        return measures.rings.told.size
    else:
        soft = measures.soft_place.blur.spread if measures.soft_place else math.nan
        spread = float(np.fmax(soft, measures.soft_half.spread)) * DISC_PER_SPREAD
    return max(spread, 0.0) if math.isfinite(spread) else math.nan


def _to_draw(measures: Measures, picture: Picture, point: tuple[float, float] | None) -> dict[str, Any]:
    cells = measures.map
    shape = (cells.spread.shape[0], cells.spread.shape[1])
    return {
        "width_px": round(picture.grey.shape[1] * picture.scale),
        "height_px": round(picture.grey.shape[0] * picture.scale),
        "is_preview": picture.is_preview,
        "preview_scale": round(picture.scale, 3),
        "blur": _drawn_blur(measures.blur),
        "map": {
            "spread_px": _drawn(cells.spread),
            "along_px": _drawn(cells.along),
            "across_px": _drawn(cells.across),
            "direction_deg": _drawn(np.degrees(cells.direction), 0),
        },
        "subject": {
            "is_from_camera": point is not None,
            "weights": _drawn(subject_weights(shape, point), 4),
            "blur": _drawn_blur(measures.subject),
            "sharp_place": _drawn_place(measures.sharp_place),
            "soft_place": _drawn_place(measures.soft_place),
            "streaked_place": _drawn_place(measures.streaked_place),
        },
        "tones": {
            "white_share": round(measures.tones.white_share, 4),
            "black_share": round(measures.tones.black_share, 4),
            "levels_stops": [round(float(each), 2) for each in measures.tones.levels],
            "mean_stops": round(measures.tones.mean, 2),
        },
        "noise_by_brightness": [_rounded(float(each)) for each in measures.noise.by_band],
    }


def _drawn_blur(blur: Blur) -> dict[str, Any]:
    return {
        "spread_px": _rounded(blur.spread),
        "along_px": _rounded(blur.along),
        "across_px": _rounded(blur.across),
        "direction_deg": _rounded(math.degrees(blur.direction), 0),
        "n_crests": round(blur.n_crests),
    }


def _drawn_place(place: Place | None) -> dict[str, Any] | None:
    if place is None:
        return None
    cells = [[int(row), int(column)] for row, column in np.argwhere(place.inside)]
    return {
        "cells": cells,
        "octaves": _rounded(place.softer),
        "blur": _drawn_blur(place.blur),
        "outside": _drawn_blur(place.outside),
    }


def _drawn(values: NDArray[np.float64], digits: int = 2) -> list[list[float | None]]:
    return [[_rounded(float(value), digits) for value in row] for row in values]


def _rounded(value: float, digits: int = 2) -> float | None:
    return round(value, digits) if math.isfinite(value) else None
