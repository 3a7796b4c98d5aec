"""Plans keep the limits, say what is missing, and a series lies around the limit."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.pages.plan import depth_words, limit_lines, plan_sentence, settings_name, ways_to_light
from analytics.pages.series_words import series_found, series_none, series_values
from analytics.planning.outing import MARGIN_STOPS, Outing, plan
from analytics.planning.own_limits import Limit, OwnLimits, known_of_tables, limits_to_keep, own_limits
from analytics.planning.series import series_design, series_frames
from analytics.statistics.results import SeriesLimit
from journal.cli import load_commands, run
from journal.optics.focus import focus_limits_m

OWN = OwnLimits(Limit(0.0, True), Limit(math.log2(1 / 125), True), Limit(math.log2(32), True))
OUTING = Outing(ev100=8.0, focal_length_mm=200.0, focal_length_35mm=200.0, widest_f_number=4.0)


@given(st.floats(-2, 17), st.sampled_from(["hand-held", "monopod", "tripod", "braced"]), st.floats(20, 600))
def test_a_plan_exposes_for_the_light_and_keeps_the_limits(ev100: float, support: str, focal: float) -> None:
    outing = replace(OUTING, ev100=ev100, support=support, focal_length_mm=focal, focal_length_35mm=focal)
    found = plan(outing, OWN)
    exposure = found.time_stops + found.iso_stops - found.aperture_stops + ev100
    assert exposure == pytest.approx(-found.missing_stops, abs=1e-9)
    assert found.iso_stops <= OWN.highest_iso.stops + 1e-9
    assert found.iso_stops >= -1e-9
    assert OWN.freeze is not None
    assert found.time_stops <= OWN.freeze.stops - MARGIN_STOPS + 1e-9
    if support == "hand-held":
        assert found.time_stops + math.log2(focal) <= OWN.hand_held.stops - MARGIN_STOPS + 1e-9


@given(st.floats(0.3, 3.0), st.floats(3, 50))
def test_where_depth_comes_first_the_subject_is_held_by_the_widest_aperture_that_does(
    depth: float, distance: float
) -> None:
    outing = replace(OUTING, priority="depth", subject_distance_m=distance, subject_depth_m=depth)
    found = plan(outing, OWN)
    n = 2 ** (found.aperture_stops / 2)
    near, far = focus_limits_m(200, n, distance)
    assert found.is_deep_enough == bool(far - near >= depth)
    if found.is_deep_enough and n > 4.01:
        near, far = focus_limits_m(200, n / 2 ** (1 / 6), distance)
        assert far - near < depth


@given(st.floats(-2, 17), st.sampled_from(["hand-held", "monopod", "tripod"]), st.floats(20, 600), st.floats(1.4, 8))
def test_the_settings_as_they_are_told_fit_the_light(ev100: float, support: str, focal: float, widest: float) -> None:
    """Whoever dials them in is off by no more than the nearest third of a stop is."""
    outing = replace(OUTING, ev100=ev100, support=support, focal_length_35mm=focal, widest_f_number=widest)
    found = plan(outing, OWN)
    time, aperture, iso = (round(3 * stops) / 3 for stops in (found.time_stops, found.aperture_stops, found.iso_stops))
    assert abs(time + iso - aperture + ev100 + found.missing_stops) <= 1 / 6 + 1e-6


def test_a_plan_is_said_in_nominal_settings() -> None:
    found = plan(OUTING, OWN)
    assert settings_name(found) == "1/320, f/4, ISO 2000"
    assert plan_sentence(found, OWN) == (
        "Start with 1/320, f/4, ISO 2000: your own hand-held limit sets the time, with half a stop or more to spare."
    )
    usual = replace(OWN, hand_held=replace(OWN.hand_held, is_own=False))
    assert plan_sentence(found, usual) == (
        "Start with 1/320, f/4, ISO 2000: the usual hand-held limit (yours is not known yet) sets the time, with half "
        "a stop or more to spare."
    )
    assert ways_to_light(found, OUTING, OWN) == []


def test_hands_and_subject_that_allow_the_same_time_are_both_named() -> None:
    by_hands = OWN.hand_held.stops - math.log2(OUTING.focal_length_35mm)
    own = replace(OWN, freeze=Limit(by_hands + 0.01, True))
    found = plan(OUTING, own)
    assert found.time_limit == "both"
    assert plan_sentence(found, own) == (
        "Start with 1/320, f/4, ISO 2000: your own hand-held limit and the subject set the same time, with half a stop "
        "or more to spare."
    )
    dark = replace(OUTING, ev100=5.0)
    in_the_dark = plan(dark, own)
    assert plan_sentence(in_the_dark, own).endswith(
        "the time is half a stop or more faster than your own hand-held limit and the subject's."
    )
    assert not any("tripod" in way or "monopod" in way for way in ways_to_light(in_the_dark, dark, own))
    further = replace(own, freeze=Limit(by_hands + 0.4, True))
    assert plan(OUTING, further).time_limit == "hands"


FLASH = (
    "Flash can do it as far as it reaches, where it is allowed; not near infants, animals, drivers or people with "
    "photosensitive epilepsy."
)


def test_what_is_missing_is_said_with_what_would_give_it() -> None:
    dark = replace(OUTING, ev100=5.0)
    own = replace(OWN, freeze=Limit(math.log2(1 / 30), True))
    found = plan(dark, own)
    assert plan_sentence(found, own) == (
        "Not enough light: at 1/320, f/4, ISO 3200 the frame is 2.3 stops too dark; the time is half a stop or "
        "more faster than your own hand-held limit."
    )
    assert ways_to_light(found, dark, own) == [
        "A monopod gives about 1.7 of the 2.3 stops.",
        "A tripod gives all of the 2.3 stops.",
        "ISO 16000 would do it, with more noise than you keep.",
        FLASH,
    ]


def test_a_support_gives_no_more_than_the_subject_leaves() -> None:
    dark = replace(OUTING, ev100=5.0)
    own = replace(OWN, freeze=Limit(math.log2(1 / 125), True))
    ways = ways_to_light(plan(dark, own), dark, own)
    assert ways[0].startswith("A monopod gives about 0.") and ways[0].endswith("at 1/200 the subject sets the time.")
    assert not any(way.startswith("A tripod") for way in ways)
    by_subject = replace(own, freeze=Limit(math.log2(1 / 1000), True))
    assert not any("pod" in way for way in ways_to_light(plan(dark, by_subject), dark, by_subject))
    unknown = replace(own, freeze=None)
    assert ways_to_light(plan(dark, unknown), dark, unknown)[1] == (
        "On a tripod only the subject limits the time, and its pace is not stated."
    )


def test_a_lens_or_an_iso_that_nobody_has_is_not_offered() -> None:
    night = replace(OUTING, ev100=-3.0)
    assert ways_to_light(plan(night, OWN), night, OWN)[-1:] == [FLASH]
    assert not any(way.startswith(("A lens", "ISO")) for way in ways_to_light(plan(night, OWN), night, OWN))
    at_200 = replace(OUTING, ev100=4.0)
    assert not any(way.startswith("A lens") for way in ways_to_light(plan(at_200, OWN), at_200, OWN))
    at_50 = replace(at_200, focal_length_35mm=50.0)
    assert any(way.startswith("A lens that opens to f/1") for way in ways_to_light(plan(at_50, OWN), at_50, OWN))


def test_the_highest_iso_is_kept_as_it_is_told() -> None:
    """A limit of ISO 2986 is told as ISO 3200: what is missing is counted from that."""
    own = replace(OWN, highest_iso=Limit(math.log2(29.86), True))
    found = plan(replace(OUTING, ev100=4.0), own)
    assert settings_name(found).endswith("ISO 3200")
    assert found.missing_stops == pytest.approx(plan(replace(OUTING, ev100=4.0), OWN).missing_stops)


def test_on_a_tripod_hands_limit_nothing_and_an_unknown_pace_is_said() -> None:
    own = replace(OWN, freeze=None)
    outing = replace(OUTING, ev100=3.0, support="tripod")
    assert plan_sentence(plan(outing, own), own) == (
        "Start with 2 s, f/4, ISO 100: on a tripod only the subject limits the time, and its pace is not stated."
    )
    darker = plan(replace(outing, ev100=-3.0), own)
    assert (darker.time_stops, darker.iso_stops, darker.time_limit) == (5.0, 2.0, "nothing")
    assert [name for name, _, _ in limit_lines(own, outing, None)] == ["highest ISO"]
    assert [name for name, _, _ in limit_lines(OWN, OUTING, "walking")] == [
        "slowest hand-held time", "slowest time for walking subjects", "highest ISO",
    ]  # fmt: skip


def test_cautions_stand_with_the_choice_they_are_about() -> None:
    night = replace(OUTING, ev100=-2.0, support="tripod")
    still = replace(OWN, freeze=Limit(2.0, False))
    assert plan(night, still).cautions == (
        "Long exposures: stand only where you would stand without a camera; local rules come first.",
    )
    assert "never look at the sun" in plan(replace(OUTING, ev100=15.5), OWN).cautions[0]


def test_without_judged_frames_the_usual_limits_are_used_and_said_to_be() -> None:
    own = own_limits(pd.DataFrame(), True, "walking", None)
    assert not own.hand_held.is_own
    assert own.freeze is not None
    assert not own.freeze.is_own
    assert own_limits(pd.DataFrame(), True, None, None).freeze is None


def test_a_plan_takes_no_highest_iso_that_few_frames_guess_at() -> None:
    columns = ["key", "estimate", "low", "bound", "is_enough"]
    table = pd.DataFrame([("M1", 5.9, 5.5, "both", True), ("E1", 5.6, 2.6, "at least", False)], columns=columns)
    known = known_of_tables({"iso": table})
    assert limits_to_keep(known, False, None, None).highest_iso == Limit(5.9, True)
    assert not limits_to_keep(known, False, None, "E1").highest_iso.is_own


def test_a_series_has_eight_times_around_the_limit_in_a_shuffled_order() -> None:
    design = series_design(1.0, 100.0, np.random.default_rng(3))
    doses = np.array(design.sixths) / 6 + np.log2(100)
    assert len(set(design.sixths)) == 8
    assert list(design.sixths) != sorted(design.sixths)
    assert doses.min() == pytest.approx(-1, abs=0.2)
    assert doses.max() == pytest.approx(4, abs=0.2)
    again = series_design(1.0, 100.0, np.random.default_rng(3))
    assert again == design
    assert len(series_values(series_design(1.0, 100.0, np.random.default_rng(3), 6))) == 48


def test_the_settings_of_a_series_do_not_rise_or_fall_as_the_day_goes_on() -> None:
    for seed in range(200):
        order = series_design(1.0, 100.0, np.random.default_rng(seed)).sixths
        assert abs(np.corrcoef(order, range(8))[0, 1]) <= 0.3


def test_frames_that_failed_for_something_else_say_nothing_of_steadiness() -> None:
    frames = pd.DataFrame(
        {
            "session": [1, 1, 1, 2, 3],
            "support": ["hand-held", "hand-held", "hand-held", "tripod", "hand-held"],
            "exposure_time_s": [0.01, 0.02, 0.04, 0.01, 0.01],
            "focal_length_35mm": 100.0,
            "is_keeper": [True, False, False, True, True],
            "fault_shake": [False, True, False, False, False],
        }
    )
    series = series_frames(frames, [1, 2])
    assert series["has_fault"].tolist() == [False, True]
    assert series["dose"].tolist() == [pytest.approx(0), pytest.approx(1)]
    assert series["day"].tolist() == [1, 1]


def test_a_short_series_says_what_would_help() -> None:
    assert series_found(SeriesLimit(1.0, -0.5, 2.5, 48, 1, False)) == (
        "By 48 frames on 1 day, a tenth of your frames are shaken at 1/50 (1/125 to 1/15) at 100 mm; that is not "
        "enough yet: more days help most."
    )


def test_a_session_that_tells_nothing_of_a_limit_says_why() -> None:
    columns = {"support": "tripod", "subject_pace": "running", "body": "M1", "is_stabilised": 0.0}
    steady = pd.DataFrame([columns] * 3)
    assert series_none(steady, 1, "hand-held", False) == (
        "This session was shot from a tripod, so no frame tells this limit.",
        "Choose another limit.",
    )
    assert series_none(steady, 2, "freeze", "still")[0] == (
        "These sessions were shot of running subjects, so no frame tells this limit."
    )
    assert series_none(steady, 1, "iso", "S2")[0] == (
        "This session was shot with the M1, so no frame tells this limit."
    )
    by_hand = steady.assign(support="hand-held")
    assert series_none(by_hand, 1, "hand-held", True)[0] == (
        "This session was shot by hand not stabilised, so no frame tells this limit."
    )
    for judged in (by_hand, steady.assign(support=None), None):
        assert series_none(judged, 2, "hand-held", False) == (
            "These sessions have no judged hand-held frame yet that is a keeper or has camera shake.",
            "Judge the frames, or choose another limit.",
        )


def said(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> str:
    assert run(list(arguments)) == code
    told = capsys.readouterr()
    return told.err if code else told.out


def test_the_simulated_photographer_plans_an_outing(simulated_year: Path, capsys: pytest.CaptureFixture[str]) -> None:
    load_commands()
    where = ("--journal", str(simulated_year))
    text = said(capsys, "plan", "6", "--pace", "slow", "--stabilised", "--body", "Tidewell M1", *where)
    assert text.startswith("Simulated data. Start with 1/")
    assert "yours" in text
    told = json.loads(said(capsys, "plan", "6", "--pace", "slow", "--json", *where))
    assert told["plan"]["missing_stops"] >= 0
    assert said(capsys, "plan", "6", "--pace", "flying", *where, code=1) == (
        "Error: 'flying' is no pace this journal knows.\n  Next: Use one of: still, slow, walking, running, fast.\n"
    )


def test_the_simulated_photographer_designs_and_reads_a_series(
    simulated_year: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_commands()
    where = ("--journal", str(simulated_year))
    text = said(capsys, "series", "--seed", "1", "--stabilised", *where)
    assert text.startswith(
        "Simulated data. Hand-held at 100 mm (35 mm-equivalent), on one still subject, take one frame"
    )
    told = json.loads(said(capsys, "series", "--seed", "1", "--stabilised", "--json", *where))
    assert len(told["times"]) == 8
    assert told["limit_is_own"]
    assert "of your frames are shaken" in said(capsys, "series", "1", "4", "7", *where)
    assert said(capsys, "series", "99", *where, code=1) == (
        "Error: There is no session 99 in this journal.\n  Next: List them with: thirdstop sessions\n"
    )


def test_the_limit_itself_is_offered_where_that_is_enough() -> None:
    """What is missing is no more than the margin: the time may as well be at the limit."""
    dusk = replace(OUTING, ev100=7.0)
    found = plan(dusk, OWN)
    assert 0.2 < found.missing_stops < MARGIN_STOPS
    assert ways_to_light(found, dusk, OWN)[0] == (
        "1/250 would do it, with nothing to spare: at the limit a tenth of the frames is lost."
    )
    usual = replace(OWN, hand_held=Limit(0.0, False), highest_iso=Limit(5.0, False))
    assert ways_to_light(plan(dusk, usual), dusk, usual)[0] == (
        "1/250 would do it, with nothing to spare of the usual limit; yours is not known yet."
    )
    assert "with more noise." in " ".join(ways_to_light(plan(dusk, usual), dusk, usual))
    darker = replace(OUTING, ev100=5.0)
    assert "nothing to spare" not in " ".join(ways_to_light(plan(darker, OWN), darker, OWN))


def test_an_aperture_that_is_closed_for_depth_is_explained_and_no_wider_lens_is_offered() -> None:
    deep = replace(
        OUTING,
        ev100=5.0,
        focal_length_35mm=50.0,
        focal_length_mm=50.0,
        widest_f_number=1.8,
        priority="depth",
        subject_distance_m=5.0,
        subject_depth_m=2.5,
    )
    found = plan(deep, OWN)
    assert found.is_deep_enough and found.aperture_stops > 2 * math.log2(1.8) + 0.3
    assert re.fullmatch(r"f/[\d.]+ is the widest that holds the subject\.", *depth_words(found, deep))
    assert not any(way.startswith("A lens") for way in ways_to_light(found, deep, OWN))
    assert depth_words(plan(OUTING, OWN), OUTING) == []
