"""How well faults are found in photographs and by a camera that no fit has seen.

    PYTHONPATH=.:tests python tests/benchmarks/field_camera.py PHOTOGRAPHS FOLDER [--frames N] [--seed S]

PHOTOGRAPHS holds those that `tests/fieldcamera/photographs.txt` lists. About a second and a half of one core per frame;
frames and their records are kept in FOLDER and used again, and what was measured is written to measured.json there.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
from fieldcamera.photographs import find_photographs
from fieldcamera.series import make_frames
from othercamera.scoring import FAULTS, Frames, found_by_size, in_lines, score

from analytics.pixels import measure

#: Sizes of blur that are told apart [px], and of exposure errors [stops].
BLURS, ERRORS = (4.0, 6.0, 9.0, 14.0, 20.1), (-3.01, -2.2, -1.6, -1.0, 1.0, 1.6, 2.2, 3.01)


def truth_of(record: dict[str, Any]) -> dict[str, Any]:
    """What is wrong with a frame, in the words of the scores; `kind` is its one fault, or what a good frame is."""
    return {
        "labels": {fault: fault in record["faults"] for fault in FAULTS},
        "kind": ", ".join(record["faults"]) or record["kind"],
        "ev": record["exposure_error_stops"],
        "exif": record["exif"],
        "sizes": record["sizes"],
    }


def report(frames: Frames) -> str:
    """The figures over all, by what the camera wrote and by what good frames are, and what is found by its size."""
    good = sorted({truth["kind"] for truth, _ in frames if not truth["sizes"]})
    parts = [
        ("all", frames),
        ("with BrightnessValue", [frame for frame in frames if "BrightnessValue" in frame[0]["exif"]]),
        ("without BrightnessValue", [frame for frame in frames if "BrightnessValue" not in frame[0]["exif"]]),
        *((f"good: {kind}", [frame for frame in frames if frame[0]["kind"] == kind]) for kind in good),
    ]
    lines: list[str] = []
    for name, part in parts:
        told = in_lines(name, score([truth for truth, _ in part], [found for _, found in part]))
        lines += told[:2] if name.startswith("good") else told
    lines.append("right first suggestions by size, frames with one fault only")
    for fault, edges in (("shake", BLURS), ("focus", BLURS), ("subject_motion", BLURS), ("exposure", ERRORS)):
        lines += found_by_size(frames, fault, lambda truth, name=fault: float(truth["sizes"][name]), edges)
    return "\n".join(lines)


def main() -> None:
    """Makes, measures, prints."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("photographs", type=Path)
    reader.add_argument("folder", type=Path)
    reader.add_argument("--frames", type=int, default=800)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    cv2.setNumThreads(1)
    records = make_frames(asked.folder, find_photographs(asked.photographs), asked.frames, asked.seed)
    measured = {record["file"]: measure(str(asked.folder / record["file"]), record["exif"]) for record in records}
    (asked.folder / "measured.json").write_text(json.dumps(measured, default=float), encoding="utf-8")
    frames: Frames = [(truth_of(record), measured[record["file"]]) for record in records]
    print(report(frames))


if __name__ == "__main__":
    main()
