"""The frames of the pocket camera have what their records say, and a series can be taken up again."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from degraded.sources import N_DIGITS, listed, listed_digits
from fieldcamera.photographs import LIST as FIELD_LISTED
from numpy.typing import NDArray
from othercamera.sources import OTHERS_LISTED, drawn_light
from pocketcamera.blurs import disc, hand_path, moving_path, path_kernel
from pocketcamera.bodies import ACCEPTABLE_NOISE, BODIES, HEAVY_NOISE
from pocketcamera.layers import taken_apart
from pocketcamera.making import file_name, make_frame
from pocketcamera.rendering import hand_kernel, laid_over, moved, rendered
from pocketcamera.sensor import captured
from pocketcamera.series import make_frames
from pocketcamera.sources import LISTED, Part, edges_of, part_of, sharp_part
from pocketcamera.stories import FAULTS, KINDS, RIGHT_LIMIT_STOPS, WRONG_STOPS, Story, draw_kind, draw_story
from pocketcamera.subjects import Subject, box_of
from pocketcamera.tones import grey, opened, shoulder, without_shoulder

Floats = NDArray[np.float32]
N_FRAMES = 2


def drawn_codes(width: int, height: int) -> NDArray[np.uint8]:
    """Dark blue leaves with a bright, warm, patterned ball in front of them."""
    light = 0.45 * drawn_light(np.random.default_rng(4), width, height) * np.array([0.6, 0.9, 1.5], np.float32)
    ball = drawn_light(np.random.default_rng(5), width, height) * np.array([2.6, 1.6, 0.5], np.float32)
    light = np.where(round_mask(width, height)[..., None], ball + np.array([0.2, 0.1, 0.0], np.float32), light)
    return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)


def round_mask(width: int, height: int) -> NDArray[np.bool_]:
    y, x = np.mgrid[:height, :width]
    return np.asarray(np.hypot(x - 0.4 * width, y - 0.5 * height) < 0.25 * height)


def drawn_subject(width: int, height: int) -> Subject:
    """The ball."""
    mask = round_mask(width, height)
    return Subject(mask.astype(np.float32), box_of(mask), 1.0, ~mask, 2.0, 24, 0)


@pytest.fixture(scope="module")
def part() -> Part:
    return part_of(drawn_codes(600, 400))


@pytest.fixture(scope="module")
def stories() -> list[tuple[Story, str | None]]:
    """Stories of all kinds, and the second fault that was wanted."""
    found = []
    for number in range(250):
        rng = np.random.default_rng([9, number])
        kind, second = draw_kind(rng)
        found.append((draw_story(rng, kind, second), second))
    assert {story.kind for story, _ in found} == set(KINDS)
    return found


@pytest.fixture(scope="module")
def photographs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A drawn scene, and a wall that no frame can be made of."""
    folder = tmp_path_factory.mktemp("pictures")
    cv2.imwrite(str(folder / "drawn.png"), drawn_codes(1380, 1000)[..., ::-1])
    cv2.imwrite(str(folder / "wall.png"), np.full((1000, 1400, 3), 120, np.uint8))
    return {path.stem: path for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def series(photographs: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[dict[str, Any]]]:
    folder = tmp_path_factory.mktemp("series")
    return folder, make_frames(folder, photographs, N_FRAMES, 1)


def settings_ev(exif: dict[str, Any]) -> float:
    """Exposure value at ISO 100 of the settings that were written down."""
    return math.log2(exif["FNumber"] ** 2 / exif["ExposureTime"]) - math.log2(exif["ISO"] / 100)


def width_px(kernel: Floats) -> int:
    """Pixels that a kernel reaches over, across or down."""
    rows, columns = np.nonzero(kernel > 1e-6)
    return int(max(np.ptp(rows), np.ptp(columns))) + 1


def test_the_faults_of_a_story_are_those_that_have_a_size(stories: list[tuple[Story, str | None]]) -> None:
    for story, second in stories:
        assert set(story.sizes) == {*KINDS[story.kind][1], *([second] if second else [])}
        assert min(story.sizes.values(), default=1) > 0
        if "exposure" in story.sizes:
            assert story.sizes["exposure"] == pytest.approx(abs(story.ev), abs=0.006)
            assert abs(story.ev) >= WRONG_STOPS[0] - 0.2
        else:
            assert abs(story.ev) <= RIGHT_LIMIT_STOPS


def test_settings_belong_to_their_light(stories: list[tuple[Story, str | None]]) -> None:
    """Light and settings differ by the exposure error, and by ISO in thirds of a stop."""
    for story, _ in stories:
        taken = story.settings
        asked_for = math.log2(taken.f_number**2 / taken.exposure_time_s) - math.log2(taken.iso / 100)
        assert taken.light_ev - asked_for == pytest.approx(story.ev, abs=0.25)


def test_the_meter_agrees_with_settings_that_expose_rightly(stories: list[tuple[Story, str | None]]) -> None:
    exifs = [story.exif for story, _ in stories if "exposure" not in story.faults]
    differences = [
        exif["BrightnessValue"] + 5 - settings_ev(exif) for exif in exifs if {"BrightnessValue", "FNumber"} <= set(exif)
    ]
    assert len(differences) > 50
    assert max(map(abs, differences)) < 3
    assert abs(np.median(differences)) < 0.2


def test_settings_belong_to_the_fault(stories: list[tuple[Story, str | None]]) -> None:
    for story, _ in stories:
        noise = story.settings.body.relative_noise(story.settings.iso)
        assert noise >= HEAVY_NOISE if "noise" in story.faults else noise <= ACCEPTABLE_NOISE
        assert not (story.settings.is_on_tripod and "shake" in story.faults)
    shaken = [story.stops_beyond_rule for story, _ in stories if "shake" in story.faults]
    steady = [story.stops_beyond_rule for story, _ in stories if story.kind == "good_plain"]
    assert np.median(shaken) > np.median(steady) + 2


def test_a_hand_is_steady_unless_it_shakes(stories: list[tuple[Story, str | None]]) -> None:
    rng = np.random.default_rng(3)
    for story, _ in stories:
        kernel = hand_kernel(story, rng)
        if story.settings.is_on_tripod:
            assert kernel is None
        else:
            assert kernel is not None
            assert (width_px(kernel) > 3) == ("shake" in story.faults)


def test_a_blur_has_the_size_that_was_asked_for() -> None:
    kernel = disc(12.0)
    x = np.arange(len(kernel)) - len(kernel) // 2
    assert math.sqrt((kernel * x**2).sum()) == pytest.approx(12 / 4, rel=0.02)
    rng = np.random.default_rng(1)
    for path in (hand_path(9.0, 0.1, rng), moving_path(9.0, 0.4, rng)):
        ends = path[:, None] - path[None]
        assert np.hypot(*ends.transpose(2, 0, 1)).max() == pytest.approx(9, rel=0.02)
        assert path_kernel(path).sum() == pytest.approx(1, abs=1e-5)


def test_a_subject_that_moves_smears_only_where_it_is() -> None:
    codes, subject = drawn_codes(480, 320), drawn_subject(480, 320)
    scene = opened(codes)
    background, front = taken_apart(scene, subject.matte)
    layer = np.dstack([front * subject.matte[..., None], subject.matte])
    still = laid_over(background, layer)
    at_outline = cv2.morphologyEx(subject.matte, cv2.MORPH_GRADIENT, np.ones((19, 19), np.uint8)) > 0
    assert np.allclose(still[~at_outline], scene[~at_outline], atol=1e-5)
    shown = laid_over(background, moved(layer, background, codes, subject, 12.0, 2.0, np.random.default_rng(2)))
    change = np.abs(shown - still).mean(-1)
    reached = cv2.dilate(subject.matte, np.ones((31, 31), np.uint8)) > 0
    assert change[~reached].max() == 0
    detail = [cv2.Laplacian(picture, cv2.CV_32F)[subject.matte > 0].var() for picture in (still, shown)]
    assert detail[1] < 0.3 * detail[0]


def test_an_exposure_error_makes_the_picture_brighter_or_darker(part: Part) -> None:
    story = draw_story(np.random.default_rng(8), "good_plain")
    means = [rendered(part, replace(story, ev=ev), np.random.default_rng(6))[0].mean() for ev in (-2.0, 0.0, 2.0)]
    assert means[0] + 25 < means[1] < means[2] - 25


def test_a_frame_out_of_focus_has_wider_edges_than_a_good_one(part: Part) -> None:
    rises = {}
    for kind in ("good_plain", "focus"):
        story = draw_story(np.random.default_rng(8), kind)
        edges, rise = edges_of(grey(rendered(part, story, np.random.default_rng(6))[0]))
        rises[kind] = np.percentile(rise[edges], 20)
    assert rises["good_plain"] < 3.2
    assert rises["focus"] > 1.5 * rises["good_plain"]


def test_a_higher_iso_shows_more_noise() -> None:
    light, neutral = np.full((120, 160, 3), 0.18, np.float32), np.ones(3, np.float32)
    body = BODIES[0]
    for iso in (100, 1600, 25600):
        green = captured(light, body, iso, 0.0, neutral, np.random.default_rng(1))[..., 1]
        assert green.mean() == pytest.approx(0.18, rel=0.05)
        assert 0.5 < green.std() / 0.18 / body.relative_noise(iso) < 2


def test_opened_highlights_are_those_that_a_shoulder_closes() -> None:
    light = np.linspace(0, 2.9, 50, dtype=np.float32)
    assert np.allclose(without_shoulder(shoulder(light, 3.0)), light, atol=0.01)


def test_what_is_not_sharp_is_no_source(photographs: dict[str, Path], tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    assert sharp_part(photographs["wall"], rng, False, 1.5) is None
    assert sharp_part(photographs["drawn"], rng, True, 1.5) is None  # upright it has less than 1.2 megapixels
    found = sharp_part(photographs["drawn"], rng, False, 1.5)
    assert found is not None
    assert found.codes.shape[0] * 1.5 == pytest.approx(found.codes.shape[1], rel=0.01)
    soft = tmp_path / "soft.png"
    drawn = cv2.imread(str(photographs["drawn"]))
    assert drawn is not None
    cv2.imwrite(str(soft), cv2.GaussianBlur(drawn, (0, 0), 4))
    assert sharp_part(soft, rng, False, 1.5) is None


def test_records_say_what_the_frames_are(series: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, records = series
    assert [record["file"] for record in records] == [file_name(number) for number in range(N_FRAMES)]
    for record in records:
        assert record["labels"] == {fault: fault in record["sizes"] for fault in FAULTS}
        assert record["photograph"] == "drawn"
        picture = cv2.imread(str(folder / record["file"]))
        assert picture is not None
        left, top, right, bottom = record["subject_box"]
        assert 0 <= left < right <= picture.shape[1]
        assert 0 <= top < bottom <= picture.shape[0]


def test_a_frame_follows_from_seed_number_and_photographs(
    series: tuple[Path, list[dict[str, Any]]], photographs: dict[str, Path], tmp_path: Path
) -> None:
    """What was made before, in the same process or another, does not matter."""
    folder, records = series
    number = N_FRAMES - 1
    assert make_frame(number, 1, photographs, tmp_path) == records[number]
    assert (tmp_path / file_name(number)).read_bytes() == (folder / file_name(number)).read_bytes()


def test_a_series_that_was_cut_off_is_taken_up_again(
    series: tuple[Path, list[dict[str, Any]]], photographs: dict[str, Path], tmp_path: Path
) -> None:
    folder, records = series
    cut = tmp_path / "cut"
    shutil.copytree(folder, cut)
    lines = (folder / "frames.jsonl").read_text(encoding="utf-8").splitlines()
    (cut / "frames.jsonl").write_text("\n".join([*lines[1:], lines[0][:40]]), encoding="utf-8")
    assert make_frames(cut, photographs, N_FRAMES, 1) == records
    assert [json.loads(line) for line in (cut / "frames.jsonl").read_text(encoding="utf-8").splitlines()] == records


def test_only_listed_photographs_are_taken_and_none_that_a_fit_has_seen(photographs: dict[str, Path]) -> None:
    assert listed(photographs["drawn"].parent, LISTED) == {}
    digits = listed_digits(LISTED)
    assert digits
    assert {len(one) for one in digits} == {N_DIGITS}
    lines = FIELD_LISTED.read_text(encoding="utf-8").splitlines()
    of_field = {line[:N_DIGITS] for line in lines if not line.startswith("#")}
    assert not digits & (listed_digits() | listed_digits(OTHERS_LISTED) | of_field)
