"""The generator of degraded frames makes what it says."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from degraded import sources
from degraded.blurs import disc, line, spread
from degraded.camera import any_camera, develop, shouldered, through_lens
from degraded.cases import FAULTS, any_case, exif_of
from degraded.frames import clear_frame
from degraded.scenes import rendered
from PIL import Image


def test_the_same_seed_makes_the_same_frame() -> None:
    scene = rendered(3, 300, 400)
    one, other = (clear_frame(scene, np.random.default_rng(6)) for _ in range(2))
    assert one.data == other.data
    assert (one.exif, one.labels, one.kind) == (other.exif, other.labels, other.kind)
    assert cv2.imdecode(np.frombuffer(one.data, np.uint8), cv2.IMREAD_COLOR).shape == (300, 400, 3)


@pytest.mark.parametrize(("kernel", "deviation"), [(disc(12), 12 / 4), (line(12, 0.4), None)])
def test_blur_keeps_the_light_and_has_the_size_that_was_asked_for(kernel: np.ndarray, deviation: float | None) -> None:
    point = np.zeros((61, 61, 3), np.float32)
    point[30, 30] = 1
    smeared = spread(point, kernel)[:, :, 1]
    y, x = np.mgrid[0:61, 0:61] - 30.0
    assert float(smeared.sum()) == pytest.approx(1, abs=1e-4)
    if deviation is not None:
        assert float(np.sqrt((smeared * x**2).sum())) == pytest.approx(deviation, rel=0.06)
    else:
        assert float(np.sqrt((smeared * (x**2 + y**2)).sum())) == pytest.approx(12 / np.sqrt(12), rel=0.06)


def test_a_higher_iso_shows_more_noise() -> None:
    light = np.full((200, 300, 3), 0.18, np.float32)
    camera = any_camera(np.random.default_rng(2))
    shown = [develop(light, iso, camera, np.random.default_rng(1))[1] for iso in (100, 1600, 12800)]
    assert shown == sorted(shown)
    assert shown[2] > 3 * shown[0]


@pytest.mark.parametrize("headroom", [1.0, 1.3, 2.0, 3.4])
def test_a_shoulder_leaves_middle_tones_alone_and_rises_without_a_kink_to_white(headroom: float) -> None:
    light = np.linspace(0, headroom, 2000)
    shown = shouldered(light, headroom)
    slopes = np.diff(shown) / np.diff(light)
    assert shown[light < 0.5] == pytest.approx(light[light < 0.5])
    assert shown[-1] == pytest.approx(1)
    assert slopes.min() > 0
    assert float(np.abs(np.diff(slopes)).max()) < 0.02


def test_a_bright_sky_is_clipped_where_the_pixel_is_full_and_not_where_there_is_headroom() -> None:
    sky = np.full((200, 300, 3), 1.5, np.float32)
    camera = replace(any_camera(np.random.default_rng(2)), sharpening=0.0, corner_stops=0.0)
    without, with_room = (
        develop(sky, 100, replace(camera, headroom=headroom), np.random.default_rng(1))[0] for headroom in (1.2, 3.0)
    )
    assert without.min() == 255
    assert 225 < np.median(with_room) < 252


def test_faults_come_with_settings_that_can_have_made_them() -> None:
    rng = np.random.default_rng(9)
    cases = [any_case(rng, 1600) for _ in range(300)]
    assert all(case.shake_px > 3.5 for case in cases if "shake" in case.faults)
    assert all(abs(case.ev) >= 1 for case in cases if "exposure" in case.faults)
    good = [case for case in cases if not case.faults]
    assert all(case.shake_px < 1.5 and abs(case.ev) < 1.2 for case in good)
    seen = {fault for case in cases for fault in case.faults}
    assert seen == set(FAULTS)


def test_the_metered_brightness_tells_the_exposure_error_more_often_than_not() -> None:
    rng = np.random.default_rng(10)
    apart = []
    for _ in range(400):
        case = any_case(rng, 1600)
        exif = exif_of(rng, case, (0.5, 0.5), (1600, 1200), 0.0)
        if "BrightnessValue" in exif:
            apart.append(abs(float(str(exif["BrightnessValue"])) + 5 - case.ev100 - case.ev))
    assert 80 < len(apart) < 320
    assert float(np.median(apart)) < 0.6


def test_a_dark_scene_misleads_the_meter_and_a_bright_one_the_other_way() -> None:
    rng, apart = np.random.default_rng(11), {-2.0: [], 2.0: []}  # type: dict[float, list[float]]
    for key in list(apart) * 400:
        case = any_case(rng, 1600)
        exif = exif_of(rng, case, (0.5, 0.5), (1600, 1200), key)
        if "BrightnessValue" in exif:
            apart[key].append(float(str(exif["BrightnessValue"])) + 5 - case.ev100 - case.ev)
    dark, bright = (float(np.median(each)) for each in apart.values())
    assert -1.4 < dark < -0.5
    assert 0.5 < bright < 1.4


def test_a_lens_draws_the_corners_softer_and_darker_than_the_middle() -> None:
    fine = np.repeat((np.indices((300, 400)).sum(axis=0) // 3 % 2).astype(np.float32)[:, :, None], 3, axis=2)
    camera = replace(any_camera(np.random.default_rng(2)), lens_px=0.5, corner_px=1.2, corner_stops=0.6)
    drawn = through_lens(fine, camera)
    middle, corner = drawn[130:170, 180:220], drawn[:30, :30]
    assert corner.mean() / middle.mean() == pytest.approx(2**-0.5, rel=0.1)
    assert corner.std() / corner.mean() < 0.6 * middle.std() / middle.mean()


def test_a_frame_out_of_focus_all_over_is_nowhere_sharper_than_at_its_subject() -> None:
    rng = np.random.default_rng(13)
    cases = [any_case(rng, 1600) for _ in range(1500)]
    behind = [(case.background_px, case.defocus_px) for case in cases if case.kind == "focus"]
    assert all(background_px >= subject_px for background_px, subject_px in behind if background_px)
    assert 0.5 < np.mean([background_px > 0 for background_px, _ in behind]) < 0.9


def test_a_soft_background_comes_with_every_kind_of_fault_and_the_wider_aperture_softens_more() -> None:
    rng = np.random.default_rng(12)
    cases = [any_case(rng, 1600) for _ in range(1500)]
    for fault in set(FAULTS) - {"focus"}:
        shown = [case.background_px > 4 for case in cases if fault in case.faults and case.kind != "missed focus"]
        assert 0.2 < np.mean(shown) < 0.7, fault
    plain = [case for case in cases if case.kind == "plain"]
    wide, narrow = (
        [case.background_px for case in plain if (case.f_number < 2.8) is is_wide] for is_wide in (True, False)
    )
    assert np.mean(wide) > 1.3 * np.mean(narrow)


def test_only_listed_photographs_are_taken_by_their_content_whatever_their_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inner = tmp_path / "of a package"
    inner.mkdir()
    for folder, name, colour in ((inner, "one.png", 90), (tmp_path, "two.png", 160)):
        Image.new("RGB", (240, 180), (colour, 80, 40)).save(folder / name)
    digits = hashlib.sha256((inner / "one.png").read_bytes()).hexdigest()[:12]
    written = tmp_path / "list.txt"
    written.write_text(f"# a list\n{digits}\n000000000000\n", encoding="ascii")
    monkeypatch.setattr(sources, "LISTED", written)
    assert sources.listed(tmp_path) == {digits: inner / "one.png"}
    first = sources.scene_of(3, 8, sources.listed(tmp_path))
    (inner / "one.png").rename(tmp_path / "another name.png")
    again = sources.scene_of(3, 8, sources.listed(tmp_path))
    assert first.name == again.name == digits
    assert (first.light == again.light).all() and (first.subject == again.subject).all()


def test_the_list_of_photographs_holds_digits_and_no_names() -> None:
    digits = sources.listed_digits()
    assert len(digits) > 15
    assert all(re.fullmatch("[0-9a-f]{12}", each) for each in digits)
