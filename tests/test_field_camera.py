"""The frames of the field camera have what their records say, and a series can be taken up again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from degraded.gathering import field_truth
from fieldcamera.making import make_frame
from fieldcamera.photographs import LIST, N_HASH_DIGITS, Photograph, find_photographs
from fieldcamera.planning import FAULTS, GOOD_EXPOSURE_STOPS, draw_faults, draw_plan
from fieldcamera.series import make_frames
from othercamera.sources import drawn_light

Record = dict[str, Any]


@pytest.fixture(scope="module")
def photograph(tmp_path_factory: pytest.TempPathFactory) -> Photograph:
    """A drawn scene, well exposed."""
    path = tmp_path_factory.mktemp("pictures") / "drawn.png"
    light = drawn_light(np.random.default_rng(4), 640, 420)
    cv2.imwrite(str(path), (np.clip(light[..., ::-1], 0, 1) ** (1 / 2.2) * 255).astype(np.uint8))
    return Photograph("drawn", path, "shade")


@pytest.fixture(scope="module")
def frames(photograph: Photograph, tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Record, Any]]:
    """Sixty frames of it: their records, and their tones in [0, 255]."""
    folder = tmp_path_factory.mktemp("frames")
    records = [make_frame(number, 3, [photograph], folder) for number in range(60)]
    grey = [cv2.imread(str(folder / record["file"]), cv2.IMREAD_GRAYSCALE) for record in records]
    return [(record, picture.astype(np.float64)) for record, picture in zip(records, grey, strict=True)]


def with_only(frames: list[tuple[Record, Any]], *faults: str) -> list[tuple[Record, Any]]:
    return [(record, picture) for record, picture in frames if record["faults"] == list(faults)]


def fine_detail(picture: Any) -> float:
    return float(cv2.Laplacian(cv2.GaussianBlur(picture, (0, 0), 1.0), cv2.CV_64F).var() / picture.var())


def test_the_same_number_gives_the_same_frame(photograph: Photograph, tmp_path: Path) -> None:
    made = []
    for name in ("once", "again"):
        (tmp_path / name).mkdir()
        record = make_frame(7, 3, [photograph], tmp_path / name)
        made.append((record, (tmp_path / name / record["file"]).read_bytes()))
    assert made[0] == made[1]


def test_an_exposure_error_shows_on_its_side(frames: list[tuple[Record, Any]]) -> None:
    plain = np.mean([picture.mean() for record, picture in with_only(frames) if record["kind"] == "plain"])
    wrong = with_only(frames, "exposure")
    assert {np.sign(record["exposure_error_stops"]) for record, _ in wrong} == {-1.0, 1.0}
    for record, picture in wrong:
        if record["kind"] in ("plain", "shallow"):
            assert (picture.mean() > plain) == (record["exposure_error_stops"] > 0)


@pytest.mark.parametrize("fault", ["focus", "shake"])
def test_blur_takes_fine_detail(frames: list[tuple[Record, Any]], fault: str) -> None:
    sharp = [fine_detail(picture) for record, picture in with_only(frames) if record["kind"] == "plain"]
    soft = [fine_detail(picture) for _, picture in with_only(frames, fault)]
    assert len(soft) >= 3
    assert np.median(soft) < np.quantile(sharp, 0.25)


def test_settings_belong_to_the_fault() -> None:
    """A plan has the faults that were asked for, by sizes that follow from its settings, and no other."""
    rng = np.random.default_rng(2)
    seen = set()
    for _ in range(120):
        faults = draw_faults(rng)
        plan = draw_plan("indoor", "", 1800, faults, rng)
        assert set(plan.sizes) == set(faults)
        assert (abs(plan.exposure_error_stops) > GOOD_EXPOSURE_STOPS) == ("exposure" in faults)
        seen |= set(faults)
    assert seen == set(FAULTS)


def test_a_series_that_was_cut_off_is_taken_up_again(photograph: Photograph, tmp_path: Path) -> None:
    whole = make_frames(tmp_path / "whole", [photograph], 3, 1)
    assert [record["file"] for record in whole] == ["frame-0000.jpg", "frame-0001.jpg", "frame-0002.jpg"]
    cut = tmp_path / "cut"
    cut.mkdir()
    first = json.dumps(make_frame(0, 1, [photograph], cut))
    (cut / "frames.jsonl").write_text(f"{first}\n{first[:40]}", encoding="utf-8")
    assert make_frames(cut, [photograph], 3, 1) == whole


def test_only_listed_photographs_are_taken(photograph: Photograph) -> None:
    assert find_photographs(photograph.path.parent) == []
    lines = [line.split() for line in LIST.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    assert all(len(digits) == N_HASH_DIGITS and light in ("day", "shade", "indoor", "dusk") for digits, light in lines)
    assert len({digits for digits, _ in lines}) == len(lines)


def test_a_fit_is_told_what_is_wrong_with_a_frame(frames: list[tuple[Record, Any]]) -> None:
    for record, _ in frames:
        truth = field_truth(record)
        assert {fault for fault, is_there in truth["labels"].items() if is_there} == set(record["faults"])
        assert (truth["kind"] == "missed focus") == (record["focus_fault"] in {"behind", "in_front"})
        assert (truth["blur_px"] > 0) == bool({"focus", "shake", "subject_motion"} & set(record["faults"]))
    assert {"missed focus", "focus", "subject motion", "plain"} <= {field_truth(record)["kind"] for record, _ in frames}
