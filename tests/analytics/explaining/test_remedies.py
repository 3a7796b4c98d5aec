"""What would have fixed a frame: gain, price, and the bounds of lens, body and photographer."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.explaining import FrameFacts, OwnLimit, explain
from analytics.explaining.facts import Gear, Measured, Suggestion
from analytics.explaining.remedies import FIXABLE, Remedy
from journal.optics.exposure import exposure_stops

GEAR = Gear(body="M1", lens="85 mm", widest_f_number=1.8, widest_is_stated=True, lowest_iso=100,
            lowest_iso_is_stated=True, highest_iso=6400, highest_iso_is_stated=True)  # fmt: skip


def frame(fault: str, time: float = 1 / 30, n: float = 4.0, iso: float = 400, **other: object) -> FrameFacts:
    """A rejected frame at 85 mm on full frame."""
    facts = FrameFacts(
        7, "T7.jpg", time, n, iso, math.log2(n * n / time) - math.log2(iso / 100), math.log2(time * 85), 85, 85,
        pixel_pitch_um=6.0, circle_of_confusion_um=30.0, subject_pace="walking", camera_support="hand-held",
        is_stabilised=False, gear=GEAR, verdict="reject", faults=(fault,),
    )  # fmt: skip
    return replace(facts, **other)  # type: ignore[arg-type]


def remedies(facts: FrameFacts, limits: dict[tuple[str, object], OwnLimit] | None = None) -> tuple[Remedy, ...]:
    return explain(facts, limits or {}).fixes.remedies


def light(facts: FrameFacts | Remedy) -> float:
    assert facts.f_number and facts.exposure_time_s and facts.iso
    return float(exposure_stops(facts.f_number, facts.exposure_time_s, facts.iso))


def test_shake_is_mended_by_a_shorter_time_paid_by_iso_by_aperture_by_both_or_by_a_tripod() -> None:
    # 1/30 at 85 mm is 1.5 stops below the rule: five thirds shorter
    assert [remedy.settings for remedy in remedies(frame("camera shake"))] == [
        "1/100, f/4, ISO 1250",
        "1/100, f/2.2, ISO 400",
        "1/100, f/2.8, ISO 640",
        "1/30, f/4, ISO 400 on a tripod",
    ]


def test_every_alternative_names_gain_price_and_stops_given_up() -> None:
    by_iso, by_aperture, *_rest = remedies(frame("camera shake", subject_distance_m=4.0))
    assert by_iso.gains[0].startswith("hand-held smear from 14.2 px to 4.5 px")
    assert by_iso.prices == ("noise: 1.7 stops less light (signal to noise from 43 to 24)",)
    assert by_iso.stops_given_up == pytest.approx(5 / 3)
    assert by_aperture.prices[0].startswith("depth of field from 0.52 m to 0.29 m")


def test_measured_discs_say_how_far_the_aperture_alone_would_have_to_go() -> None:
    # a disc of half the width takes an aperture of half the width: two stops
    found = explain(frame("missed focus", measured=Measured(blur_px=8.0)), {}).fixes
    assert found.need_stops == pytest.approx(4)
    assert found.need_basis == "from discs of about 8 px to 2 px by the aperture alone"
    assert found.remedies[0].settings.startswith("1/30, f/16, ISO 6400")
    sentence = explain(frame("missed focus", measured=Measured(blur_px=8.0)), {}).sentence
    assert "it is the focus that was off, for the aperture alone would have to close by 4.0 stops" in sentence
    far = explain(frame("missed focus", measured=Measured(blur_px=16.0)), {})
    assert far.fixes.need_basis == "of 6.0 from discs of about 16 px to 2 px by the aperture alone"
    assert "would have to close by 6.0 stops" in far.sentence
    unmeasured = explain(frame("missed focus"), {}).fixes
    assert unmeasured.need_basis == "an example: distance or depth of the subject is not written down"


def test_measured_blur_says_how_far_to_go() -> None:
    fixes = explain(frame("subject motion", measured=Measured(blur_px=8.0)), {}).fixes
    assert (fixes.need_stops, fixes.need_basis) == (2.0, "from 8.0 px of measured blur to 2 px")


def test_a_tripod_does_not_hold_the_subject_still() -> None:
    assert not any(remedy.is_on_tripod for remedy in remedies(frame("subject motion")))


def test_more_depth_is_paid_by_time_or_iso_and_ends_where_the_subject_fits() -> None:
    facts = frame("missed focus", subject_distance_m=4.085, subject_depth_m=0.8)
    found = remedies(facts)
    assert [remedy.f_number for remedy in found] == [pytest.approx(4 * 2 ** (5 / 6))] * 3
    depth = explain(replace(facts, f_number=found[0].f_number), {}).depth
    assert depth.is_subject_inside
    assert explain(replace(facts, f_number=4 * 2 ** (4 / 6)), {}).depth.is_subject_inside is False


def test_too_much_light_is_mended_at_a_gain_elsewhere() -> None:
    by_iso, by_time, by_aperture = remedies(frame("overexposed", measured=Measured(ev=1.3)))
    assert [by_iso.iso, by_time.exposure_time_s] == [
        pytest.approx(400 / 2 ** (4 / 3)),
        pytest.approx(1 / 30 / 2 ** (4 / 3)),
    ]
    assert by_aperture.settings == "1/30, f/6.3, ISO 400"
    assert all(remedy.stops_given_up == 0 for remedy in (by_iso, by_time, by_aperture))
    assert any("hand-held smear" in gain for gain in by_time.gains)


def test_raising_the_iso_of_a_dark_frame_is_said_to_bring_no_light() -> None:
    wider, by_iso, longer = remedies(frame("underexposed", measured=Measured(ev=-1.0)))
    assert by_iso.settings == "1/30, f/4, ISO 800"
    # a time that makes a smear which shows comes after the others
    assert (wider.moved_stops["aperture"], longer.moved_stops["time"]) == (1.0, 1.0)
    assert "brighter, but with no more light on the sensor: noise stays as it is in the shadows" in by_iso.prices


def unexamined(fault: str, light_ev100: float | None) -> FrameFacts:
    """A frame whose settings suit EV 7 and that nobody has examined."""
    return frame(fault, time=1 / 32, iso=400, ev100=7.0, light_ev100=light_ev100)


@pytest.mark.parametrize(
    ("fault", "light", "step"),
    [
        ("underexposed", 6.7, "one stop brighter"),  # as little as eyes are off
        ("underexposed", 9.0, "one stop brighter"),  # the stated light contradicts the verdict
        ("underexposed", None, "one stop brighter"),
        ("overexposed", 7.3, "one stop darker"),
        ("overexposed", 5.0, "one stop darker"),
    ],
)
def test_how_far_an_exposure_is_off_is_not_known_before_the_picture_is_examined(
    fault: str, light: float | None, step: str
) -> None:
    told = explain(unexamined(fault, light), {})
    assert told.fixes.need_stops is None
    assert told.fixes.need_basis == "how far it is off is not known until its picture is examined"
    assert {remedy.gains[0] for remedy in told.fixes.remedies} == {step}
    assert f"a first step would have been {told.fixes.remedies[0].settings} ({step}); how far it is" in told.sentence
    assert "would have helped" not in told.sentence


@pytest.mark.parametrize(("fault", "light", "gain"), [("underexposed", 6.5, "0.7"), ("overexposed", 8.3, "1.3")])
def test_half_a_stop_of_the_stated_light_is_told_as_what_it_is(fault: str, light: float, gain: str) -> None:
    told = explain(unexamined(fault, light), {})
    assert told.fixes.need_stops == pytest.approx(float(gain), abs=0.05)
    assert told.fixes.need_basis == f"by the stated light, EV {light:g}, for the settings suit EV 7.0"
    assert f"; by the stated light, {told.fixes.remedies[0].settings} would have helped ({gain} stops" in told.sentence


def test_what_is_measured_counts_before_the_stated_light() -> None:
    measured = replace(unexamined("underexposed", 4.0), measured=Measured(ev=0.2))
    fixes = explain(measured, {}).fixes
    assert fixes.need_stops is None
    assert fixes.need_basis == "how far it is off is not known, for the picture as measured is not too dark"
    blank = explain(replace(unexamined("underexposed", None), measured=Measured()), {}).fixes
    assert blank.need_basis == "how far it is off is not known; the picture does not tell"


def test_shake_that_the_measured_edges_rule_out_is_mended_by_a_first_step_only() -> None:
    measured = Measured(edge_spread_px=0.3, edge_along_px=0.3)
    told = explain(frame("camera shake", measured=measured, subject_pace="still"), {})
    assert told.fixes.need_stops is None
    assert told.sentence.endswith(
        "hand-held smear of about 14.2 px was to be expected, but the measured edges rule it out, so look for another "
        "cause."
    )
    assert told.sentence.count("hand-held smear") == 1


def test_a_frame_keeps_its_settings_as_stored_and_only_what_is_moved_has_an_engraved_name() -> None:
    told = explain(frame("overexposed", time=1 / 568, n=3.3, iso=500, measured=Measured(ev=1.0)), {})
    assert told.settings == "1/568, f/3.3, ISO 500"
    assert told.sentence.startswith("Frame 7 (1/568, f/3.3, ISO 500 at 85 mm): ")
    assert [remedy.settings for remedy in told.fixes.remedies] == [
        "1/568, f/3.3, ISO 250",
        "1/1000, f/3.3, ISO 500",
        "1/568, f/4.5, ISO 500",
    ]
    assert told.exposure.ev100 == pytest.approx(math.log2(3.3**2 * 568 / 5))


def test_nothing_fixes_timing() -> None:
    fixes = explain(frame("timing"), {}).fixes
    assert (fixes.fault, fixes.remedies) == ("timing", ())


def test_a_keeper_needs_nothing_and_an_unsure_suggestion_is_not_acted_on() -> None:
    assert explain(frame("noise", verdict="keeper", faults=()), {}).fixes.fault is None
    unsure = Suggestion("noise", 0.9, True)
    sharp = frame("noise", time=1 / 1000, verdict="unjudged", faults=(), suggestion=unsure)
    assert explain(sharp, {}).fixes.fault is None


def test_an_unjudged_frame_far_below_the_rule_gets_a_warning_that_it_may_be_sharp() -> None:
    fixes = explain(frame("noise", verdict="unjudged", faults=()), {}).fixes
    assert fixes.fault == "camera shake"
    assert fixes.basis == "the blur budget alone; nobody has judged it, so it may be sharp all the same"
    assert (
        "; if that shows, 1/100, f/4, ISO 1250 would have helped"
        in explain(frame("noise", verdict="unjudged", faults=()), {}).sentence
    )


def test_settings_beyond_the_own_limits_are_marked() -> None:
    own = {("iso", "M1"): OwnLimit(3.0, 2.5, 3.5, True)}
    by_aperture, by_both, by_tripod, by_iso = remedies(frame("camera shake"), own)
    assert by_iso.cautions == ("0.7 stops beyond your highest ISO kept (M1)",)
    assert (by_aperture.cautions, by_both.cautions, by_tripod.cautions) == ((), (), ())


def test_the_gain_is_told_even_where_it_is_smaller_than_a_pixel() -> None:
    small = frame("camera shake", pixel_pitch_um=100.0)
    assert remedies(small)[0].gains[0] == "hand-held smear from 0.8 px to 0.3 px"


def test_where_there_is_one_way_to_pay_half_the_way_is_offered_too() -> None:
    unknown = frame("subject motion", gear=replace(GEAR, widest_f_number=None), measured=Measured(blur_px=8.0))
    assert [remedy.settings for remedy in remedies(unknown)] == ["1/125, f/4, ISO 1600", "1/60, f/4, ISO 800"]


def test_a_wider_aperture_that_loses_the_subject_is_marked() -> None:
    facts = frame("camera shake", subject_distance_m=4.085, subject_depth_m=0.4)
    _by_iso, by_aperture, *_rest = remedies(facts)
    assert "the subject, 0.4 m deep, no longer fits into the depth of field" in by_aperture.cautions


def test_where_depth_holds_too_little_already_a_wider_aperture_comes_last() -> None:
    noisy = frame("noise", iso=3200)
    assert remedies(noisy)[0].moved_stops["aperture"] > 0
    thin = replace(noisy, subject_distance_m=2.0, subject_depth_m=1.0)
    opened = [remedy.moved_stops["aperture"] > 0 for remedy in remedies(thin)]
    assert not opened[0] and opened == sorted(opened)


def test_a_wider_aperture_than_any_that_is_known_is_never_proposed() -> None:
    unknown = frame("camera shake", gear=replace(GEAR, widest_f_number=None, widest_is_stated=False))
    assert all((remedy.f_number or 0) >= 3.99 for remedy in remedies(unknown))


def test_what_lens_and_body_may_not_do_is_said() -> None:
    gear = replace(GEAR, is_zoom=True, highest_iso=800, highest_iso_is_stated=False)
    by_iso, by_aperture, *_rest = remedies(frame("camera shake", gear=gear, has_flash=True))
    assert by_iso.cautions == (
        "if the body goes so high; its highest ISO is not stated",
        "the flash fired: times shorter than the body's sync time are out of its reach",
    )
    assert by_aperture.cautions[0] == "if the lens opens so far at this focal length"


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(FIXABLE),
    st.floats(1 / 8000, 30),
    st.floats(1.8, 22),
    st.sampled_from([100, 125, 400, 1600, 6400]),
    st.floats(-3, 3),
)
def test_alternatives_keep_the_light_and_stay_inside_lens_and_body(
    fault: str, time: float, n: float, iso: int, ev: float
) -> None:
    facts = frame(fault, time, n, iso, measured=Measured(ev=ev, blur_px=7.0), subject_distance_m=4.0)
    found = remedies(facts)
    assert len(found) <= 4
    assert len({remedy.settings for remedy in found}) == len(found)
    sixth = 2 ** (1 / 6) * 1.001
    for remedy in found:
        assert remedy.f_number and remedy.exposure_time_s and remedy.iso
        if fault not in ("overexposed", "underexposed"):
            assert light(remedy) == pytest.approx(light(facts), abs=1e-9)
        assert remedy.f_number >= min(1.8, n) / sixth**0.5
        assert remedy.iso <= 6400 * sixth
        assert remedy.iso >= 100 / sixth
        assert remedy.exposure_time_s >= 1 / 8000 / sixth
        assert remedy.f_number <= max(16, n) * sixth


def test_how_far_an_exposure_is_off_stays_unknown_where_the_picture_could_not_be_examined() -> None:
    told = explain(frame("underexposed", why_unexamined="The file is cut short."), {})
    assert told.fixes.need_basis == "how far it is off is not known, for its picture could not be examined"


def test_the_more_a_frame_is_below_the_rule_the_further_the_time_has_to_go() -> None:
    needs = [explain(frame("camera shake", time), {}).fixes.need_stops or 0 for time in (1 / 60, 1 / 30, 1 / 15)]
    assert all(second - first == pytest.approx(1, abs=0.34) for first, second in pairwise(needs))


def test_noise_that_should_not_show_is_not_said_to_be_mended() -> None:
    """A reject for noise by the photographer, though by its settings a pixel so large shows none."""
    clean = explain(frame("noise", pixel_pitch_um=24.0), {})
    assert clean.fixes.need_basis == (
        "an example: by the settings, noise of 0.3 levels of 255 of this small picture should hardly show; its picture "
        "has not been examined"
    )
    assert re.search(
        r"would have had less noise \(1 stop more light, signal to noise from \d+ to \d+\)", clean.sentence
    )
    assert "would have helped" not in clean.sentence
    shown = explain(frame("noise", iso=3200), {})
    assert shown.fixes.need_basis == "an example: nothing says how far" and "would have helped" in shown.sentence
    seen = explain(frame("noise", pixel_pitch_um=24.0, measured=Measured(noise_sigma=9.0)), {})
    assert seen.fixes.need_basis == "an example: nothing says how far"


def test_at_the_highest_iso_that_is_kept_the_way_back_is_an_example() -> None:
    own = {("iso", "M1"): OwnLimit(5.0 - 0.1, 4.5, 5.5, True)}
    assert explain(frame("noise", iso=3200), own).fixes.need_basis == (
        "an example: the frame is at the highest ISO you keep with this body"
    )
    beyond = explain(frame("noise", iso=6400), own).fixes
    assert (beyond.need_basis, beyond.need_stops) == ("to the highest ISO you keep with this body", 4 / 3)


def test_a_longer_time_is_given_up_on_a_tripod_too_unless_the_subject_is_still() -> None:
    for pace, given_up in (("slow", 1.0), ("still", 0.0)):
        (on_tripod,) = [way for way in remedies(frame("noise", iso=3200, subject_pace=pace)) if way.is_on_tripod]
        assert on_tripod.stops_given_up == given_up
    still = remedies(frame("noise", time=1 / 1000, iso=3200, subject_pace="still"))
    assert all(way.prices for way in still if way.stops_given_up)


def test_where_every_way_is_beyond_an_own_limit_the_first_sentence_says_so() -> None:
    own = {("iso", "M1"): OwnLimit(3.0, 2.5, 3.5, True)}
    facts = frame("subject motion", iso=800)
    wide_open = replace(facts, gear=replace(facts.gear, widest_f_number=4.0, widest_is_stated=True))
    told = explain(wide_open, own)
    assert all(remedy.crosses_limit for remedy in told.fixes.remedies)
    assert "1/60, f/4, ISO 1600 would have helped" in told.sentence
    assert told.sentence.endswith(", but is 1 stop beyond your highest ISO kept (M1).")
    assert "but is" not in explain(facts, own).sentence


def test_where_no_smear_can_be_reckoned_the_measured_one_tells_the_gain() -> None:
    measured = Measured(edge_spread_px=1.0, blur_px=10.0)
    unknown = replace(
        frame("camera shake", measured=measured),
        circle_of_confusion_um=None,
        pixel_pitch_um=None,
        stops_below_rule=None,
    )
    found = {remedy.settings: remedy.gains[0] for remedy in remedies(unknown)}
    assert found["1/30, f/4, ISO 400 on a tripod"] == "camera shake from 10.0 px, as measured, to none"
    faster = [gain for settings, gain in found.items() if "tripod" not in settings]
    assert all(gain.startswith("camera shake from 10.0 px, as measured, to ") for gain in faster)


def test_a_longer_time_is_no_help_to_a_flash_and_a_price_for_hands_that_nobody_knows() -> None:
    unknown = replace(
        frame("underexposed", measured=Measured(ev=-1.0)),
        circle_of_confusion_um=None,
        pixel_pitch_um=None,
        stops_below_rule=None,
        has_flash=True,
    )
    longer = next(remedy for remedy in remedies(unknown) if remedy.moved_stops["time"] > 0)
    assert "1 stop more time for hands and subject to move in" in longer.prices
    assert "the flash fired: a longer time adds nothing to its light" in longer.cautions
    assert remedies(unknown)[-1] == longer


def test_a_fault_that_is_not_surely_suggested_is_named_where_nothing_is_mended() -> None:
    unsure = Suggestion("underexposed", 0.5, is_unsure=True, probabilities={"underexposed": 0.5})
    still = frame("noise", verdict="unjudged", faults=(), camera_support="tripod", subject_pace="still")
    told = explain(replace(still, suggestion=unsure), {}).fixes
    assert (told.fault, told.basis) == (None, "underexposed is suggested, but not surely enough")
