"""What happened at one release of the shutter: the fault, its size, and settings under which it happens."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

#: Faults in the order of the labels.
FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")
#: Kinds of frames and how often they come; the first seven are no faults.
KINDS = {
    "plain": 0.19, "shallow": 0.09, "panning": 0.03, "low key": 0.03, "high key": 0.025, "fog": 0.025,
    "streaks meant": 0.006,
    "exposure": 0.13, "focus": 0.085, "missed focus": 0.085, "shake": 0.13, "subject motion": 0.11, "noise": 0.09,
}  # fmt: skip
#: Blur beyond which a frame has the fault, and below which it does not [px]; nothing is made between the two.
SMEARED, UNSMEARED = 3.5, 1.5
#: Errors of exposure that are a fault, from where they are stretched, and how much: to 8 stops [stops].
WRONG_STOPS, FAR_FROM, FAR_STRETCH = (1.0, 3.3), 3.1, 24.5
#: Smear by hands up to which a frame is drawn [px]; more is nothing that anybody would ask about.
MOST_SHAKE_PX = 30.0
#: Angular speed of unsteady hands, median and log spread [rad/s, 1]. At the 1/focal-length rule it smears 1/1700 of
#: the width.
#: Source: chosen so that the rule gives about one pixel on a frame of 1600.
TREMOR, TREMOR_SPREAD = 0.02, 0.75
#: Stops that stabilisation gives.
STEADIED = 2.5
#: Share of the frames that are released while the camera still swings round, and how many times as fast it then moves,
#: about 9 degrees a second. Source: own choice; so a smear is met at fast times too, where settings speak against it.
SWINGING, SWING = 0.03, 8.0
#: Share of the frames on a tripod, which no file tells.
ON_TRIPOD = 0.22
#: Speed of subjects that move, in widths of the frame a second, median and log spread. Source: own choice; who walks
#: past crosses a frame of 4 m in three seconds, a car one of 10 m in half of one.
SPEED, SPEED_SPREAD = 0.3, 1.3
#: Width of the field at the subject, median and log spread [m, 1]: from a flower to a street.
FIELD, FIELD_SPREAD = 2.5, 1.3
#: Circle of confusion of a background up to which a frame is drawn [px].
MOST_BACKGROUND_PX = 45.0


@dataclass
class Case:
    """One release: what is wrong with the frame, and its settings.

    Attributes:
        kind: one of `KINDS`.
        exposure_time_s: [s].
        f_number: [1].
        iso: [1].
        focal_length_35mm: [mm].
        crop: 36 mm by the width of the sensor.
        is_steadied: stabilisation on.
        ev: error of exposure, positive too bright [stops].
        shake_px: greatest extent of the smear by hands [px].
        defocus_px: diameter of the circle of confusion, over all or at the subject [px].
        motion_px: smear of the subject [px].
        background_px: circle of confusion behind the subject, or streaks behind a followed one [px]; 0 where all
            lies at one distance.
        faults: the labels.
    """

    kind: str
    exposure_time_s: float
    f_number: float
    iso: float
    focal_length_35mm: float
    crop: float
    is_steadied: bool
    ev: float = 0.0
    shake_px: float = 0.0
    defocus_px: float = 0.0
    motion_px: float = 0.0
    background_px: float = 0.0
    faults: set[str] = field(default_factory=set)

    @property
    def ev100(self) -> float:
        """EV at ISO 100 of the settings."""
        return float(np.log2(self.f_number**2 / self.exposure_time_s) - np.log2(self.iso / 100))


def any_case(rng: np.random.Generator, width_px: int) -> Case:
    """A release at random: settings are drawn until they can have made the kind of frame that was drawn."""
    kind = str(rng.choice(list(KINDS), p=np.array(list(KINDS.values())) / sum(KINDS.values())))
    second = str(rng.choice(["exposure", "noise", "shake"])) if kind in FAULT_OF and rng.uniform() < 0.15 else ""
    while True:
        case = _settings(rng, kind)
        case.shake_px = _shake_px(rng, case, width_px)
        speed = (
            width_px * float(rng.lognormal(np.log(SPEED), SPEED_SPREAD))
            if rng.uniform() < 0.6 or kind == "subject motion"
            else 0.0
        )
        case.motion_px = speed * case.exposure_time_s
        if _suits(rng, case, kind, second):
            break
    _sizes(rng, case, second, width_px)
    return case


FAULT_OF = {
    "exposure": "exposure", "focus": "focus", "missed focus": "focus", "shake": "shake",
    "subject motion": "subject_motion", "noise": "noise",
}  # fmt: skip


def _settings(rng: np.random.Generator, kind: str) -> Case:
    time = 2 ** rng.normal(-7.2, 2.6)
    aperture = rng.uniform(1, 5) if kind in {"shallow", "missed focus"} else rng.normal(4.2, 1.6)
    gain = rng.normal(6.4, 1.1) if kind == "noise" else rng.gamma(1.6, 1.4)
    return Case(
        kind=kind,
        exposure_time_s=float(np.clip(2 ** (np.round(np.log2(time) * 3) / 3), 1 / 8000, 4)),
        f_number=float(np.clip(2 ** (np.round(aperture) / 3), 1.2, 22)),
        iso=float(100 * 2 ** (np.round(np.clip(gain, 0, 9.4) * 3) / 3)),
        focal_length_35mm=float(np.clip(2 ** rng.normal(6.0, 1.1), 16, 600)),
        crop=float(rng.choice([1.0, 1.5, 1.6, 2.0, 5.6])),
        is_steadied=bool(rng.uniform() < 0.4),
    )


def _shake_px(rng: np.random.Generator, case: Case, width_px: int) -> float:
    speed = (
        rng.lognormal(np.log(TREMOR), TREMOR_SPREAD)
        * rng.choice([0.7, 1.0, 1.6])
        / (2**STEADIED if case.is_steadied else 1)
    )
    held = rng.uniform()
    if held < ON_TRIPOD:
        speed = 0.0
    elif held > 1 - SWINGING:
        speed *= SWING
    return float(speed * case.exposure_time_s * width_px * case.focal_length_35mm / 36)


def _suits(rng: np.random.Generator, case: Case, kind: str, second: str) -> bool:
    """Whether these settings can have made that kind of frame, in light that exists."""
    if not -3 <= case.ev100 <= 16 or (case.iso > 800 and case.ev100 > 12 and rng.uniform() < 0.85):
        return False
    if "noise" not in (kind, second) and case.iso > 3200:
        return False
    if kind == "panning":
        return 1 / 125 < case.exposure_time_s < 1 / 8 and case.shake_px < 25
    if kind == "streaks meant":
        return case.exposure_time_s > 0.25
    if "shake" in (kind, second):
        return SMEARED < case.shake_px < MOST_SHAKE_PX and case.motion_px < 3
    if kind == "subject motion":
        return 4 < case.motion_px < 26 and case.shake_px < UNSMEARED
    return case.shake_px < UNSMEARED and case.motion_px < UNSMEARED


def _behind_px(rng: np.random.Generator, case: Case, width_px: int) -> float:
    """Circle of confusion of what lies behind the subject; 0 where all lies at one distance [px].

    Source: thin-lens equation; at infinity its share of the frame's width is the width of the aperture by that of the
    field.
    """
    aperture_m = case.focal_length_35mm / case.crop / case.f_number / 1000
    field_m = float(rng.lognormal(np.log(FIELD), FIELD_SPREAD))
    depth = float(rng.uniform(0.1, 1)) if rng.uniform() < 0.7 else 0.0
    return min(width_px * aperture_m / field_m * depth, MOST_BACKGROUND_PX)


def _behind_soft_px(rng: np.random.Generator, behind_px: float, subject_px: float) -> float:
    """Circle of confusion of what lies behind a subject that is out of focus itself, in a frame sharp nowhere [px].

    Focus before the subject adds to what lies behind; focus beyond it takes away, and where that would leave what lies
    behind sharper than the subject, focus was missed at the subject and not all over.
    """
    beyond_px = behind_px - subject_px
    if beyond_px > subject_px and rng.uniform() < 0.5:
        return beyond_px
    return min(behind_px + subject_px, MOST_BACKGROUND_PX)


def _wrong_stops(rng: np.random.Generator) -> float:
    """By how much an exposure is wrong [stops]; a few are of a flash that failed, or of a cap on the lens."""
    stops = float(rng.uniform(*WRONG_STOPS))
    return stops if stops < FAR_FROM else FAR_FROM + (stops - FAR_FROM) * FAR_STRETCH


def _sizes(rng: np.random.Generator, case: Case, second: str, width_px: int) -> None:
    """Sizes of what the settings do not decide, and the labels."""
    kind = case.kind
    case.ev = float(rng.normal(0, 0.22))
    if "exposure" in (kind, second):
        case.ev = float(rng.choice([-1, 1])) * _wrong_stops(rng)
    case.defocus_px = float(rng.uniform(0, UNSMEARED))
    if kind in {"focus", "missed focus"}:
        case.defocus_px = float(np.exp(rng.uniform(np.log(3.5), np.log(17))))
    if kind == "shallow":
        case.background_px = float(rng.uniform(4, 30))
    if kind in {"panning", "streaks meant"}:
        case.background_px = float(rng.uniform(12, 50))
        case.motion_px = case.shake_px = 0.0
    if kind not in {"shallow", "panning", "streaks meant", "missed focus"}:
        case.background_px = _behind_px(rng, case, width_px)
    if kind == "focus" and case.background_px > 0:
        case.background_px = _behind_soft_px(rng, case.background_px, case.defocus_px)
    if kind != "subject motion":
        case.motion_px = 0.0
    case.faults = {FAULT_OF[each] for each in (kind, second) if each in FAULT_OF}


def exif_of(
    rng: np.random.Generator, case: Case, middle: tuple[float, float], size: tuple[int, int], key: float
) -> dict[str, object]:
    """What the camera writes down; any of it may be missing, as with old lenses and old bodies.

    Args:
        key: how much brighter than mid-grey the scene is as a whole, right exposed [stops].
    """
    # a meter takes dark scenes for dim and bright ones for well lit, some more than others; a few cameras write down
    # what the settings stand for
    misled = float(rng.uniform(0, 1)) * key + float(rng.normal(0, rng.choice([0.2, 0.6])))
    metered = case.ev + misled if rng.uniform() < 0.92 else 0.0
    brightness = case.ev100 - 5 + metered
    exif: dict[str, object] = {
        "ExposureTime": case.exposure_time_s,
        "FNumber": round(case.f_number, 1),
        "ISO": round(case.iso),
        "FocalLength": round(case.focal_length_35mm / case.crop, 1),
        "FocalLengthIn35mmFilm": round(case.focal_length_35mm),
        "BrightnessValue": brightness,
        "ExposureMode": int(rng.uniform() < (0.9 if "exposure" in case.faults else 0.6)),
        "Flash": 16,
        "SubjectArea": (int(middle[0] * size[0]), int(middle[1] * size[1])),
        "ImageStabilization": "on" if case.is_steadied else "off",
    }
    missing = {
        "ExposureTime": 0.03, "FNumber": 0.08, "ISO": 0.04, "FocalLength": 0.06, "FocalLengthIn35mmFilm": 0.25,
        "BrightnessValue": 0.55, "ExposureMode": 0.15, "Flash": 0.2, "SubjectArea": 0.7, "ImageStabilization": 0.5,
    }  # fmt: skip
    return {key: value for key, value in exif.items() if rng.uniform() >= missing[key]}
