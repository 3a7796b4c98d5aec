"""The engine: published fits, an exact jackknife, and statsmodels where it has the method."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from careers import career
from scipy import stats
from scipy.special import ndtr

from analytics.statistics.cells import cells_of
from analytics.statistics.conditions import condition_columns, matrix
from analytics.statistics.engine import EDGE, Fit, effective, fit, fit_linear, jackknife, logistic, t_interval

NO_PRIOR = 1e4


def unpenalised(design: np.ndarray, n: np.ndarray, y: np.ndarray, session: np.ndarray) -> Fit:
    size = design.shape[1]
    return fit(logistic(design), (n, y), session, (np.zeros(size), np.full(size, NO_PRIOR)))


def test_a_published_dose_response_is_reproduced() -> None:
    # Bliss 1935, beetle mortality; fits as printed by Dobson, An Introduction to Generalized Linear Models, chapter 7.
    dose = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
    n = np.array([59, 60, 62, 56, 63, 59, 62, 60], dtype=float)
    y = np.array([6, 13, 18, 28, 52, 53, 61, 60], dtype=float)
    design = np.stack([np.ones(8), dose], axis=1)
    found = unpenalised(design, n, y, np.arange(8))
    assert found.theta == pytest.approx([-60.72, 34.27], abs=0.01)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([5.18, 2.91], abs=0.01)

    def probit(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        eta = design @ theta
        return np.clip(ndtr(eta), EDGE, 1 - EDGE), design * stats.norm.pdf(eta)[:, None]

    by_probit = fit(probit, (n, y), np.arange(8), (np.zeros(2), np.full(2, NO_PRIOR)))
    assert by_probit.theta == pytest.approx([-34.94, 19.73], abs=0.01)


def test_a_published_psychometric_function_is_reproduced() -> None:
    # The 2AFC detection example that accompanies Schütt et al. 2016, Vision Research 122:105: 90 trials at each level,
    # cumulative normal, guess rate one half; printed fit: threshold .0046, width .0047 (from 5 % to 95 %).
    level = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 10.0]) / 1000
    correct = np.array([45, 50, 44, 44, 52, 53, 62, 64, 76, 79, 88, 90, 90], dtype=float)

    def detection(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        spread = np.exp(theta[1])
        eta = (1000 * level - theta[0]) / spread
        density = stats.norm.pdf(eta)
        gradient = np.stack([-density / spread, -density * eta], axis=1) / 2
        return np.clip(0.5 + ndtr(eta) / 2, EDGE, 1 - EDGE), gradient

    prior = (np.array([5.0, 0.0]), np.array([10.0, 3.0]))
    found = fit(detection, (np.full(13, 90.0), correct), np.arange(13), prior)
    threshold, width = found.theta[0] / 1000, 2 * stats.norm.ppf(0.95) * np.exp(found.theta[1]) / 1000
    assert (round(threshold, 4), round(width, 4)) == (0.0046, 0.0047)


def test_a_published_jackknife_is_reproduced() -> None:
    # Efron and Tibshirani 1993, An Introduction to the Bootstrap, law school data: jackknife s.e. of the correlation.
    admission = np.array([576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594], dtype=float)
    grade = np.array([3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96])
    without = np.array([np.corrcoef(np.delete(admission, place), np.delete(grade, place))[0, 1] for place in range(15)])
    found = jackknife(without - without.mean(), np.corrcoef(admission, grade)[0, 1], 0.95)
    assert found.standard_error == pytest.approx(0.1425, abs=5e-5)


@pytest.fixture(scope="module")
def conditions() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    cells = cells_of(career(3, 25).frames)
    columns = condition_columns(cells)
    chosen = {name: columns[name] for name in ("light: stops", "focal length: stops", "backlight: yes")}
    return matrix(chosen, len(cells.session)), cells.n_frames, cells.n_keepers, cells.session


def test_estimates_and_model_errors_are_those_of_statsmodels(conditions: tuple[np.ndarray, ...]) -> None:
    design, n, y, session = conditions
    mine = unpenalised(design, n, y, session)
    theirs = sm.GLM(np.column_stack([y, n - y]), design, family=sm.families.Binomial()).fit()
    assert mine.theta == pytest.approx(theirs.params, abs=1e-5)
    assert np.sqrt(np.diag(mine.covariance)) == pytest.approx(theirs.bse, rel=1e-4)


def test_sessions_that_move_an_estimate_by_rounding_alone_tell_nothing_of_its_spread() -> None:
    found = jackknife(np.array([1e-16, -2e-17, 0.0, 1e-16]), 0.25, 0.95)
    assert (found.low, found.high) == (-np.inf, np.inf)


def test_the_linear_jackknife_is_close_to_leaving_sessions_out_one_by_one(conditions: tuple[np.ndarray, ...]) -> None:
    design, n, y, session = conditions
    mine = unpenalised(design, n, y, session)
    exact = np.empty_like(mine.deleted)
    for number in range(25):
        rest = session != number
        places = np.unique(session[rest], return_inverse=True)[1]
        exact[number] = unpenalised(design[rest], n[rest], y[rest], places).theta - mine.theta
    root = np.sqrt((mine.deleted**2).sum(axis=0) / (exact**2).sum(axis=0))
    assert root == pytest.approx(np.ones(len(root)), abs=0.05)


def test_the_jackknife_is_wider_than_the_sandwich_of_statsmodels_but_not_much(
    conditions: tuple[np.ndarray, ...],
) -> None:
    design, n, y, session = conditions
    mine = unpenalised(design, n, y, session)
    model = sm.GLM(np.column_stack([y, n - y]), design, family=sm.families.Binomial())
    theirs = model.fit(cov_type="cluster", cov_kwds={"groups": session})
    ratio = np.array([jackknife(mine.deleted[:, k], 0.0, 0.95).standard_error for k in range(4)]) / theirs.bse
    assert np.all(ratio > 1)
    assert np.all(ratio < 1.5)


def test_for_equal_sessions_the_jackknife_of_a_mean_is_the_textbook_variance() -> None:
    kept = np.array([3.0, 5, 7, 8, 2, 6])
    n = np.full(6, 10.0)
    found = unpenalised(np.ones((6, 1)), n, kept, np.arange(6))
    p = kept.sum() / n.sum()
    slope = p * (1 - p)
    error = jackknife(found.deleted[:, 0] * slope, p, 0.95).standard_error
    assert error == pytest.approx(np.std(kept / 10, ddof=1) / np.sqrt(6), rel=1e-3)


def test_with_no_rows_the_prior_speaks() -> None:
    nothing = np.zeros(0)
    found = fit(
        logistic(np.zeros((0, 2))), (nothing, nothing), nothing.astype(int), (np.array([1.0, -2.0]), np.ones(2))
    )
    assert found.theta.tolist() == [1.0, -2.0]
    assert found.deleted.shape == (0, 2)
    assert found.prior_variance(np.array([1.0, 0.0])) == pytest.approx(1.0)
    assert found.model_variance(np.array([1.0, 0.0])) == 0


def test_least_squares_agrees_with_weighted_least_squares_of_statsmodels(conditions: tuple[np.ndarray, ...]) -> None:
    design, n, y, session = conditions
    mine = fit_linear(design, n, y / n, session, np.full(design.shape[1], NO_PRIOR))
    theirs = sm.WLS(y / n, design, weights=n).fit()
    assert mine.theta == pytest.approx(theirs.params, abs=1e-6)
    keep = session != 7
    without = sm.WLS((y / n)[keep], design[keep], weights=n[keep]).fit().params
    assert mine.theta + mine.deleted[7] == pytest.approx(without, abs=1e-6)


def test_one_session_alone_has_no_interval() -> None:
    found = jackknife(np.array([0.0, 0.3, 0.0]), 0.1, 0.95)
    assert (found.low, found.high) == (-np.inf, np.inf)
    assert found.p_value() == pytest.approx(0.5)


def test_an_interval_of_students_t_has_its_quantile() -> None:
    found = t_interval(1.0, 4.0, 10, 0.95)
    assert found.half_width == pytest.approx(2 * 2.2281, abs=1e-3)
    assert found.p_value() == pytest.approx(stats.t.sf(0.5, 10))


def test_equal_sessions_are_worth_their_number_and_unequal_ones_less() -> None:
    assert effective(np.full(5, 30.0)) == pytest.approx(5)
    assert effective(np.array([100.0, 1, 1])) == pytest.approx(102**2 / 10002)
    assert effective(np.zeros(3)) == 0
