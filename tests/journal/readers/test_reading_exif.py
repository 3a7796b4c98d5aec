"""What a picture's tags become; every trap is one that real cameras set."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from PIL import Image, features

from journal.errors import Problem
from journal.readers import read_file
from journal.records.files import FileFacts

TAKEN = "Exif.Photo.DateTimeOriginal"


def facts_of(path: Path) -> FileFacts:
    facts = read_file(path)
    assert isinstance(facts, FileFacts), facts
    return facts


def test_settings_keep_the_fractions_of_the_file(make_picture):
    tags = {
        "Exif.Image.Make": "Tidewater ",
        "Exif.Image.Model": "TW 1",
        "Exif.Photo.ExposureTime": "10/1250",
        "Exif.Photo.FNumber": "56/10",
        "Exif.Photo.ISOSpeedRatings": "400",
        "Exif.Photo.ExposureBiasValue": "-2/3",
        "Exif.Photo.FocalLength": "85/1",
        "Exif.Photo.FocalLengthIn35mmFilm": "128",
        "Exif.Photo.Flash": "16",
    }
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.make, facts.model) == ("Tidewater", "TW 1")
    assert (facts.exposure_time_num, facts.exposure_time_den, facts.exposure_time_source) == (10, 1250, "exif")
    assert facts.exposure_time_s == 0.008
    assert (facts.f_number_num, facts.f_number_den, facts.f_number, facts.f_number_source) == (56, 10, 5.6, "exif")
    assert (facts.iso, facts.iso_source) == (400, "exif")
    assert (facts.exposure_bias_num, facts.exposure_bias_den) == (-2, 3)
    assert facts.exposure_bias_ev == pytest.approx(-2 / 3)
    assert (facts.focal_length_mm, facts.focal_length_35mm, facts.focal_length_35mm_source) == (85.0, 128.0, "exif")
    assert (facts.flash, facts.kind, facts.width_px, facts.height_px) == (16, "jpeg", 400, 200)


def test_a_picture_without_tags_says_nothing(make_picture):
    facts = facts_of(make_picture("bare.jpg"))
    said = {name: getattr(facts, name) for name in facts.__slots__ if getattr(facts, name) not in (None, ())}
    assert set(said) == {
        "path", "file_name", "kind", "size_bytes", "mtime_ns", "content_key", "width_px", "height_px",
    }  # fmt: skip


@pytest.mark.parametrize("blank", ["0000:00:00 00:00:00", "    :  :     :  :  ", "2024:13:41 25:61:00", "soon"])
def test_a_blank_zero_or_impossible_date_is_no_date(make_picture, blank):
    assert facts_of(make_picture("a.jpg", {TAKEN: blank})).taken_at_local is None


def test_the_clock_keeps_its_fraction_and_its_zone(make_picture):
    zone = "Exif.Photo.OffsetTimeOriginal"
    tags = {TAKEN: "2024:05:06 07:08:09", "Exif.Photo.SubSecTimeOriginal": "5", zone: "-03:30"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.taken_at_local, facts.subsec) == ("2024-05-06T07:08:09.500", "5")
    assert facts.offset_minutes == -210


def test_an_f_number_of_zero_is_an_unknown_aperture(make_picture):
    tags = {"Exif.Photo.FNumber": "0/10", "Exif.Photo.ApertureValue": "4/1"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.f_number, facts.f_number_source) == (None, None)


def test_apex_values_stand_in_where_the_plain_tags_are_absent(make_picture):
    tags = {"Exif.Photo.ShutterSpeedValue": "6/1", "Exif.Photo.ApertureValue": "4/1"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.exposure_time_s, facts.exposure_time_num, facts.exposure_time_source) == (1 / 64, None, "apex")
    assert (facts.f_number, facts.f_number_num, facts.f_number_source) == (4.0, None, "apex")


def test_an_exposure_time_of_zero_is_not_replaced_by_apex(make_picture):
    tags = {"Exif.Photo.ExposureTime": "0/1", "Exif.Photo.ShutterSpeedValue": "0/1"}
    assert facts_of(make_picture("a.jpg", tags)).exposure_time_s is None


@pytest.mark.parametrize("short", ["0", "65535"])
def test_a_sensitivity_too_large_for_its_tag_is_in_the_long_one(make_picture, short):
    tags = {"Exif.Photo.ISOSpeedRatings": short, "Exif.Photo.RecommendedExposureIndex": "102400"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.iso, facts.iso_source) == (102400, "exif")
    assert facts_of(make_picture("b.jpg", {"Exif.Photo.ISOSpeedRatings": short})).iso is None


@pytest.mark.parametrize("placeholder", ["----", "n/a", "Unknown", "  "])
def test_a_placeholder_is_no_lens(make_picture, placeholder):
    assert facts_of(make_picture("a.jpg", {"Exif.Photo.LensModel": placeholder})).lens_model is None


def test_an_equivalent_focal_length_of_zero_is_unknown(make_picture):
    tags = {"Exif.Photo.FocalLength": "50/1", "Exif.Photo.FocalLengthIn35mmFilm": "0"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.focal_length_mm, facts.focal_length_35mm) == (50.0, None)


FOCAL_PLANE = {
    "Exif.Photo.FocalLength": "50/1",
    "Exif.Photo.PixelXDimension": "3600",
    "Exif.Photo.PixelYDimension": "2400",
    "Exif.Photo.FocalPlaneXResolution": "2000/1",
    "Exif.Photo.FocalPlaneYResolution": "2000/1",
    "Exif.Photo.FocalPlaneResolutionUnit": "3",
}


def test_the_focal_plane_gives_the_equivalent_of_a_half_size_sensor(make_picture):
    # 3600 px at 2000 px/cm are 18 mm: half of 36 mm.
    facts = facts_of(make_picture("a.jpg", FOCAL_PLANE))
    assert facts.focal_length_35mm == pytest.approx(100.0)
    assert facts.focal_length_35mm_source == "focal_plane"


def test_a_focal_plane_of_other_pixels_than_the_pictures_is_not_believed(make_picture):
    wrong = {"Exif.Photo.FocalPlaneXResolution": "4064000/1408", "Exif.Photo.FocalPlaneYResolution": "2704000/937"}
    wrong["Exif.Photo.FocalPlaneResolutionUnit"] = "2"
    assert facts_of(make_picture("a.jpg", FOCAL_PLANE | wrong)).focal_length_35mm is None


def test_the_largest_distance_is_infinity_and_zero_is_unknown(make_picture):
    key = "Exif.Photo.SubjectDistance"
    assert facts_of(make_picture("far.jpg", {key: "4294967295/1"})).subject_distance_m == math.inf
    assert facts_of(make_picture("no.jpg", {key: "0/1"})).subject_distance_m is None
    near = facts_of(make_picture("near.jpg", {key: "25/10"}))
    assert (near.subject_distance_m, near.subject_distance_source) == (2.5, "exif")


def test_a_position_is_signed_degrees_and_one_without_a_fix_is_none(make_picture):
    gps = {
        "Exif.GPSInfo.GPSLatitude": "51/1 30/1 0/1",
        "Exif.GPSInfo.GPSLatitudeRef": "S",
        "Exif.GPSInfo.GPSLongitude": "0/1 15/1 36/1",
        "Exif.GPSInfo.GPSLongitudeRef": "W",
    }
    facts = facts_of(make_picture("a.jpg", gps))
    assert (facts.latitude, facts.longitude) == (-51.5, pytest.approx(-0.26))
    none = facts_of(make_picture("b.jpg", gps | {"Exif.GPSInfo.GPSLatitude": "0/0 0/0 0/0"}))
    assert (none.latitude, none.longitude) == (None, None)


def test_the_true_size_wins_over_what_a_program_last_wrote(make_picture):
    tags = {"Exif.Photo.PixelXDimension": "4000", "Exif.Photo.PixelYDimension": "3000"}
    facts = facts_of(make_picture("a.jpg", tags))
    assert (facts.width_px, facts.height_px) == (400, 200)


def test_ratings_are_numbers_and_minus_one_is_rejected(make_picture):
    for text, number in (("5.0", 5.0), ("-1", -1.0), ("3", 3.0)):
        assert facts_of(make_picture("a.jpg", {"Xmp.xmp.Rating": text})).rating == number
    assert facts_of(make_picture("b.jpg", {"Xmp.xmp.Rating": "nan"})).rating is None


def test_label_and_keywords_come_from_xmp(make_picture):
    facts = facts_of(make_picture("a.jpg", {"Xmp.xmp.Label": "dawn", "Xmp.dc.subject": "rowing|river"}))
    assert (facts.label, facts.keywords) == ("dawn", ("rowing", "river"))


def test_a_tiff_carries_the_same_tags(make_picture):
    facts = facts_of(make_picture("a.tif", {"Exif.Photo.FNumber": "56/10", "Exif.Image.Model": "TW 1"}, (64, 48)))
    assert (facts.kind, facts.model, facts.width_px, facts.height_px) == ("tiff", "TW 1", 64, 48)
    assert facts.f_number == 5.6


def test_a_tiff_with_a_dng_version_is_a_dng(make_picture):
    assert facts_of(make_picture("a.tif", {"Exif.Image.DNGVersion": "1 4 0 0"})).kind == "dng"


@pytest.mark.parametrize("suffix", ["nef", "cr2", "arw", "pef"])
def test_a_raw_file_in_a_tiff_frame_carries_the_same_tags(make_picture, suffix):
    tags = {"Exif.Photo.FNumber": "56/10", "Exif.Photo.ExposureTime": "1/60", "Exif.Image.Model": "TW 1"}
    picture = make_picture("a.tif", tags)
    facts = facts_of(picture.rename(picture.with_suffix(f".{suffix}")))
    settings = (facts.f_number, facts.exposure_time_num, facts.exposure_time_den)
    assert (facts.kind, facts.model, settings) == ("raw", "TW 1", (5.6, 1, 60))


@pytest.mark.skipif(not features.check("avif"), reason="this Pillow writes no AVIF")
def test_an_avif_carries_the_same_tags(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x829D] = 5.6
    exif[0x0110] = "TW 1"
    path = tmp_path / "a.avif"
    Image.new("RGB", (64, 48)).save(path, exif=exif)
    facts = facts_of(path)
    assert (facts.kind, facts.model, facts.width_px, facts.height_px) == ("avif", "TW 1", 64, 48)
    assert facts.f_number == pytest.approx(5.6)


def test_the_content_decides_the_kind_not_the_name(make_picture):
    path = make_picture("a.jpg")
    assert facts_of(path.rename(path.with_suffix(".nef"))).kind == "jpeg"


def test_a_moved_file_keeps_its_content_key_and_a_changed_one_does_not(make_picture):
    path = make_picture("a.jpg", {"Exif.Image.Model": "one"})
    before = facts_of(path).content_key
    moved = path.rename(path.with_name("b.jpg"))
    assert facts_of(moved).content_key == before
    assert facts_of(make_picture("a.jpg", {"Exif.Image.Model": "two"})).content_key != before


def test_reading_leaves_the_original_as_it_was(make_picture):
    path = make_picture("a.jpg", {"Xmp.xmp.Rating": "4"})
    path.chmod(0o444)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    facts_of(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_a_name_that_is_not_utf8_is_read(make_picture):
    path = make_picture("a.jpg", {"Exif.Image.Model": "TW 1"})
    odd = path.rename(path.parent / b"caf\xe9.jpg".decode("utf-8", "surrogateescape"))
    assert facts_of(odd).model == "TW 1"


def test_a_text_file_is_a_problem_with_a_next_step(tmp_path):
    path = tmp_path / "notes.jpg"
    path.write_text("no picture")
    assert read_file(path) == Problem(
        str(path),
        "This is not a picture that the journal can read.",
        "Leave it out of the import, or export it as JPEG or TIFF first.",
    )
