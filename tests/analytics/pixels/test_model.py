"""The fault model is a sum of curves that anyone can read, and the fit and the scores behind it do what they say."""

from __future__ import annotations

import json
import math
from importlib import resources

import numpy as np
import pytest
from degraded.fitting import basis_for, least_absolute, least_within, logistic
from degraded.plain import PLAIN_TONES, plain_exposure
from degraded.scores import auc, calibration_error, confusion, right_among, scores
from degraded.train import STIFFNESS, Table, directions
from scipy.optimize import nnls

from analytics.pixels.model import FAULTS, LOOKS, Curve, FaultModel, Sum, any_of, parsed_model, shipped_model


def test_a_curve_is_straight_between_its_knots_and_level_outside() -> None:
    curve = Curve((0.0, 1.0, 3.0), (0.0, 2.0, 0.0), missing=-0.5)
    assert [curve.at(x) for x in (-5.0, 0.5, 2.0, 9.0)] == [0.0, 1.0, 1.0, 0.0]
    assert curve.at(math.nan) == -0.5


def test_either_of_two_even_chances_is_three_quarters() -> None:
    assert any_of([0.0]) == pytest.approx(0)
    assert any_of([0.0, 0.0]) == pytest.approx(math.log(3))


@pytest.mark.parametrize("log_odds", [-300.0, -40.0, -3.0, 3.0, 40.0, 300.0])
def test_one_thing_alone_is_as_likely_as_it_is_however_near_to_certain(log_odds: float) -> None:
    assert any_of([log_odds]) == pytest.approx(log_odds)
    assert any_of([log_odds, -500.0]) == pytest.approx(log_odds)


def test_chances_stay_off_certainty_and_yet_keep_their_order() -> None:
    sums = [-60.0, -25.0, -12.0, -5.0, -4.0, 0.0, 1.0, 4.0, 5.0, 12.0, 25.0, 60.0]
    constant = {
        look: Sum(0.0, {"x": Curve((-60.0, 60.0), (-60.0, 60.0), 0.0)}) for each in LOOKS.values() for look in each
    }
    model = FaultModel(1, "", constant, dict.fromkeys(FAULTS, (1.0, 0.0)), Sum(0.0, {}))
    chances = [round(model.probabilities({"x": each})["noise"], 6) for each in sums]
    assert chances == sorted(set(chances))
    assert chances[0] > 0.005 and chances[-1] < 0.995
    assert chances[4:8] == pytest.approx([1 / (1 + math.exp(-each)) for each in sums[4:8]], abs=1e-6)


def test_the_shipped_model_is_small_and_says_how_it_was_trained() -> None:
    text = resources.files("analytics.pixels").joinpath("model.json").read_text(encoding="utf-8")
    model = shipped_model()
    assert len(text) < 80_000
    assert "python -m degraded.train" in model.how_trained
    assert set(model.looks) == {look for looks in LOOKS.values() for look in looks}
    assert parsed_model(json.loads(text)).version == model.version


def test_with_nothing_known_no_fault_is_likely() -> None:
    chances = shipped_model().probabilities({})
    assert tuple(chances) == FAULTS
    assert all(chance < 0.5 for chance in chances.values())


def test_the_parts_of_a_sum_add_up_to_its_log_odds() -> None:
    features = {"noise": 2.5, "iso": 6.0, "tone_mean": -1.0}
    noisy = shipped_model().looks["noisy"]
    assert noisy.total(features) == pytest.approx(noisy.constant + sum(noisy.parts(features).values()))


def test_more_noise_at_a_higher_iso_is_likelier_a_fault() -> None:
    model = shipped_model()
    little = {
        "noise": 0.3,
        "noise_half": 0.3,
        "noise_laplacian": -1.5,
        "iso": 0.5,
        "noise_middle": 0.3,
        "noise_shadows": 0.3,
    }
    much = {
        "noise": 3.4,
        "noise_half": 3.0,
        "noise_laplacian": 1.8,
        "iso": 7.0,
        "noise_middle": 3.4,
        "noise_shadows": 3.4,
    }
    assert model.probabilities(little)["noise"] < 0.1 < 0.9 < model.probabilities(much)["noise"]


def test_a_planted_bend_is_found_by_the_fit() -> None:
    rng = np.random.default_rng(4)
    features = {"a": rng.uniform(-2, 2, 4000), "b": rng.normal(size=4000)}
    features["b"][::5] = np.nan
    odds = 2.5 * np.abs(features["a"]) - 2.5
    truth = (rng.uniform(size=4000) < 1 / (1 + np.exp(-odds))).astype(float)
    basis = basis_for(features, ["a", "b"])
    curves = basis.as_curves(logistic(basis.columns(features), truth, np.ones(4000), basis.pull(0.5)))
    bend = curves["curves"]["a"]
    assert bend[0] - bend[len(bend) // 2] == pytest.approx(2.5 * 1.9, abs=0.9)
    assert np.ptp(curves["curves"]["b"]) < 0.6
    assert abs(curves["missing"]["b"]) < 0.4


def test_a_curve_that_may_only_rise_is_level_where_the_data_fall() -> None:
    rng = np.random.default_rng(6)
    features = {"a": rng.uniform(-2, 2, 3000)}
    truth = (rng.uniform(size=3000) < 1 / (1 + np.exp(-2.5 * (np.abs(features["a"]) - 1)))).astype(float)
    basis = basis_for(features, ["a"])
    columns, pull = basis.columns(features), basis.pull(0.5)
    free = basis.as_curves(logistic(columns, truth, np.ones(3000), pull))["curves"]["a"]
    held = basis.as_curves(logistic(columns, truth, np.ones(3000), pull, basis.direction({"a": 1})))["curves"]["a"]
    falling = basis.as_curves(logistic(columns, truth, np.ones(3000), pull, basis.direction({"a": -1})))["curves"]["a"]
    assert np.diff(free).min() < -0.5
    assert np.diff(held).min() > -1e-9 and np.ptp(held) > 2
    assert np.diff(falling).max() < 1e-9 and np.ptp(falling) > 2


@pytest.mark.parametrize("seed", range(12))
def test_the_least_within_bounds_is_that_of_non_negative_least_squares(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(2, 40))
    tall = rng.normal(size=(size + 30, size)) @ rng.normal(size=(size, size))
    right, direction = rng.normal(size=size + 30), rng.choice([-1, 1], size)
    found = least_within(tall.T @ tall, tall.T @ right, direction)
    assert (found * direction >= -1e-9).all()
    assert found * direction == pytest.approx(nnls(tall * direction, right)[0], abs=1e-6)


def test_curves_of_the_shipped_model_go_the_way_that_they_are_held_to() -> None:
    model = shipped_model()
    sums = {**model.looks, "error": model.exposure_error}
    for look in STIFFNESS:
        curves = sums[look].curves
        for name, way in directions(look, list(curves)).items():
            assert min(way * np.diff(curves[name].values), default=0) >= -0.0021, (look, name)  # three decimals
    assert sum(len(directions(look, list(sums[look].curves))) for look in STIFFNESS) > 60


def test_the_fit_of_an_error_heeds_no_outliers() -> None:
    rng = np.random.default_rng(5)
    features = {"a": rng.uniform(-1, 1, 1500)}
    truth = 2 * features["a"] + rng.normal(0, 0.1, 1500)
    truth[:60] += 30
    basis = basis_for(features, ["a"])
    columns = basis.columns(features)
    found = columns @ least_absolute(columns, truth, np.ones(1500), basis.pull(0.1))
    assert float(np.median(np.abs(found[60:] - truth[60:]))) < 0.12


def test_scores_of_four_frames_are_what_one_counts_by_hand() -> None:
    said = np.array([[0.9, 0, 0, 0, 0], [0.2, 0.6, 0, 0, 0], [0.7, 0, 0, 0, 0], [0.1, 0, 0, 0, 0]], float)
    truth = np.array([[1, 0, 0, 0, 0], [0, 0, 1, 0, 0], [0, 0, 0, 0, 0], [0, 0, 0, 0, 0]], bool)
    found = scores(said, truth)
    assert (found.precision, found.first_right) == (pytest.approx(1 / 3), 0.5)
    assert (found.false_alarms, found.suggested, found.n_good) == (0.5, 1.0, 2)
    assert confusion(said, truth)[2, 1] == 1
    assert [right_among(said, truth, n_likeliest) for n_likeliest in (1, 2, 5)] == [0.5, 0.5, 1.0]
    assert auc(said[:, 0], truth[:, 0]) == 1.0
    assert auc(np.array([0.5, 0.5]), np.array([True, False])) == 0.5
    assert calibration_error(np.array([0.25, 0.25, 0.25, 0.25]), np.array([True, False, False, False])) == 0.0


def test_the_yardstick_tells_bright_and_dark_frames_of_scenes_it_has_not_seen() -> None:
    rng = np.random.default_rng(7)
    frames = []
    for index, error in enumerate(rng.choice([-2.0, 0.0, 0.0, 0.0, 2.0], 400)):
        features = {name: float(error + rng.normal()) for name in PLAIN_TONES}
        labels = {fault: fault == "exposure" and error != 0 for fault in FAULTS}
        frame = {"features": [features, features], "labels": labels, "kind": "plain", "ev": error}
        frames.append({**frame, "source": f"scene {index % 20}"})
    table = Table(frames)
    told = plain_exposure(table)
    assert told.min() >= 0 and told.max() <= 1
    assert auc(told, table.truth["exposure"] > 0) > 0.97
    assert auc(plain_exposure(table, ("tone_50",)), table.truth["exposure"] > 0) < 0.97
