"""Real pictures, where the machine has them, against what an independent decoder printed."""

from __future__ import annotations

import json

import pytest

from journal.readers import read_many
from journal.records.files import FileFacts


def test_real_frames_say_what_an_independent_decoder_says(frames_folder):
    expected = json.loads((frames_folder / "facts.json").read_text())
    found = {facts.file_name: facts for facts in read_many(frames_folder / name for name in expected) if is_read(facts)}
    assert found.keys() == expected.keys()
    for name, values in expected.items():
        facts = found[name]
        assert (facts.make, facts.model, facts.iso) == (values["make"], values["model"], values["iso"]), name
        assert facts.exposure_time_s == pytest.approx(values["exposure_time_s"], rel=1e-9), name
        # The decoder prints one decimal.
        assert round_half_up(facts.f_number) == values["f_number"], name
        assert round_half_up(facts.focal_length_mm) == values["focal_length_mm"], name
        said_by_exif = facts.focal_length_35mm if facts.focal_length_35mm_source == "exif" else None
        assert said_by_exif == values["focal_length_35mm"], name
        assert clock(facts) == values["taken_at_local"], name
        assert bias(values["exposure_bias_ev"]) == pytest.approx(facts.exposure_bias_ev), name
        assert PROGRAMS[values["exposure_program"]] == facts.exposure_program, name
        assert facts.metering_mode in METERING[values["metering_mode"]], name
        assert ("did not fire" in values["flash"]) == (facts.flash & 1 == 0), name


#: Exif's numbers for the decoder's words (CIPA DC-008, tags 0x8822 and 0x9207).
PROGRAMS = {None: None, "Program normal": 2, "Aperture priority": 3, "Program creative (slow program)": 5}
METERING = {
    None: (None, 0),
    "Average": (1,),
    "Center weighted average": (2,),
    "Spot": (3,),
    "Multi-spot": (4,),
    "Multi-segment": (5,),
    "(Other)": (255,),
}


def is_read(facts: object) -> bool:
    return isinstance(facts, FileFacts)


def round_half_up(value: float | None) -> float | None:
    return None if value is None else int(value * 10 + 0.5 + 1e-9) / 10


def clock(facts: FileFacts) -> str:
    """The date as the decoder prints it; what it prints as zeros is no date."""
    if facts.taken_at_local is None:
        return "0000:00:00 00:00:00"
    return facts.taken_at_local[:19].replace("-", ":").replace("T", " ")


def bias(words: str | None) -> float | None:
    if words is None:
        return None
    top, _, bottom = words.removesuffix(" EV").partition("/")
    return float(top) / float(bottom or 1)
