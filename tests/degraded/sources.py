"""Scenes to degrade: photographs of a folder in linear light where there is one, rendered ones always."""

from __future__ import annotations

import hashlib
import os
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from degraded.scenes import Light, Scene, rendered, subject_mask

#: Photographs that are blurred, streaked or noisy themselves: no reference of anything sharp and clean.
#: Source: looked at one by one.
UNFIT = frozenset({"real-16", "real-31", "real-32"})
#: Further photographs of free packages, by the first digits of the SHA-256 of the file.
LISTED = Path(__file__).with_name("photographs.txt")
#: Digits by which a photograph is listed and named.
N_DIGITS = 12
#: Area of a source after it was made smaller, which takes its own blur and noise away [px].
AREA = 2_000_000
#: Area to which a photograph is reduced once, before parts are cut out of it [px].
KEPT_AREA = 6_000_000


def photographs() -> list[Path]:
    """The photographs that may be degraded, none where there is no folder."""
    named = os.environ.get("THIRDSTOP_FRAMES")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "shared" / "frames"
    if not folder.is_dir():
        return []
    endings = {".jpg", ".heic", ".avif", ".png", ".tif"}
    return sorted(path for path in folder.iterdir() if path.suffix.lower() in endings and path.stem not in UNFIT)


def listed_digits(listing: Path | None = None) -> set[str]:
    """The digits of the photographs that `photographs.txt`, or another file, lists."""
    lines = (listing or LISTED).read_text(encoding="ascii").splitlines()
    return {line for line in lines if line and not line.startswith("#")}


def listed(folder: Path, listing: Path | None = None) -> dict[str, Path]:
    """The photographs of a folder, and of folders in it, that `photographs.txt`, or another file, lists, by their
    digits."""
    wanted, found = listed_digits(listing), {}
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        digits = hashlib.sha256(path.read_bytes()).hexdigest()[:N_DIGITS]
        if digits in wanted:
            found[digits] = path
    return dict(sorted(found.items()))


@lru_cache(maxsize=40)
def _codes(path: Path) -> tuple[NDArray[np.uint8], float]:
    """A photograph in codes of 8 bits, made smaller to `KEPT_AREA` where it is larger, and by how much [px/px]."""
    if path.suffix.lower() == ".heic":
        import pi_heif

        pi_heif.register_heif_opener()
    with Image.open(path) as image:
        codes = np.asarray(image.convert("RGB"))
    shrink = max(1.0, float(np.sqrt(codes.shape[0] * codes.shape[1] / KEPT_AREA)))
    if shrink > 1:
        size = (int(codes.shape[1] / shrink), int(codes.shape[0] / shrink))
        codes = np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_AREA), np.uint8)
    return codes, shrink


def _linear(codes: NDArray[np.uint8]) -> Light:
    """Linear light, with highlights opened up where they were clipped."""
    steps = np.arange(256) / 255
    curve = np.where(steps <= 0.04045, steps / 12.92, ((steps + 0.055) / 1.055) ** 2.4).astype(np.float32)
    light = curve[codes]
    brightest = codes.max(axis=2, keepdims=True).astype(np.float32) / 255
    return np.asarray(light * (1 + 2.5 * np.clip((brightest - 0.8) / 0.2, 0, 1) ** 2), np.float32)


def from_photograph(path: Path, seed: int, area: int = AREA, name: str = "") -> Scene:
    """A photograph, or a part of it, made smaller: sometimes all of it, sometimes a crop nearer to its own pixels."""
    name = name or path.stem
    rng = np.random.default_rng([17, seed, sum(name.encode())])
    codes, shrunk = _codes(path)
    rows, columns = codes.shape[:2]
    most = float(np.sqrt(rows * columns / area))
    wanted = most if rng.uniform() < 0.55 else min(most, max(1.0, float(rng.uniform(1.3, 2.4)) / shrunk))
    wanted = max(wanted, 1.0)
    part = min(1.0, wanted / max(most, 1e-6))
    high, wide = int(rows * part), int(columns * part)
    top, left = int(rng.integers(0, rows - high + 1)), int(rng.integers(0, columns - wide + 1))
    light = _linear(codes[top : top + high, left : left + wide])
    size = (int(wide / wanted), int(high / wanted))
    small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
    if part < 0.8:
        # nobody exposes a dark corner as dark as it is beside the bright whole
        middle = float(np.exp(np.mean(np.log(np.clip(small, 0.005, 1)))))
        small = small * np.float32(np.clip((0.15 / middle) ** 0.6, 0.4, 2.5))
    if rng.uniform() < 0.5:
        small = np.ascontiguousarray(small[:, ::-1])
    return Scene(small, subject_mask(rng, small), name)


def scene_of(index: int, seed: int, further: dict[str, Path] | None = None) -> Scene:
    """Scene number `index`: photographs and rendered scenes by turns, two to one where there are photographs; or the
    photographs given, by turns."""
    if further:
        name = list(further)[index % len(further)]
        return from_photograph(further[name], seed, name=name)
    paths = photographs()
    if paths and index % 3:
        return from_photograph(paths[(index * 2 // 3) % len(paths)], seed)
    sizes = ((1200, 1600), (1600, 1200), (1066, 1600), (1400, 1050))
    return rendered(index // 3 % 40, *sizes[index // 3 % len(sizes)])
