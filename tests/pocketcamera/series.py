"""A series of frames kept in a folder with their records, so that it can be taken up again; above `making`."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from fieldcamera.series import kept_series

from pocketcamera.making import Record, file_name, make_frame


def make_frames(folder: Path, photographs: dict[str, Path], n_frames: int, seed: int) -> list[Record]:
    """Make the frames that are still missing, then write all records in the order of the frames; the records.

    Args:
        folder: Where frames and frames.jsonl are kept.
        photographs: The photographs that frames are made from, by the names that records give them.
        n_frames: How many frames, less those that no photograph suits.
        seed: What they follow from.
    """
    make = partial(make_frame, seed=seed, photographs=photographs, folder=folder)
    return kept_series(folder, [file_name(number) for number in range(n_frames)], make)
