"""A folder of frames: a JPEG and beside it a JSON file with what the camera wrote and the truth, so that pictures need
to be made once and measured as often as the measuring changes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from othercamera.frames import draw_faults, make_frame
from othercamera.sources import read_light

#: Draws of scene and settings per frame before its place stays empty.
ATTEMPTS = 25
#: Photographs of fewer pixels than this are drawn less often: a frame of 0.3 megapixels is rarely a camera's.
SMALL_SHARE, SMALL_PIXELS = 0.3, 600_000


def make_folder(sources: Mapping[str, Path], folder: Path, n_frames: int, seed: int = 1) -> Iterator[int]:
    """Frames of photographs, by name, in a folder; yields each number when its files are written."""
    names = list(sources)
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(n_frames):
        name = f"frame-{seed}-{number:05d}"
        if (folder / f"{name}.json").exists():
            continue
        rng = np.random.default_rng([seed, number])
        faults = draw_faults(rng)
        for attempt in range(ATTEMPTS):
            source = names[int(rng.integers(len(names)))]
            light = read_light(sources[source], rng)
            if light.shape[0] * light.shape[1] < SMALL_PIXELS and rng.random() > SMALL_SHARE:
                continue
            frame = make_frame(light, source, seed * 10_000_000 + number * 100 + attempt, faults)
            if frame is not None:
                (folder / f"{name}.jpg").write_bytes(frame.jpeg)
                written = {"exif": frame.exif, **frame.truth}
                (folder / f"{name}.json").write_text(json.dumps(written), encoding="utf-8")
                yield number
                break


def read_folder(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """The pictures of a folder with what is known of each."""
    found = sorted(folder.glob("frame-*-?????.json"))
    return [(path.with_suffix(".jpg"), json.loads(path.read_text(encoding="utf-8"))) for path in found]
