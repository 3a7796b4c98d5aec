"""Scene-linear light from photographs of a folder, or from a scene that is drawn, so that tests need no photograph.

Light is RGB float32; 0.18 is the grey that a right exposure renders as middle grey, 1 is diffuse white.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

F32 = npt.NDArray[np.float32]

#: The photographs that frames of a fit are made from, by the first digits of the SHA-256 of the file.
OTHERS_LISTED = Path(__file__).with_name("photographs.txt")
#: Pixels of a finished frame, about; a photograph is never made larger.
PIXELS = 2.0e6
#: Large photographs are shrunk by this at least, which leaves their own softness, noise and JPEG blocks behind.
LEAST_SHRINK = 1.4
#: Where the shoulder of the rendering that is undone begins, and the share of it that is undone (1: white is infinite).
KNEE, UNDONE = 0.6, 0.85
#: Rec. 709 weights of luminance. Source: ITU-R BT.709-6.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)


def luminance(light: F32) -> F32:
    """Luminance of RGB light."""
    return np.asarray(light @ LUMINANCE, np.float32)


def srgb_decoded(value: F32) -> F32:
    """Linear light of sRGB values 0..1. Source: IEC 61966-2-1."""
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def shoulder_undone(value: F32) -> F32:
    """Highlights that a rendering compressed, given back their range: white is 1.7 stops above diffuse white again."""
    above = np.clip((value - KNEE) / (1 - KNEE), 0, 1)
    return np.where(value > KNEE, KNEE + (1 - KNEE) * above / (1 - UNDONE * above), value).astype(np.float32)


#: Light of each 8-bit value.
LIGHT_OF_BYTE = shoulder_undone(srgb_decoded(np.arange(256, dtype=np.float32) / np.float32(255)))


def photographs(folder: Path) -> dict[str, Path]:
    """The photographs of a folder by name, in the order of their names."""
    paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in {".jpg", ".jpeg", ".png"})
    return {path.stem: path for path in paths}


def read_light(path: Path, rng: np.random.Generator) -> F32:
    """Scene-linear light of one photograph: a part of it, perhaps mirrored, about two megapixels large.

    Raises:
        ValueError: The file is no picture.
    """
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise ValueError(f"{path.name} is not a picture")
    share = rng.uniform(0.8, 1.0) if picture.size / 3 > PIXELS else 1.0
    rows, columns = (int(size * share) for size in picture.shape[:2])
    top, left = (
        int(rng.integers(0, full - part + 1)) for full, part in zip(picture.shape, (rows, columns), strict=False)
    )
    part = LIGHT_OF_BYTE[picture[top : top + rows, left : left + columns, ::-1]]
    shrink = max(LEAST_SHRINK, (rows * columns / PIXELS) ** 0.5) if picture.size / 3 > PIXELS else 1.0
    size = int(columns / shrink) // 2 * 2, int(rows / shrink) // 2 * 2
    linear = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(linear[:, ::-1] if rng.random() < 0.5 else linear, np.float32)


def drawn_light(rng: np.random.Generator, width: int = 600, height: int = 400) -> F32:
    """A scene of overlapping leaves of all sizes with a fine grain of their own: edges in all directions, as in nature.

    Source: Lee, Mumford & Huang 2001, International Journal of Computer Vision 41: sizes fall with the cube.
    """
    scale = 4
    drawn = np.full((height * scale // 2, width * scale // 2, 3), 0.2, np.float32)
    for _ in range(900):
        radius = 4 / np.sqrt(rng.uniform(1 / 40.0**2, 1))
        centre = int(rng.uniform(0, drawn.shape[1])), int(rng.uniform(0, drawn.shape[0]))
        axes = int(radius * scale / 2 * rng.uniform(0.5, 1.5)) + 1, int(radius * scale / 2) + 1
        colour = 0.18 * 2.0 ** (rng.normal(0, 1.1) + rng.normal(0, 0.25, 3))
        cv2.ellipse(drawn, centre, axes, rng.uniform(0, 180), 0, 360, tuple(float(c) for c in colour), -1)
    shrunk = cv2.resize(drawn, (width, height), interpolation=cv2.INTER_AREA)
    grain = cv2.GaussianBlur(rng.standard_normal((height, width, 1)).astype(np.float32), (0, 0), 0.7)[:, :, None]
    return np.asarray(np.clip(shrunk * np.exp2(0.25 * grain), 0.002, 4), np.float32)
