"""What is to be wrong with a frame, and a draw of light, settings, hand and subject in which that comes about.

Settings are drawn again and again until the wanted fault follows from them and no other does. Everything in between
(a shake of 2 to 4 px, an error of half a stop) is left out: photographers would not agree about it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fieldcamera.photographer import LIGHT_EV, Settings, choose_settings, disc_px, motion_px, noise_share, shake_px
from fieldcamera.rendering import Blurs

FAULTS = ("exposure", "focus", "shake", "subject_motion", "noise")

#: Shares of frames by their faults; the rest are good.
FAULT_SHARES: dict[tuple[str, ...], float] = {
    ("exposure",): 0.125,
    ("focus",): 0.15,
    ("shake",): 0.115,
    ("subject_motion",): 0.115,
    ("noise",): 0.06,
    ("exposure", "shake"): 0.01,
    ("exposure", "noise"): 0.01,
    ("exposure", "subject_motion"): 0.01,
    ("exposure", "focus"): 0.01,
}
#: Shares of kinds among frames that are meant as they are.
KIND_SHARES = {"plain": 0.42, "low_key": 0.13, "high_key": 0.12, "shallow": 0.17, "panning": 0.08, "tripod": 0.08}
#: Shares of kinds among frames with a fault.
FAULTY_KIND_SHARES = {"plain": 0.7, "low_key": 0.05, "high_key": 0.05, "shallow": 0.2}

EXPOSURE_STOPS = (1.2, 3.0)
GOOD_EXPOSURE_STOPS = 0.4
SHAKE_PX = (4.0, 14.0)
WHOLE_DEFOCUS_PX = (4.0, 9.0)
#: Share of frames out of focus as a whole among all faults of focus; in the rest focus is missed at the subject.
WHOLE_DEFOCUS_SHARE = 0.25
MISSED_FOCUS_PX = (6.0, 11.0)
MOTION_PX = (8.0, 20.0)
GOOD_BLUR_PX = 1.8
#: Noise as a share of the signal, see `photographer.noise_share`: from here it disturbs; up to there it does not.
NOISE_SHARE = 0.18
GOOD_NOISE_SHARE = 0.085
#: Share of exposure errors that the meter made, not the photographer.
MISLED_METER_SHARE = 0.15
MAX_DRAWS = 40000
#: So many draws without the wanted fault, and the picture is taken to have been in other light: noise hardly comes
#: about in the sun.
DRAWS_BEFORE_OTHER_LIGHT = 150


@dataclass(frozen=True)
class Plan:
    """A frame to be made: what it is meant to be, its settings, all blurs, its exposure error and its faults with
    sizes.
    """

    kind: str
    settings: Settings
    blurs: Blurs
    exposure_error_stops: float
    is_meter_misled: bool
    subject_share: float
    focus_fault: str
    sizes: dict[str, float] = field(default_factory=dict)


def draw_faults(rng: np.random.Generator) -> tuple[str, ...]:
    """The faults of one frame, none in about four of ten."""
    kinds = list(FAULT_SHARES)
    shares = np.array([FAULT_SHARES[kind] for kind in kinds])
    index = int(rng.choice(len(kinds) + 1, p=[*shares, 1 - shares.sum()]))
    return () if index == len(kinds) else kinds[index]


def draw_kind(faults: tuple[str, ...], unlikely_kind: str, rng: np.random.Generator) -> str:
    """What the frame is meant to be; plain where the picture does not lend itself to what was drawn."""
    shares = FAULTY_KIND_SHARES if faults else KIND_SHARES
    kind = str(rng.choice(list(shares), p=list(shares.values())))
    return "plain" if kind == unlikely_kind else kind


def draw_plan(
    light: str, unlikely_kind: str, long_side_px: int, faults: tuple[str, ...], rng: np.random.Generator
) -> Plan:
    """A plan whose frame has just these faults.

    Raises:
        RuntimeError: No draw came out so within `MAX_DRAWS`.
    """
    kind = draw_kind(faults, unlikely_kind, rng)
    for n_draws in range(1, MAX_DRAWS):
        if n_draws % DRAWS_BEFORE_OTHER_LIGHT == 0:
            kind, light = draw_kind(faults, unlikely_kind, rng), str(rng.choice(list(LIGHT_EV)))
        settings = choose_settings(light, kind, rng)
        shake, motion = shake_px(settings, long_side_px, rng), motion_px(settings, long_side_px, rng)
        if kind in ("panning", "tripod"):
            shake = min(shake, float(rng.uniform(0.2, 1.2)))
            motion = 0.0
        if not _comes_out_as("shake", shake, SHAKE_PX, GOOD_BLUR_PX, faults):
            continue
        if not _comes_out_as("subject_motion", motion, MOTION_PX, GOOD_BLUR_PX, faults):
            continue
        if not _comes_out_as("noise", noise_share(settings), (NOISE_SHARE, 1.0), GOOD_NOISE_SHARE, faults):
            continue
        discs = draw_discs(settings, kind, long_side_px, "focus" in faults, rng)
        if discs is None:
            continue
        return _assemble(kind, settings, (shake, motion), discs, faults, rng)
    raise RuntimeError(f"No settings in {light} light gave {kind} with {faults} in {MAX_DRAWS} draws.")


def _comes_out_as(fault: str, size: float, faulty: tuple[float, float], good: float, faults: tuple[str, ...]) -> bool:
    """Whether a size is that of the wanted fault, or small enough where the fault is not wanted."""
    return faulty[0] <= size <= faulty[1] if fault in faults else size <= good


@dataclass(frozen=True)
class Discs:
    """Signed blur discs [px] of subject, far background and lower edge, and which fault of focus they are."""

    subject_px: float
    far_px: float
    near_px: float
    fault: str


def draw_discs(
    settings: Settings, kind: str, long_side_px: int, is_missed: bool, rng: np.random.Generator
) -> Discs | None:
    """Distances, the plane in focus, and the blur discs that follow; None where they are not what is wanted.

    Distances are in reciprocal metres. The subject stands at a distance that its size and the focal length give
    (about 0.3 to 3 m of scene height), the background is behind it by a factor, the lower edge is the ground in front
    of it.
    """
    scene_height_m = 0.3 * 10 ** rng.uniform(0.0, 1.2) if kind == "shallow" else 10 ** rng.uniform(-0.3, 1.6)
    subject = 24.0 / (settings.focal_length_35mm * scene_height_m)
    subject = min(subject, 3.0)
    far = subject / 10 ** rng.uniform(0.1, 1.5)
    near = subject * rng.uniform(1.0, 1.5)
    fault = ""
    if not is_missed:
        focused = subject * (1 + rng.normal(0.0, 0.01))
    elif rng.random() < WHOLE_DEFOCUS_SHARE:
        fault = "whole"
        far, near = subject * rng.uniform(0.75, 1.0), subject * rng.uniform(1.0, 1.15)
        focused = subject * 2 ** (rng.choice([-1, 1]) * rng.uniform(0.2, 2.0))
    else:
        fault = "behind" if rng.random() < 0.7 else "in_front"
        focused = far if fault == "behind" else subject * rng.uniform(1.05, 2.0)
        near = near if fault == "behind" else focused

    discs = [disc_px(settings, long_side_px, focused, at) for at in (subject, far, near)]
    sizes = [abs(disc) for disc in discs]
    if not is_missed:
        is_fine = sizes[0] <= GOOD_BLUR_PX
        is_kind = (
            7.0 <= sizes[1] <= 40.0 if kind == "shallow" else sizes[1] <= (6.0 if kind in ("panning", "plain") else 1.8)
        )
        is_fine = is_fine and is_kind and sizes[2] <= (25.0 if kind == "shallow" else 4.0)
    elif fault == "whole":
        is_fine = (
            min(sizes) >= WHOLE_DEFOCUS_PX[0]
            and WHOLE_DEFOCUS_PX[0] <= sizes[0] <= WHOLE_DEFOCUS_PX[1]
            and max(sizes) <= 20.0
        )
    else:
        is_fine = MISSED_FOCUS_PX[0] <= sizes[0] <= MISSED_FOCUS_PX[1] and max(sizes) <= 30.0
    return Discs(discs[0], discs[1], discs[2], fault) if is_fine else None


def _assemble(
    kind: str,
    settings: Settings,
    hand: tuple[float, float],
    discs: Discs,
    faults: tuple[str, ...],
    rng: np.random.Generator,
) -> Plan:
    """A plan of what was drawn, with the sizes of its faults."""
    shake, motion = hand
    error = float(np.clip(rng.normal(0.0, 0.18), -GOOD_EXPOSURE_STOPS, GOOD_EXPOSURE_STOPS))
    if "exposure" in faults:
        error = float(rng.choice([-1, 1]) * rng.uniform(*EXPOSURE_STOPS))
    wide_open = settings.camera.widest_f_number / settings.f_number
    blurs = Blurs(
        lens_sigma_px=float(rng.uniform(0.3, 0.55)),
        disc_subject_px=discs.subject_px,
        disc_far_px=discs.far_px,
        disc_near_px=discs.near_px,
        shake_px=shake,
        motion_px=motion,
        panning_px=float(rng.uniform(15.0, 50.0)) if kind == "panning" else 0.0,
        corner_stops=float(rng.uniform(0.05, 0.3) + rng.uniform(0.0, 0.9) * wide_open**2),
    )
    all_sizes = {
        "exposure": error,
        "focus": abs(discs.subject_px),
        "shake": shake,
        "subject_motion": motion,
        "noise": noise_share(settings),
    }
    return Plan(
        kind,
        settings,
        blurs,
        error,
        is_meter_misled="exposure" in faults and rng.random() < MISLED_METER_SHARE,
        subject_share=float(rng.uniform(0.08, 0.3)),
        focus_fault=discs.fault,
        sizes={fault: round(all_sizes[fault], 3) for fault in faults},
    )
