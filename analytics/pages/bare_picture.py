"""A preview encoded anew, so that only its pixels reach others than the photographer."""

from __future__ import annotations

import io

from PIL import Image

#: Longest side of a bare picture, and of a preview that is taken at all [px].
SIDE, LARGEST_SIDE = 240, 4096
#: WebP quality and effort: about 5 kB each; a step more of effort takes a third longer and saves a tenth.
QUALITY, METHOD = 65, 1
#: What Pillow raises on a picture that it cannot read.
UNREADABLE = (OSError, ValueError, SyntaxError, Image.DecompressionBombError)


def only_pixels(preview: bytes) -> bytes | None:
    """The picture made smaller and encoded anew from its pixels alone; `None` where it cannot be read."""
    try:
        with Image.open(io.BytesIO(preview), formats=("WEBP",)) as opened:
            if max(opened.size) > LARGEST_SIDE:
                return None
            upright = opened.convert("RGB")
    except UNREADABLE:
        return None
    upright.thumbnail((SIDE, SIDE))
    bare = Image.frombytes("RGB", upright.size, upright.tobytes())  # a new picture: what was beside the pixels is gone
    stream = io.BytesIO()
    bare.save(stream, format="WEBP", quality=QUALITY, method=METHOD)
    return stream.getvalue()
