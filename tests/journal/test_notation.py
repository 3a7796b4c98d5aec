"""How settings are written: what is read, what is written back, and what is refused in which words."""

from __future__ import annotations

import math
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal import notation
from journal.errors import JournalError
from journal.schema.ddl import FAULTS

if TYPE_CHECKING:
    from collections.abc import Callable

FRACTION_HINT = "Write it as a fraction or in seconds, for example 1/125 or 2."


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1/125", Fraction(1, 125)),
        ("1/125 s", Fraction(1, 125)),
        (" 1 / 125 s ", Fraction(1, 125)),
        ("0.5", Fraction(1, 2)),
        (".5", Fraction(1, 2)),
        ("2s", Fraction(2)),
        ('2"', Fraction(2)),
        ("2 sec", Fraction(2)),
        ("1/1.6", Fraction(5, 8)),
        ("10/1250", Fraction(1, 125)),
    ],
)
def test_an_exposure_time_is_read_exactly(text: str, seconds: Fraction) -> None:
    assert notation.parse_exposure_time_fraction(text) == seconds
    assert notation.parse_exposure_time(text) == float(seconds)


@pytest.mark.parametrize("text", ["1/0", "0", "0/1", "-1", "1/", "", "nan", "inf", "1e3", '2"s', "2 s s", "9" * 5000])
def test_what_is_no_exposure_time_is_refused_by_name(text: str) -> None:
    with pytest.raises(JournalError) as refusal:
        notation.parse_exposure_time(text)
    assert (refusal.value.problem, refusal.value.next_step) == (f"{text!r} is no exposure time.", FRACTION_HINT)


def test_times_that_no_shutter_makes_are_refused() -> None:
    with pytest.raises(JournalError) as short:
        notation.parse_exposure_time("1/999999999")
    assert short.value.problem == "'1/999999999' is an exposure time of under a ten-millionth of a second."
    assert short.value.next_step == "Write it as a fraction of a second, for example 1/8000."
    with pytest.raises(JournalError) as long:
        notation.parse_exposure_time("700000")
    assert long.value.problem == "'700000' is an exposure time of over a week."
    assert long.value.next_step == "Write it in seconds, for example 30."


@pytest.mark.parametrize(
    ("text", "metres"), [("0.4", 0.4), ("0.4 m", 0.4), ("40 cm", 0.4), ("40CM", 0.4), ("8 mm", 0.008), ("12 m", 12.0)]
)
def test_a_distance_is_read_in_metres_and_written_as_it_is_spoken(text: str, metres: float) -> None:
    assert notation.parse_distance(text) == metres
    assert notation.parse_distance(notation.format_distance(metres)) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["", "0", "-1", "far", "1 km", "inf", "nan", "9" * 12])
def test_what_is_no_distance_is_refused(text: str) -> None:
    with pytest.raises(JournalError, match="is no distance"):
        notation.parse_distance(text)


@given(st.text(alphabet="0123456789./ s", max_size=45))
def test_an_exposure_time_that_is_read_fits_into_the_journal(text: str) -> None:
    try:
        seconds = notation.parse_exposure_time_fraction(text)
    except JournalError:
        return
    assert seconds > 0
    assert max(seconds.numerator, seconds.denominator) < 2**63


@given(st.integers(4, 1_000_000))
def test_a_whole_fraction_of_a_second_is_written_and_read_back(denominator: int) -> None:
    text = notation.format_exposure_time(1 / denominator)
    assert text == f"1/{denominator}"
    assert notation.parse_exposure_time(text) == 1 / denominator


@given(st.integers(60, 60_000_000))
def test_hundredths_of_a_second_are_written_and_read_back(hundredths: int) -> None:
    assert notation.parse_exposure_time(notation.format_exposure_time(hundredths / 100)) == hundredths / 100


@given(st.floats(1e-6, 600_000))
def test_a_written_time_is_the_recorded_one_to_a_twelfth_of_a_stop(seconds: float) -> None:
    again = notation.parse_exposure_time(notation.format_exposure_time(seconds))
    assert abs(math.log2(again / seconds)) < 1 / 12


def test_nominal_and_exact_times_stay_different() -> None:
    assert notation.format_exposure_time(1 / 60) == "1/60"
    assert notation.format_exposure_time(1 / 64) == "1/64"
    assert notation.format_exposure_time(0.3) == "0.3 s"
    assert notation.format_exposure_time(0.5) == "0.5 s" and notation.format_exposure_time(1 / 3) == "1/3"
    assert notation.format_exposure_time(30) == "30 s"


@given(st.integers(5, 1280))
def test_an_f_number_in_tenths_is_written_and_read_back(tenths: int) -> None:
    f_number = tenths / 10
    assert notation.parse_f_number(notation.format_f_number(f_number)) == f_number


@pytest.mark.parametrize("text", ["f/5.6", "F5.6", "5.6", "f 5.6", " F/5.6 "])
def test_an_aperture_is_read_however_it_is_written(text: str) -> None:
    assert notation.parse_f_number(text) == 5.6


@given(st.integers(1, 10_000_000))
def test_an_iso_is_written_and_read_back(iso: int) -> None:
    assert notation.parse_iso(notation.format_iso(iso)) == iso
    assert notation.parse_iso(str(iso)) == iso


@given(st.integers(1, 10_000_000), st.integers(1, 10_000_000))
def test_a_range_is_low_and_high_whichever_comes_first(one: int, other: int) -> None:
    assert notation.parse_range(f"{one}-{other}", notation.parse_iso) == (min(one, other), max(one, other))


def test_a_range_of_times_goes_from_the_shorter_to_the_longer() -> None:
    assert notation.parse_range("1/250-1/1000", notation.parse_exposure_time) == (1 / 1000, 1 / 250)
    assert notation.parse_range("1/250", notation.parse_exposure_time) == (1 / 250, 1 / 250)


@pytest.mark.parametrize("text", ["100-", "-100", "100-200-400", "-", ""])
def test_half_a_range_is_no_range(text: str) -> None:
    with pytest.raises(JournalError) as refusal:
        notation.parse_range(text, notation.parse_iso)
    assert refusal.value.problem == f"{text!r} is no value or range."
    assert refusal.value.next_step == "Write one value, or two with a hyphen: 100-3200."


@pytest.mark.parametrize(
    ("parse", "text", "problem", "next_step"),
    [
        (notation.parse_f_number, "f/0", "'f/0' is no f-number.", "Write it like f/5.6 or 5.6."),
        (notation.parse_f_number, "f/", "'f/' is no f-number.", "Write it like f/5.6 or 5.6."),
        (notation.parse_iso, "0", "'0' is no ISO speed.", "Write it like 400 or ISO 400."),
        (notation.parse_iso, "100.0", "'100.0' is no ISO speed.", "Write it like 400 or ISO 400."),
        (notation.parse_iso, "9" * 5000, f"'{'9' * 5000}' is no ISO speed.", "Write it like 400 or ISO 400."),
        (
            notation.parse_focal_length,
            "24-70",
            "'24-70' is no focal length.",
            "Write it in millimetres, for example 200.",
        ),
        (
            notation.parse_zone,
            "+05:75",
            "'+05:75' is no time zone.",
            "Write an offset like +01:00, or a name like Europe/Lisbon.",
        ),
        (
            notation.parse_zone,
            "Nowhere/Mud",
            "'Nowhere/Mud' is no time zone.",
            "Write an offset like +01:00, or a name like Europe/Lisbon.",
        ),
        (
            notation.parse_position,
            "91,0",
            "'91,0' is no position.",
            "Write latitude and longitude in degrees, for example 51.5,-0.1.",
        ),
    ],
)
def test_a_refusal_names_the_value_and_the_way_to_write_it(
    parse: Callable[[str], object], text: str, problem: str, next_step: str
) -> None:
    with pytest.raises(JournalError) as refusal:
        parse(text)
    assert (refusal.value.problem, refusal.value.next_step) == (problem, next_step)


@pytest.mark.parametrize("text", ["0001-01-01 00:00+14:00", "9999-12-31 23:59-10:00"])
def test_an_instant_outside_photography_is_refused(text: str) -> None:
    with pytest.raises(JournalError) as refusal:
        notation.parse_instant(text, UTC)
    assert refusal.value.problem == f"{text!r} is before there were photographs, or too far ahead."
    assert refusal.value.next_step == "Write it like 2026-03-01 06:40."


def test_what_is_no_date_is_refused() -> None:
    with pytest.raises(JournalError) as refusal:
        notation.parse_instant("2026-13-01", UTC)
    assert refusal.value.problem == "'2026-13-01' is no date and time."


milliseconds = st.integers(-4_000_000_000_000, 200_000_000_000_000)
offsets_min = st.integers(-14 * 60, 14 * 60)


@given(milliseconds, offsets_min)
def test_an_instant_is_written_in_utc_and_read_back(since_1970_ms: int, offset_min: int) -> None:
    zone = timezone(timedelta(minutes=offset_min))
    moment = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=since_1970_ms)).astimezone(zone)
    text = notation.format_instant(moment)
    assert text.endswith("Z")
    assert notation.parse_instant(text, zone) == moment


def test_a_zone_in_the_text_wins_over_the_one_around_it() -> None:
    moment = notation.parse_instant("2026-03-01 06:40+01:00", UTC)
    assert notation.format_instant(moment) == "2026-03-01T05:40:00.000Z"


def test_an_hour_of_summer_time_belongs_to_the_zone_by_name() -> None:
    lisbon = notation.parse_zone("Europe/Lisbon")
    assert notation.format_instant(notation.parse_instant("2026-07-01 06:40", lisbon)) == "2026-07-01T05:40:00.000Z"
    assert notation.format_instant(notation.parse_instant("2026-01-01 06:40", lisbon)) == "2026-01-01T06:40:00.000Z"


@given(st.floats(-90, 90).map(lambda x: round(x, 6)), st.floats(-180, 180).map(lambda x: round(x, 6)))
def test_a_position_is_read_in_degrees(latitude: float, longitude: float) -> None:
    assert notation.parse_position(f"{latitude:.6f},{longitude:.6f}") == (latitude, longitude)


@given(st.text(max_size=30))
def test_no_text_whatever_is_more_than_refused(text: str) -> None:
    parsers: tuple[Callable[[str], object], ...] = (
        notation.parse_exposure_time,
        notation.parse_f_number,
        notation.parse_iso,
        notation.parse_focal_length,
        notation.parse_position,
        notation.parse_zone,
        lambda value: notation.format_instant(notation.parse_instant(value, UTC)),
        lambda value: notation.parse_range(value, notation.parse_iso),
    )
    for parse in parsers:
        try:
            parse(text)
        except JournalError as refusal:
            assert refusal.next_step.endswith(".")


def test_notation_starts_without_numpy() -> None:
    code = "import sys, journal.notation; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_difference_has_a_sign_and_nought_has_none() -> None:
    assert [notation.format_signed(value) for value in (12.4, -3.0, 0.4, -0.4)] == ["+12", "-3", "0", "0"]
    assert notation.with_minus(notation.format_signed(-3.0)) == "−3"
    assert [notation.format_signed(value, 1) for value in (0.26, -0.06, -0.04, 0.0)] == ["+0.3", "-0.1", "0.0", "0.0"]


def test_none_of_one_is_said_as_people_say_it() -> None:
    assert notation.format_none_of(1, "frame") == "No frame"
    assert notation.format_none_of(1200, "frame") == "None of the 1,200 frames"


@pytest.mark.parametrize(
    ("metres", "said"), [(4.0123, "4.01 m"), (1490.4, "1,490 m"), (149_000.4, "149 km"), (math.inf, "infinity")]
)
def test_a_computed_distance_is_rounded_and_never_written_with_an_exponent(metres: float, said: str) -> None:
    assert notation.format_rounded_distance(metres) == said


@pytest.mark.parametrize(("pixels", "said"), [(1.7, "1.7 px"), (0.5, "0.5 px"), (0.49, "< 0.5 px"), (-0.9, "< 0.5 px")])
def test_a_spread_too_little_to_be_told_is_never_nought(pixels: float, said: str) -> None:
    assert notation.format_spread(pixels) == said


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("-2", "−2"),
        ("EV -2 at ISO 100", "EV −2 at ISO 100"),
        ("1.7 (-0.9 to 2.5)", "1.7 (−0.9 to 2.5)"),
        ("by -6 and -3.", "by −6 and −3."),
        ("-1,200 (-1,300 to -0.5), so", "−1,200 (−1,300 to −0.5), so"),
        *[
            (kept, kept)
            for kept in (
                "2026-03-01", "100-400 mm", "--support hand-held", "IMG -2.jpg", "T-2", "a - 2", "-2b", "", "--",
                "x=-2", "-2-3", "1e-5",
            )
        ],
    ],
)  # fmt: skip
def test_only_a_number_below_nought_has_a_minus_sign(text: str, shown: str) -> None:
    assert notation.with_minus(text) == shown


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_follows_rejected_as_english_has_it(fault: str) -> None:
    told = notation.format_faults([fault])
    assert told == f"{'as' if fault.endswith('exposed') else 'for'} {fault}"
    assert notation.format_faults([f"{fault} (probability 0.80)"]) == f"{told} (probability 0.80)"


def test_several_faults_are_told_together() -> None:
    assert notation.format_faults(["noise", "underexposed"]) == "as underexposed and for noise"
    assert notation.format_faults(["timing", "framing"]) == "for timing and framing"
