"""How well faults are found in photographs that were degraded by a camera the model was not fitted on.

    PYTHONPATH=.:tests python tests/benchmarks/other_camera.py PHOTOGRAPHS [--frames N] [--keep FOLDER] [--seed S]

PHOTOGRAPHS holds sharp, clean photographs of a megapixel or more. About three seconds of one core per frame; the
frames are kept in --keep with the truth in a JSON file beside each, and those already there are used again, so that the
measuring alone is repeated when it changes. What was measured is written to measured.json there.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

import cv2
from othercamera.making import make_folder, read_folder
from othercamera.scoring import Frames, report
from othercamera.sources import photographs

from analytics.pixels import measure


def measured_folder(folder: Path) -> Frames:
    """Each frame's truth with what was measured in it."""
    frames: Frames = [(truth, measure(str(path), truth["exif"])) for path, truth in read_folder(folder)]
    kept = [{"seed": truth["seed"], **measured} for truth, measured in frames]
    (folder / "measured.json").write_text(json.dumps(kept, default=float), encoding="utf-8")
    return frames


def main() -> None:
    """Makes, measures, prints."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("photographs", type=Path)
    reader.add_argument("--frames", type=int, default=400)
    reader.add_argument("--keep", type=Path)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as passing:
        folder = asked.keep or Path(passing)
        for number in make_folder(photographs(asked.photographs), folder, asked.frames, asked.seed):
            print(f"\r{number + 1} of {asked.frames} made", end="", file=sys.stderr)
        print(report(measured_folder(folder)))


if __name__ == "__main__":
    main()
