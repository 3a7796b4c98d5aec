"""Blurs that are taken for one another are told against one another, and a frame is looked at twice; the fit and the
model do so alike."""

from __future__ import annotations

import math

import numpy as np
import pytest
from degraded.fitting import basis_for, logistic
from degraded.together import BLURS, Fit, any_of, by_both_looks, fitted_together, told

from analytics.pixels.model import FAULTS, LOOKS, RIVALS, TOLD_FROM_AFAR, Curve, FaultModel, Sum, against
from analytics.pixels.model import any_of as any_of_few

Looks = dict[str, float]


def model() -> FaultModel:
    """Each look is as likely as the feature of its name says."""
    straight = Curve((-50.0, 50.0), (-50.0, 50.0), 0.0)
    looks = {look: Sum(0.0, {look: straight}) for fault in FAULTS for look in LOOKS[fault]}
    return FaultModel(1, "", looks, dict.fromkeys(FAULTS, (1.0, 0.0)), Sum(0.0, {}))


def shown(**looks: float) -> Looks:
    return dict.fromkeys((look for fault in FAULTS for look in LOOKS[fault]), -6.0) | looks


def test_of_two_even_chances_of_which_one_at_most_is_so_either_is_one_of_three() -> None:
    assert against({"one": 0.0, "other": 0.0}, ["one"]) == pytest.approx(-math.log(2))
    assert against({"one": 0.0, "other": 0.0}, ["one", "other"]) == pytest.approx(math.log(2))
    assert against({"one": 700.0, "other": -700.0}, ["one"]) == pytest.approx(700)


@pytest.mark.parametrize("fault", RIVALS)
def test_a_blur_is_less_likely_the_likelier_its_rivals_are(fault: str) -> None:
    own = shown(**dict.fromkeys(LOOKS[fault], 1.0))
    alone = model().by_fault(own)[fault]
    rivals = [look for each in TOLD_FROM_AFAR if each != fault for look in LOOKS[each]]
    chances = [model().by_fault(own | {rival: 3.0})[fault] for rival in rivals]
    assert len(chances) >= 2
    assert all(chance < alone - 1 for chance in chances)


def test_a_shake_is_told_by_itself_and_nothing_else_is_a_rival_of_a_blur() -> None:
    shaken, streaked = shown(shaken=1.0), shown(subject_streaked=1.0)
    assert model().by_fault(shaken | {"subject_streaked": 5.0})["shake"] == model().by_fault(shaken)["shake"]
    for other in (*LOOKS["exposure"], *LOOKS["noise"]):
        now = model().by_fault(streaked | {other: 5.0})["subject_motion"]
        assert now == model().by_fault(streaked)["subject_motion"]


def test_two_ways_of_one_fault_are_no_rivals_of_each_other() -> None:
    one = model().by_fault(shown(soft_all_over=1.0))["focus"]
    assert model().by_fault(shown(soft_all_over=1.0, soft_at_subject=1.0))["focus"] > one


def test_the_fit_weighs_looks_as_the_model_does() -> None:
    rng = np.random.default_rng(2)
    frames = [shown(**{look: float(rng.normal(0, 4)) for look in BLURS}) for _ in range(20)]
    sums = {look: np.array([frame[look] for frame in frames]) for look in BLURS}
    for fault in TOLD_FROM_AFAR:
        assert told(sums, fault) == pytest.approx([model().by_fault(frame)[fault] for frame in frames])


def test_the_fit_joins_both_looks_as_the_model_does() -> None:
    near, afar = np.array([-3.0, 0.0, 2.0]), np.array([1.0, 0.0, 4.0])
    joined = by_both_looks(np.concatenate([near, afar]), np.array([True, True, False]))
    assert joined == pytest.approx([any_of_few([-3.0, 1.0]), any_of_few([0.0, 0.0]), 2.0])
    assert any_of(np.stack([near, afar]))[2] == pytest.approx(any_of_few([2.0, 4.0]))


@pytest.mark.parametrize("seed", range(3))
def test_a_fault_that_only_one_look_shows_teaches_only_that_look(seed: int) -> None:
    """Of every two faulty frames one shows it near and one from afar; a near look that shows nothing is no evidence."""
    rng = np.random.default_rng(seed)
    n = 3000
    truth = {look: (rng.uniform(size=n) < 0.12).astype(float) for look in BLURS}
    is_near = rng.uniform(size=n) < 0.5
    seen = {
        look: rng.normal(size=2 * n) + 3.0 * np.concatenate([truth[look] * is_near, truth[look] * ~is_near])
        for look in BLURS
    }
    basis = {look: basis_for({look: seen[look]}, [look]) for look in BLURS}
    fits = {
        look: Fit(each, each.columns(seen), each.pull(1.0), each.direction({}), truth[look])
        for look, each in basis.items()
    }
    everything = np.ones(n, bool)
    found = fitted_together(fits, everything, everything, np.ones(n))
    for look, fit in fits.items():
        near_only = logistic(fit.columns[:n], fit.truth, np.ones(n), fit.pull)
        heights = [np.ptp(fit.basis.as_curves(each)["curves"][look]) for each in (near_only, found[look])]
        assert heights[1] > 1.3 * heights[0]
