"""A series of degraded frames kept in a folder, so that a model can be fitted again without making them again."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from degraded.cases import FAULTS
from degraded.frames import frame
from degraded.sources import listed

Truth = dict[str, Any]


@dataclass(frozen=True)
class KeptFrame:
    """A frame in a folder and its truth: exif, labels, kind, source, ev, blur_px, noise_sigma."""

    path: Path
    truth: Truth


def kept_frame(folder: Path, index: int, seed: int, further: dict[str, Path] | None = None) -> KeptFrame:
    """Frame number `index` of a series, made when the folder does not have it."""
    picture = folder / f"{seed}-{index:05d}.jpg"
    facts = picture.with_suffix(".json")
    if not facts.exists():
        made = frame(index, seed, further)
        picture.write_bytes(made.data)
        truth = {
            "exif": made.exif,
            "labels": dict(zip(FAULTS, made.labels, strict=True)),
            "kind": made.kind,
            "source": made.source,
            "ev": made.ev,
            "blur_px": made.blur_px,
            "noise_sigma": made.noise_sigma,
        }
        facts.write_text(json.dumps(truth), encoding="utf-8")
    return KeptFrame(picture, json.loads(facts.read_text(encoding="utf-8")))


def main() -> None:
    """Makes a part of a series: python -m degraded.series FOLDER FIRST LAST STEP [--seed N] [--photographs
    FOLDER]."""
    parser = argparse.ArgumentParser(description="Makes degraded frames in a folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("first", type=int)
    parser.add_argument("last", type=int)
    parser.add_argument("step", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--photographs", type=Path, help="only the listed photographs of this folder")
    given = parser.parse_args()
    further = listed(given.photographs) if given.photographs else None
    cv2.setNumThreads(1)
    given.folder.mkdir(parents=True, exist_ok=True)
    for index in range(given.first, given.last, given.step):
        kept_frame(given.folder, index, given.seed, further)


if __name__ == "__main__":
    main()
