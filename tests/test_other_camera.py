"""The frames of the other camera have what their labels say, measured in the finished JPEG by plain means."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from othercamera.frames import Frame, make_frame
from othercamera.scoring import auc, calibration_error, first_suggestion, score
from othercamera.shots import FAULTS, Shot
from othercamera.sources import F32, drawn_light

SEEDS = range(1, 60)


@pytest.fixture(scope="module")
def light() -> F32:
    return drawn_light(np.random.default_rng(4), 420, 280)


def frame_of(light: F32, faults: set[str], look: str = "as it is") -> Frame:
    """The first frame with these faults, of the drawn scene in its own light and without a blurred background."""
    for seed in SEEDS:
        frame = make_frame(light, "drawn", seed, frozenset(faults))
        if frame is not None and frame.truth["look"] == look and frame.truth["background_px"] < 1.3 + 99 * bool(faults):
            return frame
    raise AssertionError(f"no frame with {sorted(faults)}")


@pytest.fixture(scope="module")
def clean(light: F32) -> Frame:
    return frame_of(light, set())


def tones(frame: Frame) -> F32:
    picture = cv2.imdecode(np.frombuffer(frame.jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return picture.astype(np.float32)


def fine_detail(frame: Frame, around: Any = None) -> float:
    """Energy of the slope along the direction that has least, against the variance of tones: falls with any blur."""
    picture = tones(frame)
    part = picture if around is None else picture[around]
    across, down = np.diff(part, axis=1)[:-1], np.diff(part, axis=0)[:, :-1]
    turns = np.linspace(0, np.pi, 12, endpoint=False)
    energies = [float(((np.cos(turn) * across + np.sin(turn) * down) ** 2).mean()) for turn in turns]
    return min(energies) / float(part.var())


def subject_of(frame: Frame) -> Any:
    x, y, half_x, half_y = frame.truth["subject"]
    return np.s_[max(0, y - half_y // 2) : y + half_y // 2, max(0, x - half_x // 2) : x + half_x // 2]


def test_a_frame_follows_from_its_seed(light: F32, clean: Frame) -> None:
    once, again = (frame_of(light, {"shake"}) for _ in range(2))
    assert once == again
    assert once.jpeg != clean.jpeg


@pytest.mark.parametrize("fault", ["shake", "focus"])
def test_a_blur_that_is_labelled_is_in_the_picture(light: F32, clean: Frame, fault: str) -> None:
    frame = frame_of(light, {fault})
    assert frame.truth["labels"] == {name: int(name == fault) for name in FAULTS}
    assert frame.truth["sizes_px"][fault] >= 3
    where = None if frame.truth["everywhere"] else subject_of(frame)
    assert fine_detail(frame, where) < 0.6 * fine_detail(clean, where)


def test_a_subject_that_moved_is_blurred_where_it_is(light: F32, clean: Frame) -> None:
    frame = frame_of(light, {"subject_motion"})
    here = subject_of(frame)
    assert frame.truth["sizes_px"]["subject_motion"] >= 3
    assert frame.truth["sizes_px"]["shake"] <= 1.3
    assert fine_detail(frame, here) < 0.6 * fine_detail(clean, here)


def test_noise_that_is_labelled_is_in_the_picture(light: F32, clean: Frame) -> None:
    frame = frame_of(light, {"noise"})
    checks = [cv2.filter2D(tones(one), -1, np.array([[1.0, -1], [-1, 1]]) / 2) for one in (frame, clean)]
    noisy, quiet = (float(np.median(np.abs(check))) / 0.6745 for check in checks)
    assert frame.truth["noise_sigma"] >= 5 > 3 >= clean.truth["noise_sigma"]
    assert noisy > 2 * quiet


def test_an_exposure_error_has_the_sign_and_the_settings_that_were_told(light: F32, clean: Frame) -> None:
    frame = frame_of(light, {"exposure"})
    assert 0.8 <= abs(frame.truth["ev"]) <= 3
    assert np.sign(tones(frame).mean() - tones(clean).mean()) == np.sign(frame.truth["ev"])
    assert abs(clean.truth["ev"]) <= 0.3


def test_blur_follows_from_time_and_optics() -> None:
    shot = Shot(0.01, 2.0, 100, 50.0, "hand-held", False, 0.02, 10.0, 5.0, 10.0, "walking", 2.0, False, 0.0, 0.02)
    assert shot.streak_px() == pytest.approx(2.0 * 0.01 / 10.0 * 50.0 / 0.02)
    infinity_px = 50.0**2 / 2.0 / (5000 - 50) / 0.02
    assert shot.disc_px(1e9) == pytest.approx(infinity_px, rel=1e-6)
    assert shot.disc_px(10.0) == pytest.approx(infinity_px / 2, rel=1e-6)
    assert shot.disc_px(5.0) == 0


def test_the_figures_are_those_of_a_count_by_hand() -> None:
    labels = [{"shake": 1}, {"noise": 1}, {}, {}]
    truths = [{"labels": dict.fromkeys(FAULTS, 0) | one, "ev": 0.0} for one in labels]
    said = [{"shake": 0.9}, {"focus": 0.8, "noise": 0.4}, {"exposure": 0.6}, {}]
    measured: list[dict[str, Any]] = [dict.fromkeys(FAULTS, 0.1) | one | {"ev": 0.5} for one in said]
    figures = score(truths, measured)
    assert (figures["precision"], figures["first_right"], figures["false_alarms"]) == (1 / 3, 0.5, 0.5)
    assert figures["ev_off"] == 0.5
    assert first_suggestion(measured[1] | {"cant_tell": True}) is None
    truth, value = np.array([True, True, False, False]), np.array([0.9, 0.4, 0.6, 0.1])
    assert auc(truth, value) == 0.75
    assert calibration_error(truth, value) == pytest.approx((0.1 + 0.6 + 0.6 + 0.1) / 4)
