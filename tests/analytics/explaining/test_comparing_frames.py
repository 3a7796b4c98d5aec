"""Two frames side by side: the differences that matter come first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.explaining import compare, explain
from analytics.explaining.facts import FrameFacts, Gear, Measured, Suggestion

SHARP = FrameFacts(
    1, "a.jpg", 1 / 250, 2.8, 1600, 5.0, -1.6, 85, 85, pixel_pitch_um=6.0, circle_of_confusion_um=30.0,
    camera_support="hand-held", is_stabilised=False, subject_pace="still", verdict="keeper",
)  # fmt: skip
SMEARED = replace(SHARP, frame_id=2, exposure_time_s=1 / 15, iso=100, stops_below_rule=2.5, verdict="reject")


def both(one: FrameFacts, other: FrameFacts):
    return compare(explain(one, {}), explain(other, {}))


def test_the_cause_with_the_greatest_visible_effect_comes_first() -> None:
    found = both(SHARP, SMEARED)
    assert found.differences[0].name == "hand-held smear"
    assert found.sentence == (
        "Frame 1 (1/250, f/2.8, ISO 1600) and frame 2 (1/15, f/2.8, ISO 100) differ most in hand-held smear: "
        "1.6 px against 28.3 px (18 times as wide in frame 2)."
    )


def test_settings_that_differ_are_listed_with_the_light_they_add() -> None:
    found = {line.name: (line.first, line.second, round(line.stops or 0)) for line in both(SHARP, SMEARED).settings}
    assert found == {"time": ("1/250", "1/15", 4), "ISO": ("ISO 1600", "ISO 100", -4)}


def test_settings_that_differ_are_told_as_they_are_stored_and_so_are_the_stops_between_them() -> None:
    one = replace(SHARP, exposure_time_s=1 / 568, f_number=3.3, iso=640)
    other = replace(SHARP, frame_id=2, exposure_time_s=1 / 482, f_number=2.8, iso=500)
    found = {line.name: (line.first, line.second, round(line.stops or 0, 2)) for line in both(one, other).settings}
    assert found == {
        "time": ("1/568", "1/482", 0.24),
        "aperture": ("f/3.3", "f/2.8", 0.47),
        "ISO": ("ISO 640", "ISO 500", -0.36),
    }
    assert both(one, other).sentence.startswith("Frame 1 (1/568, f/3.3, ISO 640) and frame 2 (1/482, f/2.8, ISO 500)")


def test_a_cause_that_hides_behind_a_larger_one_comes_after_it() -> None:
    one = replace(SHARP, stops_below_rule=4.0, f_number=2.8)
    found = both(one, replace(one, frame_id=2, stops_below_rule=4.5, f_number=16.0, iso=1600))
    assert [line.name for line in found.differences] == ["hand-held smear", "diffraction"]


def test_a_smear_below_a_pixel_makes_no_difference() -> None:
    one = replace(SHARP, stops_below_rule=-7.0)
    assert both(one, replace(one, frame_id=2, stops_below_rule=-6.0)).differences == ()


def test_a_comparison_turned_round_is_the_same_with_the_other_sign() -> None:
    here, there = both(SHARP, SMEARED), both(SMEARED, SHARP)
    assert [line.name for line in here.differences] == [line.name for line in there.differences]
    assert [round(line.stops, 9) for line in here.differences] == [-round(line.stops, 9) for line in there.differences]


def test_a_difference_that_the_settings_do_not_explain_is_said_to_be_unexplained() -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=1.0))
    other = replace(SHARP, frame_id=2, measured=Measured(edge_spread_px=9.0))
    assert both(one, other).sentence == (
        "Frame 1 (1/250, f/2.8, ISO 1600) and frame 2 (1/250, f/2.8, ISO 1600) differ most in spread of the sharpest "
        "edges, measured: 1.0 px against 9.0 px (9.0 times as wide in frame 2); nothing that is known of them explains "
        "it: a steadier moment or the focus may have."
    )


def test_what_was_measured_and_what_is_to_be_expected_are_ranked_by_one_scale() -> None:
    one = replace(SHARP, measured=Measured(ev=0.5, edge_spread_px=1.8))
    other = replace(SHARP, frame_id=2, measured=Measured(ev=-1.1, edge_spread_px=0.9))
    exposure, spread, *_noise = both(one, other).differences
    assert exposure.words == (
        "exposure, measured: 0.5 stops too bright against 1.1 stops too dark (frame 2 is 1.6 stops darker)"
    )
    assert (
        spread.words == "spread of the sharpest edges, measured: 1.8 px against 0.9 px (2.0 times as wide in frame 1)"
    )
    assert (exposure.stops, spread.stops) == (pytest.approx(-1.6), pytest.approx(-1.0))
    assert "differ most in exposure, measured" in both(one, other).sentence


def test_edges_too_sharp_to_be_told_are_never_nought() -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=4.0))
    other = replace(SHARP, frame_id=2, measured=Measured(edge_spread_px=-1.0))
    assert "4.0 px against < 0.5 px (at least 8.0 times as wide in frame 1)" in both(one, other).sentence


def test_a_place_out_of_focus_counts_where_the_sharpest_edges_are_alike() -> None:
    sharp = replace(SHARP, measured=Measured(edge_spread_px=0.4))
    missed = replace(sharp, frame_id=8, measured=Measured(edge_spread_px=0.4, blur_px=13.0))
    found = both(sharp, missed)
    assert found.differences[0].words == (
        "blur of a place, measured: none that stands out against about 13 px (only in frame 8)"
    )
    assert both(missed, sharp).differences[0].stops < 0
    softer = replace(missed, measured=Measured(edge_spread_px=3.0, blur_px=13.0))
    assert [each.name for each in both(sharp, softer).differences] == ["spread of the sharpest edges, measured"]


@pytest.mark.parametrize(
    ("first", "second", "how"),
    [
        (1.66, 0.94, "1.7 px against 0.9 px (1.9 times as wide in frame 1)"),
        (1.74, 0.86, "1.7 px against 0.9 px (1.9 times as wide in frame 1)"),
        (0.86, 12.04, "0.9 px against 12.0 px (13 times as wide in frame 2)"),
    ],
)
def test_how_many_times_is_worked_out_from_the_numbers_that_are_shown(first: float, second: float, how: str) -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=first))
    (found, *_rest) = both(one, replace(SHARP, frame_id=2, measured=Measured(edge_spread_px=second))).differences
    assert found.words == f"spread of the sharpest edges, measured: {how}"
    assert (found.first, found.second) == (first, second)


def test_how_many_stops_darker_is_worked_out_from_the_stops_that_are_shown() -> None:
    one = replace(SHARP, measured=Measured(ev=0.54))
    other = replace(SHARP, frame_id=2, measured=Measured(ev=-1.14))
    found = next(line for line in both(one, other).differences if line.name == "exposure, measured")
    assert found.words.endswith("0.5 stops too bright against 1.1 stops too dark (frame 2 is 1.6 stops darker)")


def test_a_size_that_is_shown_as_nought_is_no_part_of_a_ratio() -> None:
    found = both(replace(SHARP, stops_below_rule=-7.0), replace(SMEARED, frame_id=3)).differences
    assert found[0].words == "hand-held smear: 0.0 px against 28.3 px (only in frame 3)"


def test_a_smear_to_be_expected_that_the_edges_speak_against_is_said_so() -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=5.1))
    found = both(one, replace(SMEARED, measured=Measured(edge_spread_px=4.2, edge_along_px=4.4)))
    assert found.sentence.endswith("but its edges, as measured, are the sharper ones: 5.1 px against 4.2 px.")


def test_a_smear_that_the_measured_edges_rule_out_is_no_difference_but_not_known() -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=0.6, edge_along_px=0.6))
    found = both(one, replace(SMEARED, measured=Measured(edge_spread_px=0.6, edge_along_px=0.6)))
    assert "hand-held smear" not in [difference.name for difference in found.differences]
    assert (
        "hand-held smear of frame 2: about 28.3 px by the 1/focal-length rule; but the measured edges allow about "
        "2.1 px" in found.unknown
    )


def test_both_sides_of_a_difference_have_one_unit() -> None:
    one = replace(SHARP, pixel_pitch_um=None)
    (smear, *_rest) = both(one, SMEARED).differences
    assert (smear.unit, smear.first_words, smear.second_words) == ("µm", "9.9 µm", "170 µm")


def test_what_only_one_frame_has_is_said_of_that_one() -> None:
    (smear, *_rest) = both(replace(SMEARED, camera_support="tripod"), replace(SMEARED, frame_id=3)).differences
    assert smear.words == "hand-held smear: 0.0 px against 28.3 px (only in frame 3)"


def test_a_sensor_whose_size_is_missing_is_named_once_with_the_command_that_states_it() -> None:
    bare = replace(
        SHARP, stops_below_rule=None, focal_length_35mm=None, pixel_pitch_um=None, circle_of_confusion_um=None,
        gear=Gear(body="TW 1"),
    )  # fmt: skip
    unknown = both(bare, replace(bare, frame_id=2)).unknown
    assert [line for line in unknown if "thirdstop" in line] == [
        "State the size of the sensor of TW 1, its width and height in mm: "
        "thirdstop gear body 'TW 1' --sensor WIDTHxHEIGHT"
    ]


@pytest.mark.parametrize(("spread_px", "is_seen"), [(0.6, False), (0.9, True)])
def test_a_tenth_of_a_pixel_makes_no_difference(spread_px: float, is_seen: bool) -> None:
    one = replace(SHARP, measured=Measured(edge_spread_px=0.5))
    other = replace(SHARP, frame_id=2, measured=Measured(edge_spread_px=spread_px))
    found = both(one, other)
    assert bool(found.differences) == is_seen
    nothing = ": nothing that is known of settings and pictures makes a visible difference."
    assert found.sentence.endswith(nothing) != is_seen


def test_what_is_not_known_of_either_is_named() -> None:
    unknown = both(SHARP, replace(SMEARED, subject_pace=None)).unknown
    assert "subject smear of frame 2: the subject's pace is not written down" in unknown


def test_where_nothing_differs_it_is_said_which_settings_are_not_known() -> None:
    alike = replace(SHARP, frame_id=44)
    assert both(SHARP, alike).no_difference == "Nothing, for no setting differs."
    timeless = replace(alike, exposure_time_s=None, stops_below_rule=None)
    assert both(SHARP, timeless).no_difference == "It cannot be told, for the time of frame 44 is not known."
    bare = replace(timeless, iso=None)
    assert both(bare, SHARP).no_difference == (
        "It cannot be told, for the time of frame 44 and the ISO of frame 44 are not known."
    )


def test_a_cause_that_is_not_known_keeps_from_saying_that_nothing_shows_at_all() -> None:
    bare = replace(SHARP, stops_below_rule=None, focal_length_mm=None, focal_length_35mm=None)
    found = both(bare, replace(bare, frame_id=2, gear=replace(bare.gear, lens="another")))
    assert found.unknown and found.settings and not found.unknown_settings
    assert found.no_difference == "Nothing that shows, of what is known."


def test_what_no_picture_was_examined_for_is_not_said_to_be_alike() -> None:
    seen = replace(SHARP, measured=Measured(blur_px=2.0))
    other = replace(seen, frame_id=2, measured=None, gear=replace(seen.gear, lens="another"))
    told = compare(explain(seen, {}), explain(other, {}))
    assert "sharpness, exposure and noise of frame 2: its picture has not been examined" in told.unknown
    assert told.no_difference == "Nothing that shows, of what is known."


def test_a_verdict_that_nothing_known_explains_is_not_passed_over() -> None:
    lost = replace(SHARP, frame_id=2, verdict="reject", faults=("missed focus",))
    assert both(replace(SHARP, verdict="keeper"), lost).sentence.endswith(
        ": nothing that is known of their settings tells why they were not judged alike; compare the pictures by "
        "eye, for they have not been measured."
    )
    assert both(lost, replace(lost, frame_id=3)).sentence.endswith(
        "nothing that is known of their settings makes a visible difference; compare the pictures by eye, for they "
        "have not been measured."
    )
    measured = replace(lost, frame_id=3, measured=Measured())
    assert both(lost, measured).sentence.endswith(
        "compare the pictures by eye, for that of frame 2 has not been measured."
    )


SHAKEN = Suggestion("camera shake", 0.97, is_unsure=False, probabilities={"camera shake": 0.97})
UNNAMED = replace(SHARP, camera_support=None, stops_below_rule=None, circle_of_confusion_um=None, verdict="unjudged")


def test_a_smear_is_seen_along_its_way_and_a_longer_time_and_what_is_suggested_are_told_with_it() -> None:
    one = replace(UNNAMED, measured=Measured(edge_spread_px=0.6, edge_along_px=0.8, edge_across_px=0.6))
    smeared = Measured(edge_spread_px=0.7, edge_along_px=4.0, edge_across_px=0.7)
    other = replace(UNNAMED, frame_id=2, exposure_time_s=1 / 8, measured=smeared, suggestion=SHAKEN)
    found = both(one, other)
    assert found.differences[0].words == (
        "spread of the sharpest edges, measured: 0.8 px against 4.0 px (5.0 times as wide in frame 2)"
    )
    assert found.sentence.endswith(
        "; frame 2 was exposed for 5.0 stops longer, which may explain it; of frame 2 camera shake is suggested "
        "(probability 0.97)."
    )


def test_where_nothing_measured_differs_what_is_suggested_still_does() -> None:
    measured = Measured(edge_spread_px=0.6)
    missed = Suggestion("missed focus", 0.81, is_unsure=False, probabilities={"missed focus": 0.81})
    one = replace(UNNAMED, measured=measured)
    found = both(one, replace(one, frame_id=2, suggestion=missed))
    assert found.sentence.endswith("of frame 2 missed focus is suggested (probability 0.81).")
    judged = replace(one, verdict="keeper")
    assert "suggested" not in both(judged, replace(judged, frame_id=2, suggestion=missed)).sentence


def test_noise_is_compared_as_it_was_measured_where_it_was() -> None:
    one = replace(UNNAMED, measured=Measured(edge_spread_px=0.6, noise_sigma=1.2))
    other = replace(one, frame_id=2, measured=Measured(edge_spread_px=0.6, noise_sigma=8.7))
    (only,) = both(one, other).differences
    assert (only.name, only.first, only.second) == ("noise in flat places, measured", 1.2, 8.7)


def test_diffraction_whose_pixels_nobody_knows_is_not_said_to_explain_a_smear() -> None:
    one = replace(UNNAMED, pixel_pitch_um=None, f_number=2.4, measured=Measured(edge_spread_px=0.6))
    other = replace(one, frame_id=2, f_number=8.0, measured=Measured(edge_spread_px=3.6))
    assert both(one, other).sentence.endswith("explains it: a steadier moment or the focus may have.")
