"""One file in, plain numbers out."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from degraded.camera import any_camera, develop, jpeg
from degraded.scenes import rendered

from analytics.pixels import MEASURE_VERSION, UnmeasurablePictureError, measure
from analytics.pixels.decoding import SHORTEST_SIDE, Picture
from analytics.pixels.measuring import measured
from analytics.pixels.model import FAULTS

PROBABILITIES = ("exposure", "focus", "shake", "subject_motion", "noise")
SETTINGS = {"ExposureTime": 1 / 30, "FNumber": 4.0, "ISO": 400, "FocalLength": 85, "FocalLengthIn35mmFilm": 85}


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    light = rendered(2, 600, 800).light
    return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255, np.uint8)


@pytest.fixture(scope="module")
def file(picture: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pictures") / "heron.jpg"
    path.write_bytes(jpeg(picture, 92))
    return path


def test_a_picture_gives_a_probability_for_every_fault_and_measures_that_can_be_stored(file: Path) -> None:
    found = measure(str(file), SETTINGS)
    assert all(0 < found[fault] < 1 for fault in PROBABILITIES)
    assert json.loads(json.dumps(found)) == found
    assert found["measure_version"] == MEASURE_VERSION
    assert (found["width_px"], found["height_px"]) == (800, 600)
    assert np.array(found["map"]["spread_px"], float).shape == (8, 12)
    assert found["cant_tell"] is False
    assert found["evidence"]


def test_settings_that_nobody_wrote_down_leave_a_result(file: Path) -> None:
    found = measure(str(file), {})
    assert all(0 < found[fault] < 1 for fault in PROBABILITIES)


@pytest.mark.parametrize(
    "exif",
    [
        {"ExposureTime": "1/0", "ISO": None, "FNumber": "wide open", "SubjectArea": (5,)},
        {"ExposureTime": -1, "ISO": float("nan"), "BrightnessValue": (1, 0), "SubjectArea": "middle"},
        {"ExposureTime": (1, 30), "FocalLength": "85", "Flash": "off", "SubjectArea": [10_000, -3]},
    ],
)
def test_impossible_settings_count_as_missing(file: Path, exif: dict[str, object]) -> None:
    found = measure(str(file), exif)
    assert all(0 < found[fault] < 1 for fault in PROBABILITIES)


def test_a_plain_wall_is_no_ground_to_judge_sharpness_on(tmp_path: Path) -> None:
    wall = np.full((600, 800), 120, np.uint8)
    cv2.imwrite(str(tmp_path / "wall.png"), wall)
    found = measure(str(tmp_path / "wall.png"), SETTINGS)
    assert found["cant_tell"] is True
    assert found["evidence"][0] == "too few edges to judge sharpness by: in 0 of 96 cells"


def test_a_file_cut_short_is_refused_in_a_sentence(file: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(file.read_bytes()[:20_000])
    with pytest.raises(UnmeasurablePictureError) as refusal:
        measure(str(broken), {})
    assert str(refusal.value) == (
        "broken.jpg is cut short.\n"
        "  Next: Open it in another program; if it is damaged there too, copy it from the card again."
    )


def test_a_file_with_lost_data_in_its_middle_is_refused_and_superfluous_bytes_are_not(
    file: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    data = bytearray(file.read_bytes())
    fuller = data[:-2] + b"\0" * 64 + data[-2:]
    (tmp_path / "fuller.jpg").write_bytes(fuller)
    assert measure(str(tmp_path / "fuller.jpg"), SETTINGS)["cant_tell"] is False
    middle = len(data) // 2
    data[middle : middle + 300] = np.random.default_rng(1).integers(0, 255, 300).astype(np.uint8).tobytes()
    (tmp_path / "damaged.jpg").write_bytes(data)
    with pytest.raises(UnmeasurablePictureError, match=r"damaged\.jpg is damaged: a part of it cannot be decoded\."):
        measure(str(tmp_path / "damaged.jpg"), SETTINGS)
    assert "JPEG" not in capfd.readouterr().err


def test_a_jpeg_is_one_whatever_its_name(file: Path, tmp_path: Path) -> None:
    (tmp_path / "named.cr2").write_bytes(file.read_bytes())
    assert measure(str(tmp_path / "named.cr2"), SETTINGS) == measure(str(file), SETTINGS)


def test_a_box_that_ends_behind_the_end_of_its_file_is_cut_short(tmp_path: Path) -> None:
    whole = b"\0\0\0\x18ftypheic" + b"\0" * 12
    (tmp_path / "half.heic").write_bytes(whole + b"\0\1\0\0mdat" + b"\0" * 400)
    with pytest.raises(UnmeasurablePictureError, match=r"half\.heic is cut short\."):
        measure(str(tmp_path / "half.heic"), {})
    (tmp_path / "more.heic").write_bytes(whole + b"whatever a maker adds behind the boxes")
    with pytest.raises(UnmeasurablePictureError, match=r"more\.heic cannot be decoded\."):
        measure(str(tmp_path / "more.heic"), {})


@pytest.mark.parametrize("name", ["notes.jpg", "notes.tif", "notes.heic", "notes.nef", "notes.png"])
def test_a_file_that_is_no_picture_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"\0\0\0\x18ftypheic" + b"low tide at seven " * 40)
    with pytest.raises(UnmeasurablePictureError):
        measure(str(tmp_path / name), {})


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnmeasurablePictureError) as refusal:
        measure(str(tmp_path / "gone.jpg"), {})
    assert str(refusal.value) == (
        "gone.jpg cannot be read: No such file or directory.\n  Next: Check that the file is there and may be read."
    )


def test_a_tiny_picture_is_refused(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "stamp.png"), np.zeros((40, 60), np.uint8))
    with pytest.raises(UnmeasurablePictureError) as refusal:
        measure(str(tmp_path / "stamp.png"), {})
    assert str(refusal.value) == (
        "stamp.png has 60 × 40 pixels, too few to measure.\n"
        "  Next: Examine a copy whose shorter side has at least 144 pixels."
    )


@pytest.mark.parametrize("stops", [-8, -6, -4, 4, 6])
def test_what_is_far_too_dark_or_far_too_bright_is_never_taken_for_meant_so(stops: int, tmp_path: Path) -> None:
    camera = any_camera(np.random.default_rng(3))
    for scene in (1000, 1001, 1002):
        light = rendered(scene, 720, 960).light * np.float32(2.0**stops)
        picture, _ = develop(light, 200, camera, np.random.default_rng(4))
        path = tmp_path / f"{scene}.jpg"
        path.write_bytes(jpeg(picture, 92))
        found = measure(str(path), SETTINGS)
        assert found["exposure"] > 0.5, scene
        assert found["ev"] * stops > 0


@pytest.mark.parametrize(
    "size", [(SHORTEST_SIDE, SHORTEST_SIDE), (SHORTEST_SIDE, 600), (SHORTEST_SIDE + 1, 150), (149, 1000), (160, 171)]
)
def test_the_smallest_pictures_are_measured_whatever_their_shape(size: tuple[int, int]) -> None:
    grey = np.random.default_rng(1).integers(0, 256, size).astype(np.uint8)
    for picture in (Picture(grey, 255.0), Picture(np.ascontiguousarray(grey.T), 255.0)):
        found = measured(picture, {})
        assert all(0 < found[fault] < 1 for fault in FAULTS)
