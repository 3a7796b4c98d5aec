"""How well faults are found in the frames of one camera: of the field camera, which the fit has seen as one of three,
or of the pocket camera, which no fit has seen, neither it nor its photographs.

    PYTHONPATH=.:tests python tests/benchmarks/one_camera.py {field,pocket} PHOTOGRAPHS FOLDER [--frames N] [--seed S]

PHOTOGRAPHS holds those that the camera's `photographs.txt` lists. About two seconds of one core per frame; frames and
their records are kept in FOLDER and used again, and what was measured is written to measured.json there.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import fieldcamera.series
import pocketcamera.series
from degraded.sources import listed
from fieldcamera.photographs import find_photographs
from othercamera.scoring import FAULTS, Frames, found_by_size, in_lines, score
from pocketcamera.sources import LISTED

from analytics.pixels import measure

Record = dict[str, Any]
#: Sizes of blur that are told apart [px], and of exposure errors [stops].
BLURS, ERRORS = (3.5, 6.0, 9.0, 14.0, 20.1), (-3.4, -2.2, -1.6, -1.0, 1.0, 1.6, 2.2, 3.4)


def field_truth(record: Record) -> Record:
    """What is wrong with a frame of the field camera, in the words of the scores; `kind` is its one fault, or what a
    good frame is.
    """
    return {
        "labels": {fault: fault in record["faults"] for fault in FAULTS},
        "kind": ", ".join(record["faults"]) or record["kind"],
        "ev": record["exposure_error_stops"],
        "exif": record["exif"],
        "sizes": record["sizes"],
    }


def pocket_truth(record: Record) -> Record:
    """The same of a frame of the pocket camera; errors of exposure have their sign."""
    faults = [fault for fault in FAULTS if record["labels"][fault]]
    sizes = {**record["sizes"], "exposure": record["ev"]}
    return {**record, "kind": ", ".join(faults) or record["kind"], "sizes": {fault: sizes[fault] for fault in faults}}


def made(camera: str, photographs: Path, folder: Path, n_frames: int, seed: int) -> list[Record]:
    """The frames' records, with their truth in the words of the scores; frames that are missing are made."""
    if camera == "field":
        records = fieldcamera.series.make_frames(folder, find_photographs(photographs), n_frames, seed)
        return [{"file": record["file"], **field_truth(record)} for record in records]
    records = pocketcamera.series.make_frames(folder, listed(photographs, LISTED), n_frames, seed)
    return [{"file": record["file"], **pocket_truth(record)} for record in records]


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
    reader.add_argument("camera", choices=["field", "pocket"])
    reader.add_argument("photographs", type=Path)
    reader.add_argument("folder", type=Path)
    reader.add_argument("--frames", type=int, default=800)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    cv2.setNumThreads(1)
    records = made(asked.camera, asked.photographs, asked.folder, asked.frames, asked.seed)
    measured = {record["file"]: measure(str(asked.folder / record["file"]), record["exif"]) for record in records}
    (asked.folder / "measured.json").write_text(json.dumps(measured, default=float), encoding="utf-8")
    print(report([(record, measured[record["file"]]) for record in records]))


if __name__ == "__main__":
    main()
