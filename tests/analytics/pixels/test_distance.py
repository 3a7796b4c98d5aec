"""Stepping back from a picture: when it is done, and what it is believed."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from degraded.blurs import blurred_inside, disc, spread
from degraded.camera import plain_grey as codes
from degraded.scenes import rendered
from numpy.typing import NDArray

from analytics.pixels.cells import halved
from analytics.pixels.decoding import SHORTEST_SIDE, Picture
from analytics.pixels.distance import (
    FROM_AFAR,
    FROM_AFAR_IF_WIDE,
    LARGE_SIDE,
    LEAST_OF_LARGE,
    LEAST_SIDE,
    told_by,
    views_of,
)
from analytics.pixels.measuring import measured
from analytics.pixels.model import FAULTS, LOOKS, TOLD_FROM_AFAR, shipped_model
from analytics.pixels.settings import settings_of

EXIF: dict[str, Any] = {"ExposureTime": 1 / 250, "FNumber": 4, "ISO": 200, "FocalLength": 85}
ROWS, COLUMNS = 1760, 2640
WIDE = 32


@lru_cache(maxsize=1)
def scene() -> NDArray[np.float32]:
    return rendered(5, ROWS, COLUMNS).light


@lru_cache(maxsize=2)
def missed(x: float = 0.5) -> Picture:
    """Out of focus by a wide disc around a point halfway down."""
    rows, columns = np.mgrid[0:ROWS, 0:COLUMNS]
    inside = np.hypot(rows - ROWS / 2, columns - COLUMNS * x) < ROWS / 4
    light = blurred_inside(scene(), np.asarray(inside, np.float32), disc(WIDE))
    return Picture(codes(light), 255.0)


def times_smaller(picture: Picture, point: tuple[float, float] | None = None) -> list[int]:
    return [view.times_smaller for view in views_of(picture, settings_of(EXIF), point)]


def test_a_large_picture_that_is_sharp_is_looked_at_once() -> None:
    assert times_smaller(Picture(codes(scene()), 255.0)) == [1]


def test_a_picture_of_ordinary_size_is_looked_at_twice_however_sharp_or_wide_it_is() -> None:
    for picture in (Picture(halved(codes(scene())), 255.0), Picture(halved(missed().grey), 255.0)):
        assert max(picture.grey.shape) < LARGE_SIDE
        assert times_smaller(picture) == [1, 2]


@pytest.mark.parametrize(("rows", "columns"), [(300, 2 * LEAST_SIDE - 2), (2 * SHORTEST_SIDE - 2, 1400)])
def test_a_small_picture_is_looked_at_once(rows: int, columns: int) -> None:
    assert times_smaller(Picture(codes(scene())[:rows, :columns], 255.0)) == [1]


def test_nobody_steps_back_until_too_little_is_left() -> None:
    assert times_smaller(Picture(codes(spread(scene(), disc(WIDE))), 255.0)) == [1, 2]
    assert COLUMNS / 2 >= LEAST_OF_LARGE > COLUMNS / 4


def test_what_is_wide_at_the_rim_is_no_reason_unless_the_camera_focused_there() -> None:
    at_the_rim = missed(0.08)
    assert times_smaller(at_the_rim) == [1]
    assert times_smaller(at_the_rim, (0.5, 0.08)) == [1, 2]


def test_a_wide_disc_at_the_subject_is_missed_near_and_named_from_afar() -> None:
    near = views_of(missed(), settings_of(EXIF), None)[0]
    found = measured(missed(), EXIF)
    assert shipped_model().probabilities(near.features)["focus"] < 0.5 < found["focus"]
    assert found["focus"] == max(found[fault] for fault in FAULTS)


def test_its_width_is_told_in_pixels_of_the_full_size_picture() -> None:
    found = measured(missed(), EXIF)
    assert found["blur_px"] == pytest.approx(WIDE, rel=0.15)
    assert "seen best at 1/2 of the picture's size" in found["evidence_by_fault"]["focus"]
    assert not any("seen best" in sentence for sentence in found["evidence_by_fault"]["exposure"])


def test_the_map_stays_that_of_the_near_look() -> None:
    near = views_of(missed(), settings_of(EXIF), None)[0].measures.map
    drawn = np.array(measured(missed(), EXIF)["map"]["spread_px"], float)
    assert np.array_equal(np.isfinite(drawn), np.isfinite(near.spread))


def test_the_model_knows_which_look_is_which() -> None:
    views = views_of(missed(), settings_of(EXIF), None)
    assert [view.features["from_afar"] for view in views] == [0, FROM_AFAR_IF_WIDE]
    views = views_of(Picture(halved(missed().grey), 255.0), settings_of(EXIF), None)
    assert [view.features["from_afar"] for view in views] == [0, FROM_AFAR]
    assert 0 < FROM_AFAR_IF_WIDE < FROM_AFAR


@pytest.mark.parametrize("look", [look for fault in TOLD_FROM_AFAR for look in LOOKS[fault]])
def test_what_is_seen_from_afar_has_to_be_surer(look: str) -> None:
    curve = shipped_model().looks[look].curves["from_afar"]
    assert curve.at(0.0) > curve.at(1.0)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_blur_is_likelier_when_both_looks_show_it(fault: str) -> None:
    near, afar = (view.features for view in views_of(missed(), settings_of(EXIF), None))
    model = shipped_model()
    alone, together = model.log_odds(near)[fault], model.log_odds(near, afar)[fault]
    assert together > alone if fault in TOLD_FROM_AFAR else together == alone


def test_the_view_that_shows_a_blur_best_tells_of_it() -> None:
    near, afar = views_of(missed(), settings_of(EXIF), None)
    sharp = replace(near, features=views_of(Picture(codes(scene()), 255.0), settings_of(EXIF), None)[0].features)
    assert told_by([sharp, afar], shipped_model())["focus"][1] is afar
    assert told_by([afar, sharp], shipped_model())["focus"][1] is afar


@pytest.mark.parametrize(("fault", "light", "grain", "iso"), [("exposure", 4.0, 0, 200), ("noise", 1.0, 20, 25600)])
def test_exposure_and_noise_are_told_near(fault: str, light: float, grain: float, iso: int) -> None:
    near = views_of(Picture(codes(scene()), 255.0), settings_of(EXIF), None)[0]
    grains = np.random.default_rng(1).normal(0, grain, (ROWS, COLUMNS))
    wrong = np.clip(codes(scene() * np.float32(light)) + grains, 0, 255).astype(np.uint8)
    afar = replace(views_of(Picture(wrong, 255.0), settings_of(EXIF | {"ISO": iso}), None)[0], times_smaller=2)
    assert shipped_model().probabilities(afar.features)[fault] > 0.8
    probability, view = told_by([near, afar], shipped_model())[fault]
    assert probability < 0.2
    assert view is near
