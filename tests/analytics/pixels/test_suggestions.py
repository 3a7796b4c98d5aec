"""What a session and an intent make of the measures of its frames."""

from __future__ import annotations

from typing import Any

import pytest

from analytics.pixels.references import Intent, MeasuredFrame
from analytics.pixels.suggest import Suggestion, suggestions
from analytics.pixels.tolerance import Tolerance

SETTINGS = {"ExposureTime": 1 / 250, "FNumber": 5.6, "ISO": 400, "FocalLengthIn35mmFilm": 85}


def blur(spread: float, along: float | None = None, across: float | None = None) -> dict[str, Any]:
    return {
        "spread_px": spread,
        "along_px": spread if along is None else along,
        "across_px": spread if across is None else across,
        "direction_deg": 14.0,
        "n_crests": 900,
    }


def measures(**changed: Any) -> dict[str, Any]:
    """Measures of a sharp, rightly exposed, clean frame, with changes."""
    plain = {
        "exposure": 0.05,
        "focus": 0.05,
        "shake": 0.05,
        "subject_motion": 0.05,
        "noise": 0.05,
        "ev": 0.0,
        "is_too_bright": False,
        "cant_tell": False,
        "blur": blur(0.8),
        "subject": {"blur": blur(0.8), "sharp_place": None},
        "tones": {"mean_stops": -0.5},
        "evidence": ["the sharpest edges spread 0.8 px, alike in all directions"],
        "evidence_by_fault": {
            "shake": ["edges spread 6.1 px along 14°, 1.2 px across it", "1/30 at 85 mm is 1.5 stops below the rule"],
            "exposure": ["about 2.0 stops too dark by the tones and settings"],
        },
    }
    return {**plain, **changed}


def frame(key: int, burst: int | None = None, exif: dict[str, Any] | None = None, **changed: Any) -> MeasuredFrame:
    return MeasuredFrame(key, measures(**changed), exif or SETTINGS, burst)


def only(found: list[Suggestion]) -> Suggestion:
    assert len(found) == 1
    return found[0]


def test_a_good_frame_gets_no_suggestion_and_says_what_was_measured() -> None:
    found = only(suggestions([frame(1)]))
    assert (found.fault, found.is_unsure) == (None, False)
    assert found.evidence == ["the sharpest edges spread 0.8 px, alike in all directions"]


def test_the_likeliest_fault_is_suggested_in_the_words_of_the_journal_with_its_evidence() -> None:
    found = only(suggestions([frame(1, shake=0.93, focus=0.1)]))
    assert (found.fault, found.probability, found.is_unsure) == ("camera shake", 0.93, False)
    assert found.evidence == [
        "edges spread 6.1 px along 14°, 1.2 px across it",
        "1/30 at 85 mm is 1.5 stops below the rule",
    ]


class Read(dict[str, Any]):
    """Measures that count how often they are read."""

    times = 0

    def __getitem__(self, name: str) -> Any:
        Read.times += 1
        return super().__getitem__(name)


@pytest.mark.parametrize("burst_length", [10, 2000])
def test_a_session_or_a_burst_ten_times_as_long_takes_ten_times_as_long(burst_length: int) -> None:
    def reads(n_frames: int) -> int:
        Read.times = 0
        suggestions([MeasuredFrame(n, Read(measures()), SETTINGS, n // burst_length) for n in range(n_frames)])
        return Read.times

    assert reads(2000) == pytest.approx(10 * reads(200), rel=0.01)


def test_one_place_is_told_once_though_it_speaks_for_two_faults() -> None:
    place = "at the likely subject edges spread {} along {}°, < 0.5 px across it, around it 1.6 px"
    by_fault = {
        "focus": [place.format("4.6 px", 69), "1/80 at f/2"],
        "subject_motion": [place.format("4.5 px", 68), "1/30 at 85 mm"],
    }
    found = only(suggestions([frame(1, focus=0.5, subject_motion=0.4, evidence_by_fault=by_fault)]))
    assert found.evidence == [place.format("4.6 px", 69), "1/80 at f/2", "1/30 at 85 mm"]


@pytest.mark.parametrize(("is_bright", "word"), [(True, "overexposed"), (False, "underexposed")])
def test_exposure_is_told_apart_by_its_sign(is_bright: bool, word: str) -> None:
    assert only(suggestions([frame(1, exposure=0.9, is_too_bright=is_bright)])).fault == word


def test_between_fine_and_sure_a_suggestion_is_unsure() -> None:
    assert only(suggestions([frame(1, focus=0.4)])).is_unsure
    assert only(suggestions([frame(1, focus=0.55)])).fault == "missed focus"
    assert only(suggestions([frame(1, focus=0.55)])).is_unsure


def test_a_frame_without_edges_is_unsure_of_sharpness_but_not_of_exposure() -> None:
    assert only(suggestions([frame(1, cant_tell=True, shake=0.9)])).is_unsure
    dark = only(suggestions([frame(1, cant_tell=True, exposure=0.95)]))
    assert (dark.fault, dark.is_unsure) == ("underexposed", False)


def test_the_best_of_a_burst_shows_what_was_possible() -> None:
    soft = {"blur": blur(3.0, 4.2, 2.0), "shake": 0.4}
    alone = only(suggestions([frame(2, **soft)]))
    beside = suggestions([frame(1, burst=7), frame(2, burst=7, **soft)])[1]
    assert alone.fault is None
    assert beside.fault == "camera shake"
    assert "the sharpest frame of its burst spreads edges by 0.8 px, this one by 4.2 px" in beside.evidence


def test_a_frame_as_sharp_as_a_sharp_burst_is_less_suspect() -> None:
    alone = only(suggestions([frame(1, focus=0.6)]))
    beside = suggestions([frame(1, burst=7, focus=0.6), frame(2, burst=7)])[0]
    assert beside.probability < alone.probability


def test_a_burst_that_is_soft_throughout_excuses_nobody() -> None:
    soft = {"blur": blur(4.0), "focus": 0.7}
    found = suggestions([frame(1, burst=7, **soft), frame(2, burst=7, **soft)])
    assert [each.fault for each in found] == ["missed focus", "missed focus"]
    assert found[0].probability == pytest.approx(0.7, abs=0.001)


def test_a_frame_much_darker_than_the_best_of_its_burst_is_underexposed() -> None:
    dark = frame(2, burst=7, exposure=0.3, ev=-1.5, tones={"mean_stops": -3.0})
    found = suggestions([frame(1, burst=7), dark])[1]
    assert found.fault == "underexposed"
    assert "2.5 stops darker than the best-exposed frame of its burst" in found.evidence


def test_low_key_that_was_meant_is_no_fault() -> None:
    dark = frame(1, exposure=0.8, ev=-1.8)
    assert only(suggestions([dark])).fault == "underexposed"
    assert only(suggestions([dark], Intent("herons as silhouettes at dusk"))).fault is None


def test_high_key_that_was_meant_is_no_fault() -> None:
    bright = frame(1, exposure=0.8, ev=1.8, is_too_bright=True)
    assert only(suggestions([bright], Intent("boats in snow, high key"))).fault is None


def test_a_look_that_most_frames_of_a_session_share_counts_as_meant() -> None:
    dark = [frame(key, exposure=0.6, ev=-1.4) for key in range(10)]
    assert all(each.fault is None for each in suggestions(dark))
    assert only(suggestions(dark[:1])).fault == "underexposed"


PANNED = {
    "blur": blur(0.9, 5.0, 0.9),
    "subject": {"blur": blur(0.8), "sharp_place": {"blur": blur(0.8), "outside": blur(2.0, 6.0, 1.0)}},
    "shake": 0.7,
}


def test_panning_is_no_fault_least_of_all_where_motion_was_the_priority() -> None:
    unstated = only(suggestions([frame(1, **PANNED)]))
    stated = only(suggestions([frame(1, **PANNED)], Intent(priority="motion")))
    assert stated.fault is None
    assert stated.probability < unstated.probability < 0.7


def test_a_soft_background_whose_edges_mostly_run_one_way_is_not_told_as_streaks() -> None:
    grass = {"blur": blur(0.8), "sharp_place": {"blur": blur(0.8), "outside": blur(5.8, 7.2, 4.6)}}
    streaked, soft = (
        only(suggestions([frame(1, **{**PANNED, "focus": 0.6, "subject": subject})])).evidence
        for subject in (PANNED["subject"], grass)
    )
    assert any("streaked" in each for each in streaked)
    assert not any("streaked" in each for each in soft)
    assert any("soft background" in each for each in soft)


def test_trails_that_were_meant_are_no_fault() -> None:
    exif = {**SETTINGS, "ExposureTime": 2.0}
    moved = frame(1, exif=exif, subject_motion=0.85)
    assert only(suggestions([moved])).fault == "subject motion"
    assert only(suggestions([moved], Intent("light trails at the bridge"))).fault is None


def test_a_tripod_takes_from_camera_shake() -> None:
    shaken = frame(1, shake=0.8)
    assert only(suggestions([shaken], Intent(camera_support="tripod"))).fault is None


def test_a_subject_that_was_still_is_hardly_said_to_have_moved() -> None:
    moved = frame(1, subject_motion=0.7)
    assert only(suggestions([moved])).fault == "subject motion"
    assert only(suggestions([moved], Intent(subject_pace="still"))).fault is None


@pytest.mark.parametrize(
    ("intent", "is_meant"),
    [
        ("lowkey portraits", True),
        ("dark and moody", True),
        ("not too dark please", False),
        ("no dark corners", False),
        ("avoid low key", False),
        ("too dark last time, brighter now", False),
        ("keep it dark", True),
        ("dark pictures of the quay", True),
        ("dark skin tones by the window", False),
        ("a dark horse in the paddock", False),
    ],
)
def test_an_intent_that_turns_a_word_round_does_not_ask_for_it(intent: str, is_meant: bool) -> None:
    dark = frame(1, exposure=0.7, ev=-1.5)
    assert (only(suggestions([dark], Intent(intent))).fault is None) is is_meant


SHALLOW = {
    "subject": {"blur": blur(0.8), "sharp_place": {"blur": blur(0.8), "outside": blur(4.0)}},
    "focus": 0.6,
}


def test_shallow_depth_is_no_missed_focus_unless_depth_was_the_priority() -> None:
    assert only(suggestions([frame(1, **SHALLOW)])).fault is None
    assert only(suggestions([frame(1, **SHALLOW)], Intent(priority="depth"))).fault == "missed focus"


def test_a_photographer_who_tolerates_noise_gets_fewer_suggestions_of_it() -> None:
    assert only(suggestions([frame(1, noise=0.7)])).fault == "noise"
    assert only(suggestions([frame(1, noise=0.7)], tolerance=Tolerance(noise=-1.5))).fault is None


def test_nothing_measured_gives_nothing_suggested() -> None:
    assert suggestions([]) == []
