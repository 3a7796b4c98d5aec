"""Personal limits: planted ones are found, what was never tried is not claimed, and the curve meets its own limit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from careers import career
from scipy.special import logit

from analytics.statistics.cells import cells_of
from analytics.statistics.limits import (
    COLUMNS,
    KINDS,
    _curve,
    _prior,
    _shares,
    fit_limits,
    interval_of,
    limit_counts,
    limit_curve,
    limit_interval,
    limits,
)
from analytics.statistics.plan import expected_half_width, more_sessions


@pytest.fixture(scope="module")
def year() -> pd.DataFrame:
    return career(11, 120).frames


def test_the_limits_of_a_simulated_photographer_are_found() -> None:
    simulated = career(12, 300)
    covered, answered = 0, 0
    for kind in KINDS:
        for key, line in limits(simulated.frames, kind).set_index("key").iterrows():
            if line["is_enough"] and line["bound"] == "both":
                truth = simulated.limit(kind, key)
                answered += 1
                covered += line["low"] <= truth <= line["high"]
                assert abs(line["estimate"] - truth) < 0.6
    assert answered >= 7
    assert covered >= answered - 1


def test_a_limit_has_its_counts(year: pd.DataFrame) -> None:
    found = limits(year, "iso")
    assert tuple(found.columns) == COLUMNS
    assert found["key"].tolist() == ["A", "B"]
    assert found["n_frames"].sum() <= len(year)
    assert (found["n_near"] <= found["n_sessions"]).all()
    assert (found["n_faults"] <= found["n_frames"]).all()


@pytest.mark.parametrize("n_sessions", [20, 120])
@pytest.mark.parametrize("kind", KINDS)
def test_the_band_of_the_curve_crosses_the_target_where_the_interval_of_the_limit_ends(
    kind: str, n_sessions: int
) -> None:
    frames = career(11, n_sessions).frames
    for line in limits(frames, kind).to_dict("records"):
        curve = limit_curve(frames, kind, line["key"])
        ends = [_crossing(curve["dose"], curve[side], 0.10) for side in ("high", "low")]
        for crossing, end, way in zip(ends, (line["low"], line["high"]), (-1, 1), strict=True):
            if curve["dose"].min() < end < curve["dose"].max():
                assert way * (crossing - end) >= -0.03
            if line["is_enough"] and np.isfinite(crossing):
                assert abs(crossing - end) < 1 / 3


def _crossing(doses: pd.Series, shares: pd.Series, target: float) -> float:
    """Where a rising curve crosses a share [stops], infinite beyond its ends."""
    return float(np.interp(target, shares, doses, left=-np.inf, right=np.inf))


@pytest.mark.parametrize("kind", KINDS)
def test_at_the_limit_the_curve_is_as_unsure_as_the_limit(year: pd.DataFrame, kind: str) -> None:
    found = fit_limits(cells_of(year), kind)
    for number in range(len(found.rows.keys)):
        mine = found.rows.key == number
        if mine.any():
            share, gradient = (values[0] for values in _shares(found, number, np.array([found.limit(number)])))
            at_logit = interval_of(found, logit(share), gradient / (share * (1 - share)), mine, 0.95)
            per_stop = -gradient[2] / (share * (1 - share))
            assert at_logit.half_width == pytest.approx(per_stop * limit_interval(found, number).half_width, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("target", [0.05, 0.10, 0.25])
def test_at_the_limit_the_curve_has_the_target_share(year: pd.DataFrame, kind: str, target: float) -> None:
    found = limits(year, kind, target).iloc[-1]
    curve = limit_curve(year, kind, found["key"], target)
    at_limit = np.interp(found["estimate"], curve["dose"], curve["estimate"])
    assert at_limit == pytest.approx(target, abs=0.01)
    assert (np.diff(curve["estimate"]) >= 0).all()
    assert (curve["low"] <= curve["estimate"]).all()
    assert (curve["estimate"] <= curve["high"]).all()


def test_a_stricter_target_is_an_earlier_limit(year: pd.DataFrame) -> None:
    strict, mild = (limits(year, "hand-held", target).set_index("key")["estimate"] for target in (0.05, 0.2))
    assert (strict < mild).all()


@pytest.mark.parametrize("kind", KINDS)
def test_the_gradient_of_a_curve_is_its_slope(year: pd.DataFrame, kind: str) -> None:
    rows = fit_limits(cells_of(year), kind).rows
    curve = _curve(rows, kind, 0.1)
    theta = _prior(rows, kind, 0.1)[0] + 0.1
    _, gradient = curve(theta)
    for place in range(len(theta)):
        step = np.eye(len(theta))[place] * 1e-6
        slope = (curve(theta + step)[0] - curve(theta - step)[0]) / 2e-6
        np.testing.assert_allclose(gradient[:, place], slope, atol=1e-6)


def test_a_limit_that_was_never_approached_is_only_bounded_from_below() -> None:
    frames = career(13, 40).frames
    careful = frames[frames["iso"] <= 400].assign(fault_noise=False)
    found = limits(careful, "iso")
    assert (found["bound"] == "at least").all()
    assert not found["is_enough"].any()


def test_without_frames_nothing_is_said() -> None:
    nothing = career(1, 2).frames.iloc[:0]
    for kind in KINDS:
        assert limits(nothing, kind).empty
        assert limit_curve(nothing, kind, True).empty


def test_where_stabilisation_or_pace_is_unknown_the_frames_do_not_speak(year: pd.DataFrame) -> None:
    assert limits(year.assign(is_stabilised=np.nan), "hand-held").empty
    assert limits(year.assign(subject_pace=None), "freeze").empty
    assert limits(year.drop(columns="body"), "iso").empty


def test_an_unknown_kind_is_refused(year: pd.DataFrame) -> None:
    with pytest.raises(ValueError, match="'shutter' is no kind of limit; kinds are hand-held, freeze, iso"):
        limits(year, "shutter")


def test_the_dots_of_the_chart_are_the_frames_of_the_fit(year: pd.DataFrame) -> None:
    dots, lines = limit_counts(year, "iso"), limits(year, "iso").set_index("key")
    for key, mine in dots.groupby("key"):
        assert mine["n_frames"].sum() == lines.loc[key, "n_frames"]
        assert mine["n_faults"].sum() == lines.loc[key, "n_faults"]


def test_a_narrower_interval_needs_more_sessions(year: pd.DataFrame) -> None:
    needed = [more_sessions(year, "iso", "A", width) for width in (0.5, 0.3, 0.2, 0.15)]
    assert needed == sorted(needed)
    assert needed[-1] > needed[0]


def test_an_interval_that_is_narrow_enough_needs_no_session(year: pd.DataFrame) -> None:
    assert more_sessions(year, "iso", "A", 3.0) == 0


def test_the_expected_interval_begins_near_the_present_one_and_shrinks(year: pd.DataFrame) -> None:
    found = fit_limits(cells_of(year), "iso")
    line = limits(year, "iso").iloc[0]
    now = (line["high"] - line["low"]) / 2
    widths = [expected_half_width(found, 0, more) for more in (0, 10, 40, 160)]
    assert widths[0] == pytest.approx(now, rel=0.15)
    assert widths == sorted(widths, reverse=True)


@pytest.mark.parametrize("width", [0.0, -1.0, float("nan")])
def test_a_width_that_is_none_is_refused(year: pd.DataFrame, width: float) -> None:
    with pytest.raises(ValueError, match="half_width must be above 0 stops"):
        more_sessions(year, "iso", "A", width)


def test_a_limit_that_no_frame_can_have_is_refused(year: pd.DataFrame) -> None:
    with pytest.raises(KeyError):
        more_sessions(year, "iso", "no such body", 0.3)
