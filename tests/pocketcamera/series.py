"""A series of frames kept in a folder with their records, so that it can be taken up again; above `making`."""

from __future__ import annotations

import json
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
from fieldcamera.series import N_PROCESSES, records_so_far

from pocketcamera.making import Record, file_name, make_frame


def make_frames(folder: Path, photographs: dict[str, Path], n_frames: int, seed: int) -> list[Record]:
    """Make the frames that are still missing, then write all records in the order of the frames; the records.

    Args:
        folder: Where frames and frames.jsonl are kept.
        photographs: The photographs that frames are made from, by the names that records give them.
        n_frames: How many frames, less those that no photograph suits.
        seed: What they follow from.
    """
    folder.mkdir(parents=True, exist_ok=True)
    records_file = folder / "frames.jsonl"
    records = records_so_far(records_file, folder)
    missing = [number for number in range(n_frames) if file_name(number) not in records]
    make = partial(make_frame, seed=seed, photographs=photographs, folder=folder)
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
