"""A sharp part of a photograph at the size of a frame, above `tones`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps

from pocketcamera.tones import Codes, Floats, Mask, grey

#: Photographs that frames are made from, by the first digits of the SHA-256 of the file.
LISTED = Path(__file__).with_name("photographs.txt")
#: Pixels of a frame at most, and at least. Source: own choice.
MOST_PIXELS, LEAST_PIXELS = 2.0e6, 1.2e6
#: Where a part would have less than this, the photograph is taken as wide as it is [px]. Source: own choice.
PIXELS_TO_CROP = 1.06 * MOST_PIXELS
#: An edge is one that spans this many grey levels within 9 px and rises by this many per px. Source: own choice.
LEAST_SPAN, LEAST_SLOPE = 38, 5
#: Edges that a sharp part has at least; rise of the sharpest fifth of them at most, and the rise that a softer part is
#: made smaller to [px]. Source: own choice.
LEAST_EDGES, SHARPEST_RISE_PX, AIMED_RISE_PX = 1500, 3.0, 2.85
#: How often a part is made smaller until it is sharp, and by how much at once. Source: own choice.
MOST_SHRINKS, LEAST_SHRINK = 4, 0.72
#: Rise of what is no edge [px].
NO_EDGE_PX = 99.0
#: Exif's tag of the orientation, and the last value of those that keep width and height. Source: Exif 2.32.
ORIENTATION, LAST_UPRIGHT = 274, 4


@dataclass(frozen=True)
class Part:
    """A part of a photograph: 8-bit codes, where its edges are, and over how many px each rises."""

    codes: Codes
    edges: Mask
    rise_px: Floats


def edges_of(luma: Floats) -> tuple[Mask, Floats]:
    """Crests of edges, and the width over which each rises: its span over its steepest slope [px]."""
    across = np.abs(luma[1:-1, 2:] - luma[1:-1, :-2]) * 0.5
    down = np.abs(luma[2:, 1:-1] - luma[:-2, 1:-1]) * 0.5
    slope = np.zeros_like(luma)
    slope[1:-1, 1:-1] = np.hypot(across, down)
    around = np.ones((9, 9), np.uint8)
    span = cv2.dilate(luma, around) - cv2.erode(luma, around)
    is_crest = slope >= cv2.dilate(slope, np.ones((3, 3), np.uint8)) - 1e-3
    is_edge = is_crest & (span > LEAST_SPAN) & (slope > LEAST_SLOPE)
    return is_edge, np.where(is_edge, span / np.maximum(slope, 1e-3), NO_EDGE_PX).astype(np.float32)


def part_of(codes: Codes) -> Part:
    """Codes with their edges."""
    return Part(codes, *edges_of(grey(codes)))


def sharp_part(path: Path, rng: np.random.Generator, is_portrait: bool, aspect: float) -> Part | None:
    """A part of a photograph, made smaller until it is sharp; None where it is too small or not sharp then.

    Args:
        path: The photograph.
        rng: Draws how much of it, and where.
        is_portrait: Whether the frame is upright.
        aspect: Longer side of the frame by its shorter one [1].
    """
    with Image.open(path) as image:
        width, height = image.size
        if image.getexif().get(ORIENTATION, 1) > LAST_UPRIGHT:
            width, height = height, width
        aspect = 1 / aspect if is_portrait else aspect
        widest = (height * aspect, height) if width / height > aspect else (width, width / aspect)
        share = rng.uniform(0.82, 1.0)
        part_width, part_height = widest[0] * share, widest[1] * share
        if part_width * part_height < PIXELS_TO_CROP:
            part_width, part_height = widest
        scale = min(1.0, math.sqrt(MOST_PIXELS / (part_width * part_height)))
        if part_width * part_height * scale * scale < LEAST_PIXELS:
            return None
        left = (width - part_width) * rng.uniform(0, 1)
        top = (height - part_height) * rng.uniform(0.25, 0.75)
        if scale < 0.6:
            image.draft("RGB", (int(image.size[0] * scale * 1.25), int(image.size[1] * scale * 1.25)))
        upright = ImageOps.exif_transpose(image).convert("RGB")
    read = upright.size[0] / width
    codes = np.asarray(upright)
    codes = codes[int(top * read) : int((top + part_height) * read), int(left * read) : int((left + part_width) * read)]
    return _shrunk_until_sharp(codes, _even(part_width * scale), _even(part_height * scale))


def _even(size: float) -> int:
    """The nearest even number of px."""
    return round(size / 2) * 2


def _shrunk_until_sharp(codes: Codes, width: int, height: int) -> Part | None:
    """Codes at this size or a smaller one at which their edges are sharp; None where that is too small."""
    for _ in range(MOST_SHRINKS):
        if width * height < LEAST_PIXELS:
            return None
        part = part_of(_resized(codes, width, height))
        if part.edges.sum() < LEAST_EDGES:
            return None
        rise = float(np.percentile(part.rise_px[part.edges], 20))
        if rise <= SHARPEST_RISE_PX:
            return part
        shrink = max(LEAST_SHRINK, AIMED_RISE_PX / rise)
        width, height = int(width * shrink / 2) * 2, int(height * shrink / 2) * 2
    return None


def _resized(codes: Codes, width: int, height: int) -> Codes:
    """Codes made smaller without aliasing; cut to an even size where they have the size already."""
    ratio = codes.shape[1] / width
    if ratio > 1.6:
        return np.asarray(cv2.resize(codes, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    if ratio > 1.01:
        smooth = cv2.GaussianBlur(codes, (0, 0), 0.28 * ratio)
        return np.asarray(cv2.resize(smooth, (width, height), interpolation=cv2.INTER_LANCZOS4), np.uint8)
    kept = codes[:height, :width]
    return kept[: kept.shape[0] // 2 * 2, : kept.shape[1] // 2 * 2]
