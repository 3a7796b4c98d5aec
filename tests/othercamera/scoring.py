"""How often what was measured agrees with the truth."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.stats import rankdata

from othercamera.shots import FAULTS

F64 = npt.NDArray[np.float64]
SUGGESTED, BINS = 0.5, 10
SHARPNESS = {"focus", "shake", "subject_motion"}


def auc(truth: npt.NDArray[np.bool_], value: F64) -> float:
    """Probability that a frame with the fault has the higher value than one without. Source: Hanley & McNeil 1982."""
    n_with, n_without = int(truth.sum()), int((~truth).sum())
    if not n_with or not n_without:
        return float("nan")
    return float((rankdata(value)[truth].sum() - n_with * (n_with + 1) / 2) / (n_with * n_without))


def calibration_error(truth: npt.NDArray[np.bool_], value: F64) -> float:
    """Expected calibration error: mean distance of what was said from what was true, in ten bins of equal width."""
    bins = np.minimum((value * BINS).astype(int), BINS - 1)
    gaps = [abs(value[bins == b].mean() - truth[bins == b].mean()) * (bins == b).mean() for b in set(bins.tolist())]
    return float(np.sum(gaps))


def first_suggestion(measured: dict[str, Any]) -> str | None:
    """The most probable fault at or above a half; none about sharpness where the measuring says it cannot tell."""
    allowed = [fault for fault in FAULTS if not (measured.get("cant_tell") and fault in SHARPNESS)]
    best = max(allowed, key=lambda fault: measured[fault])
    return best if measured[best] >= SUGGESTED else None


def score(truths: list[dict[str, Any]], measured: list[dict[str, Any]]) -> dict[str, Any]:
    """The figures of some frames: by fault and over all."""
    said = [first_suggestion(one) for one in measured]
    faulty = [any(truth["labels"].values()) for truth in truths]
    right = [fault is not None and bool(truth["labels"][fault]) for truth, fault in zip(truths, said, strict=True)]
    likeliest = [
        bool(t["labels"][max(FAULTS, key=lambda fault: m[fault])]) for t, m in zip(truths, measured, strict=True)
    ]
    n_said, n_faulty = sum(fault is not None for fault in said), sum(faulty)
    n_good, false = len(truths) - n_faulty, sum(f is not None and not bad for f, bad in zip(said, faulty, strict=True))
    off = [abs(m["ev"] - t["ev"]) for t, m in zip(truths, measured, strict=True) if m.get("ev") is not None]
    by_fault = {}
    for fault in FAULTS:
        truth = np.array([bool(one["labels"][fault]) for one in truths])
        value = np.array([one[fault] for one in measured], np.float64)
        on_good = [bool(v >= SUGGESTED) for v, bad in zip(value, faulty, strict=True) if not bad]
        by_fault[fault] = {
            "n": int(truth.sum()), "auc": auc(truth, value), "calibration": calibration_error(truth, value),
            "found": float((value[truth] >= SUGGESTED).mean()) if truth.any() else float("nan"),
            "on_good": float(np.mean(on_good)) if on_good else float("nan"),
        }  # fmt: skip
    return {
        "frames": len(truths), "faulty": n_faulty,
        "precision": _share(sum(right), n_said), "first_right": _share(sum(right), n_faulty),
        "likeliest_right": _share(sum(np.array(likeliest) & np.array(faulty)) if truths else 0, n_faulty),
        "false_alarms": _share(false, n_good),
        "suggested": _share(sum(f is not None and b for f, b in zip(said, faulty, strict=True)), n_faulty),
        "cant_tell": _share(sum(bool(one.get("cant_tell")) for one in measured), len(measured)),
        "ev_off": float(np.median(off)) if off else float("nan"), "ev_known": _share(len(off), len(truths)),
        "by_fault": by_fault,
    }  # fmt: skip


def _share(part: float, whole: float) -> float:
    return float(part / whole) if whole else float("nan")


Frames = list[tuple[dict[str, Any], dict[str, Any]]]
SIZES = (3.0, 4.0, 6.0, 9.0, 14.0, 31.0)


def found_by_size(
    frames: Frames, fault: str, size: Callable[[dict[str, Any]], float], edges: Iterable[float]
) -> list[str]:
    """Of the frames with only this fault, by its size: the share whose first suggestion is right."""
    alone = [(t, m) for t, m in frames if t["kind"] == fault]
    lines = []
    for low, high in pairwise(edges):
        part = [first_suggestion(m) for t, m in alone if low <= size(t) < high]
        hit = sum(one == fault for one in part)
        missed = sum(one is None for one in part)
        if part:
            lines.append(
                f"  {fault} {low:g} to {high:g}: {hit / len(part):.2f} found, {missed / len(part):.2f} nothing said"
                f" (n={len(part)})"
            )
    return lines


def in_lines(name: str, figures: dict[str, Any]) -> list[str]:
    """The figures of `score` as lines of text under a name."""
    over_all = " ".join(
        f"{key} {figures[key]:.3f}"
        for key in (
            "precision",
            "first_right",
            "likeliest_right",
            "false_alarms",
            "suggested",
            "cant_tell",
            "ev_off",
            "ev_known",
        )
    )
    lines = [f"{name}: {figures['frames']} frames, {figures['faulty']} with a fault", f"  {over_all}"]
    for fault, one in figures["by_fault"].items():
        lines.append(
            f"  {fault:15s} n {one['n']:3d}  auc {one['auc']:.3f}  calibration {one['calibration']:.3f}"
            f"  at a half: found {one['found']:.2f}, on good frames {one['on_good']:.3f}"
        )
    return lines


def report(frames: Frames) -> str:
    """All the figures as lines of text: over all, by what the camera wrote, by scene, by the size of the fault."""
    parts: list[tuple[str, Frames]] = [("all", frames)]
    parts += [
        ("with BrightnessValue", [f for f in frames if "BrightnessValue" in f[0]["exif"]]),
        ("without BrightnessValue", [f for f in frames if "BrightnessValue" not in f[0]["exif"]]),
    ]
    for key in ("look", "style"):
        for value in sorted({t[key] for t, _ in frames}):
            parts.append((f"{key} {value}", [f for f in frames if f[0][key] == value]))
    lines: list[str] = []
    for name, part in parts:
        if part:
            whole = in_lines(name, score([t for t, _ in part], [m for _, m in part]))
            lines += whole if len(lines) < 21 else whole[:2]
    lines.append("right first suggestions by size, frames with one fault only")
    for fault in ("shake", "focus", "subject_motion"):
        lines += found_by_size(frames, fault, lambda truth: float(truth["blur_px"]), SIZES)
    for name, wide in (("everywhere", True), ("at the subject", False)):
        some = [f for f in frames if f[0]["everywhere"] is wide]
        lines += [f"  {name}", *found_by_size(some, "focus", lambda truth: float(truth["blur_px"]), SIZES)]
    lines += found_by_size(
        frames, "exposure", lambda truth: float(truth["ev"]), (-3.01, -2, -1.3, -0.7, 0.7, 1.3, 2, 3.01)
    )
    lines += found_by_size(frames, "noise", lambda truth: float(truth["noise_sigma"]), (5, 6, 8, 12, 40))
    lines.append("what was said first, by what it was (frames with one fault or none)")
    for kind in ("good", *FAULTS):
        said = [str(first_suggestion(m)) for t, m in frames if t["kind"] == kind]
        counts = ", ".join(f"{one} {said.count(one)}" for one in ("None", *FAULTS) if one in said)
        lines.append(f"  {kind}: {counts}")
    return "\n".join(lines)
