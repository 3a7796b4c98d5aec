"""The photographs that frames are made from: which they are, and how one becomes the start of a frame.

They are no part of the project: a folder of pictures is given, and `photographs.txt` says by hash which of them are
used and in what light each was taken, so a folder with other files in it makes the same frames.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

LIST = Path(__file__).with_name("photographs.txt")
SUFFIXES = {".jpg", ".jpeg", ".png"}
N_HASH_DIGITS = 16


@dataclass(frozen=True)
class Photograph:
    """A source photograph: its id (start of its SHA-256), its file, and the light it was taken in."""

    photograph_id: str
    path: Path
    light: str  # day, shade, indoor or dusk


def find_photographs(folder: Path) -> list[Photograph]:
    """The photographs of the list that are in a folder, in the order of their ids."""
    lights = {}
    for line in LIST.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            photograph_id, light = line.split()
            lights[photograph_id] = light
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.suffix.lower() in SUFFIXES:
            photograph_id = hashlib.sha256(path.read_bytes()).hexdigest()[:N_HASH_DIGITS]
            if photograph_id in lights:
                found[photograph_id] = Photograph(photograph_id, path, lights[photograph_id])
    return [found[key] for key in sorted(found)]


def load_at_frame_size(photograph: Photograph, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A photograph cut and scaled down to a frame of about 2 megapixels, never scaled up.

    Args:
        photograph: The source.
        rng: Draws the cut, the orientation, the mirror image and the long side (1600 to 2000 px where the source has
            it).

    Returns:
        Encoded sRGB, 0 to 255, shape (height, width, 3), even height and width.
    """
    with Image.open(photograph.path) as opened:
        picture = np.asarray(ImageOps.exif_transpose(opened).convert("RGB"))
    height, width = picture.shape[:2]
    if width > height and height >= 1900 and rng.random() < 0.35:  # enough picture for an upright cut
        cut_width = int(height * rng.uniform(0.667, 0.8))
        left = int(rng.integers(0, width - cut_width + 1))
        picture = picture[:, left : left + cut_width]
    elif max(height, width) >= 1900:
        share = rng.uniform(0.85, 1.0)
        cut_height, cut_width = int(height * share), int(width * share)
        top = int(rng.integers(0, height - cut_height + 1))
        left = int(rng.integers(0, width - cut_width + 1))
        picture = picture[top : top + cut_height, left : left + cut_width]
    if rng.random() < 0.5:
        picture = picture[:, ::-1]
    height, width = picture.shape[:2]
    scale = min(1.0, rng.uniform(1600, 2000) / max(height, width))
    size = (int(width * scale) // 2 * 2, int(height * scale) // 2 * 2)
    return cv2.resize(np.ascontiguousarray(picture), size, interpolation=cv2.INTER_AREA)
