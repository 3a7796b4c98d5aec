"""What an explanation says of one frame: its blur budget, its noise, its depth, and what is not known."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.explaining import FrameFacts, OwnLimit, explain
from analytics.explaining.blur_budget import DEFOCUS, DIFFRACTION, HAND_HELD, PIXEL, SUBJECT, blur_budget
from analytics.explaining.facts import Gear, Measured, Suggestion
from analytics.explaining.noise import levels_words, mid_grey_electrons, noise_estimate, signal_to_noise
from analytics.explaining.own_limits import limits_of_tables, to_spare
from journal.notation import format_shares

#: 85 mm on full frame, two stops below the rule, a walking subject 0.4 m deep at 4 m.
FRAME = FrameFacts(
    frame_id=7,
    file_name="T0007.jpg",
    exposure_time_s=4 / 85,
    f_number=2.8,
    iso=400,
    ev100=math.log2(2.8**2 / (4 / 85)) - 2,
    stops_below_rule=2.0,
    focal_length_mm=85,
    focal_length_35mm=85,
    pixel_pitch_um=6.0,
    circle_of_confusion_um=30.0,
    subject_distance_m=4.085,
    subject_distance_source="exif",
    subject_depth_m=0.4,
    subject_pace="walking",
    camera_support="hand-held",
    is_stabilised=False,
    gear=Gear(body="M1", lens="85 mm", widest_f_number=1.8, widest_is_stated=True, highest_iso=6400,
              highest_iso_is_stated=True, lowest_iso=100, lowest_iso_is_stated=True),
)  # fmt: skip


def test_at_the_rule_hands_smear_one_circle_of_confusion_and_twice_that_a_stop_below() -> None:
    at_rule = blur_budget(replace(FRAME, stops_below_rule=0.0), {}).part(HAND_HELD)
    assert (at_rule.extent_um, at_rule.extent_px, at_rule.bound) == (30.0, 5.0, "about")
    assert blur_budget(replace(FRAME, stops_below_rule=1.0), {}).part(HAND_HELD).extent_um == 60.0


def test_the_own_limit_takes_the_place_of_the_rule() -> None:
    own = {("hand-held", False): OwnLimit(1.0, 0.5, 1.5, True)}
    part = blur_budget(FRAME, own).part(HAND_HELD)
    assert (part.extent_um, part.basis) == (60.0, "your own hand-held limit")


def test_a_limit_with_too_little_behind_it_counts_for_nothing() -> None:
    own = {("hand-held", False): OwnLimit(1.0, 0.5, 1.5, False)}
    assert blur_budget(FRAME, own).part(HAND_HELD).extent_um == 120.0


def test_a_stabiliser_whose_help_is_not_known_makes_the_smear_an_upper_bound() -> None:
    assert blur_budget(replace(FRAME, is_stabilised=True), {}).part(HAND_HELD).bound == "at most"


def test_on_a_tripod_nothing_smears_but_the_subject() -> None:
    budget = blur_budget(replace(FRAME, camera_support="tripod"), {})
    assert (budget.part(HAND_HELD).extent_um, budget.part(HAND_HELD).bound) == (0.0, "none")
    assert budget.dominant == SUBJECT


def test_a_walking_subject_smears_by_its_way_times_the_magnification() -> None:
    # magnification 0.085 / 4 = 1/47.06; way 1.4 m/s * 4/85 s
    part = blur_budget(FRAME, {}).part(SUBJECT)
    assert part.extent_um == pytest.approx(1.4 * 4 / 85 * 0.085 / 4 * 1e6)
    assert part.bound == "at most"


def test_the_own_freezing_limit_says_how_much_and_without_it_and_a_distance_nothing_is_guessed() -> None:
    own = {("freeze", "walking"): OwnLimit(math.log2(1 / 85), -7, -6, True)}
    assert blur_budget(FRAME, own).part(SUBJECT).extent_um == pytest.approx(120.0)
    slower = {("freeze", "walking"): OwnLimit(-20.0, -21, -19, True)}
    assert blur_budget(FRAME, slower).part(SUBJECT).extent_um == blur_budget(FRAME, {}).part(SUBJECT).extent_um
    far = replace(FRAME, subject_distance_m=None)
    part = blur_budget(far, {}).part(SUBJECT)
    assert (part.extent_um, part.bound) == (None, "unknown")
    assert part.basis == "neither the distance nor your own freezing limit for walking subjects is known"


def test_focused_at_infinity_is_no_distance_to_reckon_with() -> None:
    budget = blur_budget(replace(FRAME, subject_distance_m=1e9), {})
    assert budget.part(SUBJECT).extent_um is None
    assert budget.part(DEFOCUS).extent_um is None


def test_the_near_edge_of_a_deep_subject_is_out_of_focus() -> None:
    # aperture 85/2.8 mm, magnification 0.085/4, |x - s| / x = 0.2 / 3.885
    expected = 85 / 2.8 * 0.085 / 4 * 0.2 / 3.885 * 1000
    assert blur_budget(FRAME, {}).part(DEFOCUS).extent_um == pytest.approx(expected)


def test_shares_are_of_the_variance_and_add_up_to_one() -> None:
    budget = blur_budget(replace(FRAME, subject_pace="still"), {})
    assert sum(part.share or 0 for part in budget.parts) == pytest.approx(1)
    assert budget.dominant == max(budget.parts, key=lambda part: part.share or 0).name == HAND_HELD
    assert budget.total_spread_px == pytest.approx((budget.total_spread_um or 0) / 6.0)


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=8).filter(lambda sizes: sum(sizes) > 1e-6))
def test_shares_as_they_are_written_add_up_to_a_hundred_and_none_is_a_whole_per_cent_off(sizes: list[float]) -> None:
    shares = [size / sum(sizes) for size in sizes]
    told = [int(words.removesuffix(" %")) for words in format_shares(shares)]
    assert sum(told) == 100
    assert all(abs(part - 100 * share) < 1 for part, share in zip(told, shares, strict=True))


def test_shares_that_each_would_be_rounded_up_are_told_as_a_hundred_together() -> None:
    assert format_shares([0.336, 0.336, 0.328]) == ["34 %", "33 %", "33 %"]
    assert format_shares([0.335, 0.335, 0.33]) == ["34 %", "33 %", "33 %"]
    assert format_shares([0.0, 1.0]) == ["0 %", "100 %"]


@settings(deadline=None)
@given(st.floats(-4, 6), st.floats(1.2, 22))
def test_the_shares_of_a_frame_that_are_told_add_up_to_a_hundred(below: float, n: float) -> None:
    facts = replace(FRAME, subject_pace="still", stops_below_rule=below, f_number=n)
    assert sum(int(words.removesuffix(" %")) for words in blur_budget(facts, {}).shares) == 100
    assert blur_budget(replace(facts, f_number=None), {}).shares == ("",) * 5


@settings(deadline=None)
@given(st.floats(-4, 6), st.floats(1.2, 22))
def test_a_slower_time_or_a_smaller_aperture_never_blurs_less_by_hands_or_diffraction(below: float, n: float) -> None:
    here = blur_budget(replace(FRAME, stops_below_rule=below, f_number=n), {})
    worse = blur_budget(replace(FRAME, stops_below_rule=below + 1, f_number=n * 1.4), {})
    for name in (HAND_HELD, DIFFRACTION):
        assert (worse.part(name).extent_um or 0) > (here.part(name).extent_um or 0)


def test_without_a_pixel_size_everything_is_in_micrometres() -> None:
    budget = blur_budget(replace(FRAME, pixel_pitch_um=None), {})
    assert [part.extent_px for part in budget.parts] == [None] * 5
    assert budget.part(PIXEL).bound == "unknown"
    assert budget.part(HAND_HELD).extent_um == 120.0


def test_a_frame_of_which_nothing_is_known_is_explained_without_a_guess() -> None:
    told = explain(FrameFacts(1, "bare.jpg"), {})
    assert all(part.extent_um is None for part in told.budget.parts)
    assert told.depth.missing == "the focal length is not written down"
    assert told.noise.basis == "the ISO is not written down"
    assert all(line.stops is None for line in told.to_spare)
    assert told.sentence == "Frame 1 (settings unknown): not judged."


#: A compact camera whose sensor nobody stated: neither pixels nor circle of confusion nor the rule are known.
NO_SENSOR = replace(
    FRAME, stops_below_rule=None, focal_length_35mm=None, pixel_pitch_um=None, circle_of_confusion_um=None,
    subject_distance_m=None, subject_depth_m=None, is_stabilised=None,
)  # fmt: skip


def test_what_is_missing_is_named_as_the_fact_that_somebody_can_state() -> None:
    own = {("freeze", "walking"): OwnLimit(-6.0, -7, -5, True)}
    told = explain(NO_SENSOR, own)
    of_the_85 = "the 35 mm-equivalent of 85 mm is not known, for want of the sensor's size"
    assert {part.name: part.basis for part in told.budget.parts if part.bound == "unknown"} == {
        HAND_HELD: of_the_85,
        SUBJECT: "neither the sensor's size (for your own freezing limit for walking subjects) nor the subject's "
        "distance is known; one of them is enough",
        DEFOCUS: "the subject's distance is not written down",
        PIXEL: "the sensor's size is not known",
    }
    assert told.noise.basis == told.depth.missing == "the sensor's size is not known"
    held = told.to_spare[0]
    assert held.basis == f"{of_the_85}; whether body and lens are stabilised is not known"
    assert blur_budget(replace(NO_SENSOR, exposure_time_s=None), own).part(HAND_HELD).basis == (
        "the exposure time is not written down"
    )


def test_diffraction_alone_dominates_nothing_and_has_no_share() -> None:
    for support in ("hand-held", "tripod"):
        told = explain(replace(NO_SENSOR, camera_support=support, verdict="keeper"), {})
        assert told.budget.dominant is None
        assert [part.share for part in told.budget.parts] == [None] * 5
        assert told.sentence == "Frame 7 (1/21.2, f/2.8, ISO 400 at 85 mm): a keeper."


def test_one_unknown_cause_leaves_out_all_shares_but_not_the_largest_known_cause() -> None:
    budget = blur_budget(replace(FRAME, subject_pace=None), {})
    assert [part.share for part in budget.parts] == [None] * 5
    assert budget.dominant == HAND_HELD
    assert 0.9 < budget.share_of_known(HAND_HELD) < 1
    assert budget.share_of_known(SUBJECT) == 0


def test_electrons_halve_with_each_stop_of_iso_and_follow_the_area_of_the_pixel() -> None:
    # 0.1 lx s, 4090 photons per µm² and lx s, half of them caught, 36 µm²
    assert mid_grey_electrons(100, 6) == pytest.approx(0.1 * 4090 * 0.5 * 36, rel=0.002)
    assert mid_grey_electrons(200, 6) == pytest.approx(mid_grey_electrons(100, 6) / 2)
    assert mid_grey_electrons(100, 3) == pytest.approx(mid_grey_electrons(100, 6) / 4)
    assert mid_grey_electrons(100, 6, -1) == pytest.approx(mid_grey_electrons(100, 6) / 2)


def test_a_hundred_electrons_have_a_signal_to_noise_of_nearly_ten() -> None:
    assert signal_to_noise(100) == pytest.approx(100 / math.sqrt(109))


def test_noise_is_expected_as_exposed_and_stands_beside_what_was_measured() -> None:
    measured = replace(FRAME, measured=Measured(ev=-2.0, noise_sigma=2.5))
    estimate = noise_estimate(measured)
    assert estimate.electrons == pytest.approx(mid_grey_electrons(1600, 6))
    assert estimate.measured_sigma == 2.5
    assert "as exposed" in estimate.basis


def test_there_is_always_some_noise() -> None:
    assert [levels_words(sigma) for sigma in (1.44, 0.04)] == ["1.4 levels of 255", "< 0.1 levels of 255"]


def test_depth_of_field_says_whether_the_subject_fits() -> None:
    assert explain(FRAME, {}).depth.is_subject_inside is False
    assert explain(replace(FRAME, f_number=8.0), {}).depth.is_subject_inside is True
    assert explain(replace(FRAME, subject_depth_m=None), {}).depth.is_subject_inside is None


def test_the_drawing_is_plain_text_with_near_subject_and_far_in_order() -> None:
    for n, s in ((2.8, 4.0), (22.0, 30.0), (1.8, 1.0)):
        drawing = explain(replace(FRAME, f_number=n, subject_distance_m=s), {}).drawing
        assert all(line.isascii() and len(line) <= 80 for line in drawing)
        bar = next(line for line in drawing if line.startswith("in focus"))
        end = max(bar.find("]"), bar.find(">"))
        assert 0 <= bar.find("[") <= bar.find("X") <= end or "X" in bar
    assert explain(replace(FRAME, subject_distance_m=None), {}).drawing == ()


def test_stops_to_spare_are_the_limit_less_the_frame() -> None:
    own = {
        ("hand-held", False): OwnLimit(0.5, 0.0, 1.0, True),
        ("iso", "M1"): OwnLimit(5.0, 4.5, 5.5, True),
        ("freeze", "walking"): OwnLimit(-6.0, -7.0, -5.0, False),
    }
    held, freeze, iso = to_spare(FRAME, own)
    assert (held.stops, held.low, held.high) == (-1.5, -2.0, -1.0)
    assert iso.stops == pytest.approx(3.0)
    assert (freeze.stops, freeze.basis) == (None, "your limit is not known yet: too few judged frames, or none near")


def test_a_limit_that_no_frame_went_beyond_is_said_to_be_a_least_one() -> None:
    (held, *_rest) = to_spare(FRAME, {("hand-held", False): OwnLimit(3.0, 2.5, 3.5, True, is_reached=False)})
    assert held.basis == "your own limit, from your judged frames; none went beyond it, so you may be able to do more"


def test_limits_come_from_the_tables_of_the_statistics() -> None:
    table = pd.DataFrame(
        {"key": [True], "estimate": [2.0], "low": [1.5], "high": [2.5], "is_enough": [True], "bound": ["at least"]}
    )
    assert limits_of_tables({"hand-held": table}) == {("hand-held", True): OwnLimit(2.0, 1.5, 2.5, True, False)}


def test_the_sentence_names_verdict_cause_and_first_way_out() -> None:
    told = explain(replace(FRAME, subject_pace="still", verdict="reject", faults=("camera shake",)), {})
    assert told.sentence == (
        "Frame 7 (1/21.2, f/2.8, ISO 400 at 85 mm): rejected for camera shake; the largest blur to expect is "
        "hand-held smear, about 20.0 px; 1/80, f/2.8, ISO 1600 would have helped (hand-held smear from 20.0 px to "
        "5.0 px)."
    )


@pytest.mark.parametrize(
    ("faults", "words"),
    [
        (("underexposed",), "rejected as underexposed"),
        (("overexposed", "noise"), "rejected as overexposed and for noise"),
        (("framing",), "rejected for framing"),
        ((), "rejected, with no fault named"),
    ],
)
def test_why_it_was_rejected_is_said_as_english_has_it(faults: tuple[str, ...], words: str) -> None:
    told = explain(replace(FRAME, verdict="reject", faults=faults), {}).sentence
    assert told.startswith(f"Frame 7 (1/21.2, f/2.8, ISO 400 at 85 mm): {words}; ")


def test_nothing_stands_out_only_of_what_is_known() -> None:
    assert explain(NO_SENSOR, {}).fixes.basis == (
        "no fault is named, and nothing that is known of the blur budget stands out"
    )
    whole = replace(FRAME, subject_pace="still", stops_below_rule=-2.0, f_number=16.0)
    assert explain(whole, {}).fixes.basis == "no fault is named, and nothing in the blur budget stands out"


#: A frame whose edges are as sharp as pixels can show, two stops below the rule; nobody said how it was held.
SHARP_ALL_THE_SAME = replace(
    FRAME, camera_support=None, subject_pace=None, f_number=4.0,
    measured=Measured(edge_spread_px=0.3, edge_along_px=0.4),
    suggestion=Suggestion(None, None, False),
)  # fmt: skip


def test_a_supposed_smear_that_the_measured_edges_rule_out_neither_leads_nor_is_mended() -> None:
    told = explain(SHARP_ALL_THE_SAME, {})
    part = told.budget.part(HAND_HELD)
    assert (part.bound, part.extent_px, part.spread_um, part.share) == ("ruled out", None, None, None)
    assert part.basis == (
        "about 20.0 px by the 1/focal-length rule, if it was held by hand; the support is not written down; but the "
        "measured edges allow about 1.7 px"
    )
    assert told.budget.dominant == DEFOCUS
    assert (told.fixes.fault, told.fixes.remedies) == (None, ())
    assert told.sentence == (
        "Frame 7 (1/21.2, f/4, ISO 400 at 85 mm): not judged; the largest blur that is known is defocus, about 3.9 px."
    )


def test_where_shake_is_suggested_the_smear_is_as_large_as_measured_and_what_would_help_is_told_from_there() -> None:
    shaken = replace(
        SHARP_ALL_THE_SAME,
        measured=Measured(edge_spread_px=1.0, edge_along_px=2.5, edge_across_px=1.0, blur_px=9.0),
        suggestion=Suggestion("camera shake", 0.97, is_unsure=False, probabilities={"camera shake": 0.97}),
    )
    told = explain(shaken, {})
    part = told.budget.part(HAND_HELD)
    assert (part.bound, round(part.extent_px or 0, 1)) == ("about", 8.7)
    assert told.budget.measured_blur_px == pytest.approx(8.7, abs=0.1)
    assert part.basis.startswith("the measured edges; about 20.0 px by the 1/focal-length rule")
    assert told.budget.dominant == HAND_HELD
    assert "rule" not in told.sentence
    smears = [one for one in told.fixes.remedies[0].effects if one.name == HAND_HELD]
    assert smears[0].before == pytest.approx(8.7, abs=0.1)
    faster = 2 ** told.fixes.remedies[0].moved_stops["time"]
    assert smears[0].after == pytest.approx(8.7 * faster, abs=0.1)


def test_a_suggested_shake_that_hands_do_not_explain_has_its_measured_size_all_the_same() -> None:
    fast = replace(
        SHARP_ALL_THE_SAME,
        exposure_time_s=1 / 500,
        stops_below_rule=-3.0,
        measured=Measured(edge_spread_px=1.0, edge_along_px=4.0, edge_across_px=1.0, blur_px=23.0),
        suggestion=Suggestion("camera shake", 0.8, is_unsure=False, probabilities={"camera shake": 0.8}),
    )
    told = explain(fast, {})
    assert told.budget.part(HAND_HELD).extent_px == pytest.approx(13.9, abs=0.1)
    assert told.fixes.need_basis == "from 13.9 px of measured blur to 2 px"
    assert told.fixes.remedies[0].gains[0].startswith("hand-held smear from 13.9 px to ")


def test_a_smear_of_stated_hands_that_the_edges_rule_out_was_to_be_expected() -> None:
    for support, size in (("hand-held", "about"), ("braced", "at most")):
        told = explain(replace(SHARP_ALL_THE_SAME, camera_support=support), {})
        assert told.sentence.endswith(
            f"; hand-held smear of {size} 20.0 px was to be expected, but the measured edges rule it out."
        )
        assert told.fixes.remedies == ()


def test_a_smear_is_an_extent_and_a_spread_is_a_standard_deviation() -> None:
    def bound(along_px: float | None, spread_px: float = 0.3, scale: float = 1.0) -> str:
        measured = Measured(edge_spread_px=spread_px, edge_along_px=along_px, scale=scale)
        return blur_budget(replace(SHARP_ALL_THE_SAME, measured=measured), {}).part(HAND_HELD).bound

    # a line of 10 px has a standard deviation of 2.89 px; 20 px are clearly more than 2.88 px allow, and not than 2.9
    assert [bound(along) for along in (2.88, 2.9)] == ["ruled out", "about"]
    # edges along a smear stay sharp: where no direction is told, 1.10 px may be what they show of 2.88 px
    assert [bound(None, spread) for spread in (1.1, 1.12)] == ["ruled out", "about"]
    # a pixel of a preview stands for many, and less than half of one is told of none
    assert [bound(0.3, scale=scale) for scale in (5.7, 5.8)] == ["ruled out", "about"]


def test_edges_rule_nothing_out_where_they_or_the_pixels_are_not_known() -> None:
    unmeasured = replace(SHARP_ALL_THE_SAME, measured=None, suggestion=None)
    for facts in (unmeasured, replace(unmeasured, measured=Measured(ev=0.1))):
        assert explain(facts, {}).sentence.startswith(
            "Frame 7 (1/21.2, f/4, ISO 400 at 85 mm): not judged; the largest blur that is known is hand-held smear, "
            "about 20.0 px; if that shows, "
        )
    assert blur_budget(replace(SHARP_ALL_THE_SAME, pixel_pitch_um=None), {}).part(HAND_HELD).bound == "about"
    assert blur_budget(replace(SHARP_ALL_THE_SAME, camera_support="tripod"), {}).part(HAND_HELD).bound == "none"


def test_measured_edges_say_nothing_of_other_settings() -> None:
    judged = replace(
        SHARP_ALL_THE_SAME, verdict="reject", faults=("missed focus",), stops_below_rule=-0.6, subject_pace="still"
    )  # at the rule 3.3 px are to be expected, which the edges allow; longer times were not measured
    told = explain(judged, {})
    assert told.budget.part(HAND_HELD).bound == "about"
    prices = [price for remedy in told.fixes.remedies for price in remedy.prices]
    assert any(price.startswith("hand-held smear from 3.3 px to ") for price in prices)


def test_a_suggestion_is_called_one() -> None:
    suggestion = Suggestion("camera shake", 0.93, False, ("edges spread 6.1 px along 14°",), {"camera shake": 0.93})
    told = explain(replace(FRAME, suggestion=suggestion), {})
    assert "not judged; camera shake is suggested (probability 0.93)" in told.sentence
    assert told.fixes.basis == "suggested with probability 0.93, not judged"


@pytest.mark.parametrize(("pitch_um", "words"), [(6.0, "on the sensor"), (65.0, "of this small picture")])
def test_the_pixel_of_a_picture_that_was_made_smaller_is_not_said_to_be_the_sensors(
    pitch_um: float, words: str
) -> None:
    part = blur_budget(replace(FRAME, pixel_pitch_um=pitch_um), {}).part(PIXEL)
    assert words in part.basis and part.extent_um == pitch_um


def test_a_blur_in_pixels_of_a_small_picture_is_said_to_be_so() -> None:
    sizes = {pitch: explain(replace(FRAME, pixel_pitch_um=pitch), {}).sentence for pitch in (6.0, 65.0)}
    assert " px" in sizes[6.0] and "of this small picture" not in sizes[6.0]
    assert "of this small picture" in sizes[65.0]
    compact = replace(FRAME, pixel_pitch_um=2.4, circle_of_confusion_um=4.0)  # as a small sensor has them, at full size
    assert "of this small picture" not in explain(compact, {}).sentence


def test_the_far_limit_of_a_focus_near_the_hyperfocal_distance_is_no_number() -> None:
    hyperfocal = explain(FRAME, {}).depth.hyperfocal_distance_m
    assert hyperfocal is not None
    words = [
        explain(replace(FRAME, subject_distance_m=share * hyperfocal), {}).depth.far_words for share in (0.2, 0.999, 2)
    ]
    assert words[0].endswith(" m") and words[1:] == ["about infinity", "infinity"]
