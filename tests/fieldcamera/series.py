"""A series of frames kept in a folder with their records, so that it can be taken up again and read."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2

from fieldcamera.making import make_frame
from fieldcamera.photographs import Photograph

N_PROCESSES = 2


def records_so_far(records_file: Path, folder: Path) -> dict[str, dict[str, Any]]:
    """Records whose frame is there; a line that was cut off by an interruption counts as not written."""
    records = {}
    if records_file.exists():
        for line in records_file.read_text(encoding="utf-8").splitlines():
            try:
                record = json.loads(line)
            except json.JSONDecodeError:
                continue
            if (folder / record["file"]).exists():
                records[record["file"]] = record
    return records


def make_frames(folder: Path, photographs: list[Photograph], n_frames: int, seed: int) -> list[dict[str, Any]]:
    """Make the frames that are still missing, then write all records in the order of the frames; the records."""
    make = partial(make_frame, seed=seed, photographs=photographs, folder=folder)
    return kept_series(folder, [f"frame-{number:04d}.jpg" for number in range(n_frames)], make)


def kept_series(folder: Path, files: list[str], make: Callable[[int], dict[str, Any] | None]) -> list[dict[str, Any]]:
    """Make what is still missing of a series in two processes, then write all records in the order of the files.

    Args:
        folder: Where frames and frames.jsonl are kept.
        files: Names of the frames, by their numbers.
        make: Makes the frame of a number and says what it is, or None where it cannot be made; can be pickled.
    """
    folder.mkdir(parents=True, exist_ok=True)
    records_file = folder / "frames.jsonl"
    records = records_so_far(records_file, folder)
    missing = [number for number, file in enumerate(files) if file not in records]
    with (
        records_file.open("a", encoding="utf-8") as out,
        get_context("spawn").Pool(N_PROCESSES, cv2.setNumThreads, (1,)) as pool,
    ):
        out.write("\n")
        for record in pool.imap_unordered(make, missing, chunksize=4):
            if record is not None:
                records[record["file"]] = record
                out.write(json.dumps(record) + "\n")
                out.flush()
    part = records_file.with_suffix(".part")
    part.write_text("".join(json.dumps(records[file]) + "\n" for file in sorted(records)), encoding="utf-8")
    part.replace(records_file)
    return [records[file] for file in sorted(records)]
