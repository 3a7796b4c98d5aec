"""The small copy in colour that cameras keep in a JPEG beside the picture.

It costs next to nothing, where decoding a large picture once more, even at an eighth of its size, takes more than half
as long as the first time. Whoever changes a picture does not always make its small copy anew, so it only counts where
its tones are those of the picture.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.uint8]

#: Shares of the picture at which tones are compared, and how far they may differ [codes of 8 bits]. Source: of 28 real
#: pictures that have a small copy the tones of 26 differ by up to 13, those of two by 22 and 26.
COMPARED, MOST_OFF = (0.5, 0.75, 0.95), 16.0
#: Fewest pixels along a side, and most in all: a few bytes can ask for the memory of a gigapixel.
SMALLEST_SIDE, MOST_PIXELS = 48, 1_000_000


def kept_colours(data: bytes, grey: Grey) -> NDArray[np.uint8] | None:
    """The small copy of a picture.

    Args:
        data: the JPEG file.
        grey: brightness of the picture itself, (rows, columns), as it is stored.

    Returns:
        (rows, columns, 3), blue first; `None` where there is none, or one of other tones.

    Source: Exif 2.32, thumbnail; cameras fit it into 4:3 with black bars, which are cut away.
    """
    import exiv2

    exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)  # what it finds odd in a file is no news here
    try:
        image = exiv2.ImageFactory.open(data)
        image.readMetadata()
        inside = bytes(exiv2.ExifThumbC(image.exifData()).copy().data())
    except exiv2.Exiv2Error:
        return None
    small = _decoded(inside)
    if small is None:
        return None
    small = without_bars(small, grey.shape[0], grey.shape[1])
    return small if min(small.shape[:2]) >= SMALLEST_SIDE and _is_alike(small, grey) else None


def _decoded(inside: bytes) -> NDArray[np.uint8] | None:
    """The small copy as pixels; `None` where it is none, or says that it is as large as no small copy is."""
    try:
        with Image.open(io.BytesIO(inside), formats=["JPEG"]) as image:
            if image.size[0] * image.size[1] > MOST_PIXELS:
                return None
        small = cv2.imdecode(np.frombuffer(inside, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, cv2.error):
        return None
    return None if small is None else np.asarray(small, np.uint8)


def without_bars(small: NDArray[np.uint8], rows: int, columns: int) -> NDArray[np.uint8]:
    """The middle of a small copy that has the shape of the picture.

    Args:
        small: (rows, columns, 3).
        rows: of the picture [px].
        columns: of the picture [px].

    Returns:
        The same without what lies above and below, or left and right.

    Source: own choice.
    """
    high, wide = small.shape[:2]
    kept_high = _kept(high, wide * rows / columns)
    kept_wide = _kept(wide, high * columns / rows)
    top, left = (high - kept_high) // 2, (wide - kept_wide) // 2
    return small[top : top + kept_high, left : left + kept_wide]


def _kept(side: int, whole: float) -> int:
    """How much of a side is picture; where bars are cut away, a line more at both ends, for they are not cut evenly."""
    return side if whole >= side else max(1, round(whole) - 2)


def _is_alike(small: NDArray[np.uint8], grey: Grey) -> bool:
    """Whether its tones are those of the picture."""
    rows, columns = (
        ((np.arange(side) + 0.5) * whole / side).astype(int)
        for side, whole in zip(small.shape[:2], grey.shape, strict=True)
    )
    shown = np.quantile(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), COMPARED)
    return bool(np.abs(np.quantile(grey[np.ix_(rows, columns)], COMPARED) - shown).max() <= MOST_OFF)
