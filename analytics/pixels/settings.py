"""What the camera wrote down, as numbers: any of it may be missing, and what is missing stays NaN.

Values come as numbers, fractions, pairs or text such as "1/125", "f/2.8", "85 mm" or "Manual"; what is no number, or no
possible one, counts as missing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from journal.records.turns import TURNS

#: BrightnessValue that goes with EV 0 at ISO 100. Source: Exif 2.32 annex C, Sv = 5 at ISO 100: Bv = Av + Tv − Sv.
SPEED_VALUE_AT_100 = 5.0
#: Bv of an unknown brightness. Source: Exif 2.32, numerator FFFFFFFF.H; larger than any scene.
BRIGHTEST_SCENE = 25.0
#: What a meter said counts only up to so many stops apart from the settings: beyond, it is on another scale than Bv, or
#: was never written, and a picture that is so far off shows it. Source: own choice; one of twelve real files with a
#: reading is 8.8 stops off, and rightly exposed.
MOST_METERED_ERROR = 4.0
#: Where the 35 mm-equivalent is not written down: lenses shorter than this sit before small sensors [mm], and what
#: either crops.
#: Source: own choice; between full frame and APS-C, and a 1/2.3-inch sensor.
SMALL_SENSOR_LENS_MM, SMALL_SENSOR_CROP, LARGE_SENSOR_CROP = 12.0, 5.6, 1.3
#: A number as people write it: 0.5, 1/125, f/2.8, F2.8, ISO 400, 85.0 mm, 1/30 s.
WRITTEN = re.compile(r"(?:f/?|iso\s*)?([-+]?[\d.]+(?:e[-+]?\d+)?)\s*(?:/\s*([\d.]+))?\s*(?:mm|sec|s|ev)?", re.I)
#: What Exif's codes of ExposureMode and Flash are called in words; the first that fits counts.
MODE_WORDS = {r"^manual": 1.0, r"^auto": 0.0}
FLASH_WORDS = {r"not fire|^off\b|^no\b": 0.0, r"fired|^on\b|^yes\b": 1.0}
ON_WORDS = frozenset({"on", "yes", "true", "1"})
OFF_WORDS = frozenset({"off", "no", "false", "0", "none"})
#: How fast a subject moves across the frame, in widths of the frame a second, for the words of a session. Source: own
#: choice.
PACES = {"still": 0.0, "slow": 0.02, "walking": 0.06, "running": 0.2, "fast": 0.5}


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one frame; NaN where nobody wrote it down.

    Attributes:
        exposure_time_s: [s].
        f_number: [1].
        iso: [1].
        focal_length_mm: [mm].
        focal_length_35mm: 35 mm-equivalent [mm].
        metered_error_ev: how much brighter than metered the settings make the picture [stops].
        is_manual: 1 where exposure was set by hand, 0 where not [1].
        is_flash: 1 where a flash fired, 0 where not [1].
        is_steadied: 1 with stabilisation, 0 without [1].
        pace: widths of the frame that the subject moves in a second [1/s].
        subject_area: x, y and where known width and height [px], empty where not known.
        orientation: how the stored picture is turned, 1 to 8; 1 is upright.
    """

    exposure_time_s: float
    f_number: float
    iso: float
    focal_length_mm: float
    focal_length_35mm: float
    metered_error_ev: float
    is_manual: float
    is_flash: float
    is_steadied: float
    pace: float
    subject_area: tuple[float, ...]
    orientation: int = 1

    @property
    def stops_below_rule(self) -> float:
        """log2(t · 35 mm-equivalent focal length): 0 at the 1/focal-length rule, positive is slower [stops]."""
        return math.log2(self.exposure_time_s * self.focal_length_35mm) if self.has("focal_length_35mm") else math.nan

    @property
    def likely_stops_below_rule(self) -> float:
        """The same with a 35 mm-equivalent supposed where only the focal length is known: for the model, never for a
        fact."""
        if self.has("focal_length_35mm") or not self.has("focal_length_mm"):
            return self.stops_below_rule
        crop = SMALL_SENSOR_CROP if self.focal_length_mm < SMALL_SENSOR_LENS_MM else LARGE_SENSOR_CROP
        return math.log2(self.exposure_time_s * self.focal_length_mm * crop)

    @property
    def pupil_mm(self) -> float:
        """Diameter of the entrance pupil, focal length / f-number: discs of what is out of focus grow with it [mm]."""
        return self.focal_length_mm / self.f_number

    @property
    def ev100(self) -> float:
        """EV at ISO 100 = log2(N² / t) − log2(ISO / 100)."""
        value = self.f_number**2 / self.exposure_time_s * 100 / self.iso
        return math.log2(value) if value > 0 else math.nan

    def has(self, name: str) -> bool:
        """Whether a setting and the exposure time are known."""
        return math.isfinite(self.exposure_time_s) and math.isfinite(float(getattr(self, name)))


def settings_of(exif: Mapping[str, Any]) -> Settings:
    """Settings from what the camera wrote down.

    Args:
        exif: Exif names and values; any may be missing. `subject_pace` may be added by a journal.

    Returns:
        Settings, NaN where a value is missing or impossible.

    Source: Exif 2.32 (CIPA DC-008) for the names and their units.
    """
    time, f_number, iso = (_positive(exif.get(name)) for name in ("ExposureTime", "FNumber", "ISO"))
    bias = _number(exif.get("BrightnessValue"))
    error = math.nan
    if abs(bias) < BRIGHTEST_SCENE and math.isfinite(time + f_number + iso):
        error = bias + SPEED_VALUE_AT_100 - math.log2(f_number**2 / time * 100 / iso)
        error = error if abs(error) < MOST_METERED_ERROR else math.nan
    mode, flash = _coded(exif.get("ExposureMode"), MODE_WORDS), _coded(exif.get("Flash"), FLASH_WORDS)
    area, turned = exif.get("SubjectArea"), _number(exif.get("Orientation"))
    return Settings(
        exposure_time_s=time,
        f_number=f_number,
        iso=iso,
        focal_length_mm=_positive(exif.get("FocalLength")),
        focal_length_35mm=_positive(exif.get("FocalLengthIn35mmFilm")),
        metered_error_ev=error,
        is_manual=float(mode == 1) if math.isfinite(mode) else math.nan,
        is_flash=float(int(flash) & 1) if math.isfinite(flash) else math.nan,
        is_steadied=_switch(exif.get("ImageStabilization")),
        pace=PACES.get(str(exif.get("subject_pace")), math.nan),
        subject_area=tuple(_number(each) for each in area) if isinstance(area, list | tuple) else (),
        orientation=int(turned) if math.isfinite(turned) and turned in TURNS else 1,
    )


def _number(value: Any) -> float:
    """The number that a value stands for, NaN where it stands for none."""
    try:
        if isinstance(value, str):
            written = WRITTEN.fullmatch(value.strip())
            return float(written[1]) / float(written[2] or 1) if written else math.nan
        if isinstance(value, list | tuple):
            return float(value[0]) / float(value[1])
        return float(value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return math.nan


def _coded(value: Any, words: Mapping[str, float]) -> float:
    """A code of Exif, or the one that its words stand for; NaN where it is neither."""
    if isinstance(value, str) and not math.isfinite(_number(value)):
        return next((code for word, code in words.items() if re.search(word, value.strip().lower())), math.nan)
    return _number(value)


def _positive(value: Any) -> float:
    number = _number(value)
    return number if 0 < number < math.inf else math.nan


def _switch(value: Any) -> float:
    if isinstance(value, bool | int | float):
        return float(bool(value)) if value == value else math.nan
    word = "" if value is None else next(iter(re.findall(r"\w+", str(value).lower())), "")
    return 1.0 if word in ON_WORDS else 0.0 if word in OFF_WORDS else math.nan
