"""Directions are told as they lie in the upright picture, whichever way the camera was held."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from degraded.blurs import line, spread
from degraded.scenes import rendered
from PIL import Image, ImageOps

from analytics.examining.settings import exif_of
from analytics.pixels import measure
from journal.notation import format_direction
from journal.records.measures import ToExamine
from journal.records.turns import TURNS, upright_deg

ORIENTATION = 0x0112


@pytest.fixture(scope="module")
def streaked() -> Image.Image:
    """An upright picture, smeared by 16 px along 30 degrees, clockwise from level."""
    light = spread(rendered(1, 600, 800).light, line(16.0, np.radians(30)))
    return Image.fromarray(np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255, np.uint8))


def as_stored(upright: Image.Image, orientation: int) -> Image.Image:
    """What a camera stores that turned so: the picture that Orientation makes upright again."""
    for turned in Image.Transpose:
        stored = upright.transpose(turned)
        stored.getexif()[ORIENTATION] = orientation
        again = ImageOps.exif_transpose(stored)
        if again.size == upright.size and np.array_equal(np.asarray(again), np.asarray(upright)):
            return stored
    return upright


def way(sentences: list[str]) -> float:
    """The direction in the first sentence that has one [degrees]."""
    told = next(sentence for sentence in sentences if "along" in sentence)
    return float(told.split("along ")[1].split("°")[0])


@pytest.mark.parametrize("orientation", TURNS)
def test_evidence_tells_the_direction_that_the_photographer_sees(
    streaked: Image.Image, orientation: int, tmp_path: Path
) -> None:
    path = tmp_path / "stored.png"
    as_stored(streaked, orientation).save(path)
    found = measure(path, {"Orientation": orientation, "ExposureTime": 0.25})
    assert way(found["evidence_by_fault"]["shake"]) == pytest.approx(30, abs=4)
    # what is drawn stays as the stored picture is, and is turned where it is drawn
    assert upright_deg(found["blur"]["direction_deg"], orientation) == pytest.approx(30, abs=4)


def test_decoding_turns_a_heic_upright_and_no_other_kind() -> None:
    def known(kind: str) -> dict[str, object]:
        return exif_of(ToExamine(1, "/nowhere", kind, 1, 1, "k", {"orientation": 6, "iso": 400}))

    assert known("jpeg") == {"Orientation": 6, "ISO": 400}
    assert known("heif") == {"ISO": 400}


def test_an_unknown_orientation_is_taken_for_upright() -> None:
    assert upright_deg(14, None) == upright_deg(14, 0) == upright_deg(14, 9) == 14
    assert format_direction(179.7) == "0°"
