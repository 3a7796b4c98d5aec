"""What can have happened in the exposure time bounds what is called a smear."""

from __future__ import annotations

import math
from typing import Any

import pytest

from analytics.pixels.settings import settings_of
from analytics.pixels.spread import octaves
from analytics.pixels.timed import timed_features

SEEN = (
    *("whole_along", "along_sharp", "whole_directed", "detail_directed", "subject_along_apart", "streaked_apart"),
    *("streaked_directed", "swept_apart", "moved_sureness", "moved_wider", "soft_softer"),
)
LENS = {"FocalLength": 50, "FocalLengthIn35mmFilm": 50, "ImageStabilization": "off"}


def timed(exif: dict[str, Any], tolerance: float = 1.0, **seen: float) -> dict[str, float]:
    settings = settings_of(exif)
    time = math.log2(settings.exposure_time_s) if math.isfinite(settings.exposure_time_s) else math.nan
    return timed_features({**dict.fromkeys(SEEN, 1.0), "time": time, **seen}, settings, tolerance)


def test_a_long_time_makes_no_shake_of_a_sharp_picture() -> None:
    sharp, smeared = octaves(0.4), octaves(5.0)
    assert timed({"ExposureTime": "1/4", **LENS}, whole_along=sharp)["shake_by_both"] == pytest.approx(sharp)
    assert timed({"ExposureTime": "1/4", **LENS}, whole_along=smeared)["shake_by_both"] == pytest.approx(smeared)


def test_streaks_make_no_shake_of_a_short_time() -> None:
    found = timed({"ExposureTime": "1/2000", **LENS}, whole_along=octaves(5.0), along_sharp=octaves(3.0))
    hands = octaves(0.6 * 50 / 2000)
    assert (found["shake_by_both"], found["shake_by_most"]) == pytest.approx((hands, hands))


def test_the_rule_allows_a_smear_of_the_circle_of_confusion() -> None:
    allowed = timed({"ExposureTime": "1/50", **LENS}, whole_along=octaves(9.0))["shake_by_both"]
    spread = 2**allowed - 2 ** octaves(0.0)
    assert spread * math.sqrt(12) * 36 / 2000 == pytest.approx(0.03, rel=0.3)  # [mm] of 36, of an even smear


@pytest.mark.parametrize("exif", [{}, LENS, {"ExposureTime": "1/4"}])
def test_what_is_not_known_of_the_picture_or_its_time_is_not_told(exif: dict[str, Any]) -> None:
    assert math.isnan(timed(exif, whole_along=math.nan)["shake_by_both"])
    assert math.isfinite(timed(exif)["shake_by_both"]) == ("ExposureTime" in exif)


def test_stabilisation_that_nobody_wrote_down_lies_between_on_and_off() -> None:
    room = [
        timed({"ExposureTime": "1/30", "FocalLengthIn35mmFilm": 50, **written})["shake_room"]
        for written in ({"ImageStabilization": "off"}, {}, {"ImageStabilization": "on"})
    ]
    assert room[0] > room[1] > room[2] == pytest.approx(room[0] - 2)


def test_a_larger_picture_of_the_same_hands_is_smeared_as_much_more() -> None:
    small, large = (
        timed({"ExposureTime": "1/50", **LENS}, tolerance, whole_along=octaves(99.0, tolerance))["shake_by_both"]
        for tolerance in (1.0, 2.0)
    )
    raise_of = 2 ** octaves(0.0)
    # four times the side is twice the tolerance: four times the smear in pixels, of which twice as many are tolerated
    assert 2**large - raise_of == pytest.approx(2 * (2**small - raise_of))


def test_what_seems_to_move_counts_less_the_shorter_the_time() -> None:
    moved = [timed({"ExposureTime": time})["moved_in_time"] for time in ("1/4000", "1/125", "1/2")]
    assert 0 < moved[0] < moved[1] < moved[2] < 1
