"""The small pictures of a publication: which frames get one, and each encoded anew so that only its pixels remain."""

from __future__ import annotations

import io
import json
from collections import Counter
from typing import TYPE_CHECKING

from PIL import Image

from analytics import queries

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.dataset import OpenJournal

#: Longest side of a published picture, and of a preview that is taken at all [px].
SIDE, LARGEST_SIDE = 240, 4096
#: WebP quality and effort: about 5 kB each, 3 ms to make.
QUALITY, METHOD = 65, 2
#: What Pillow raises on a picture that it cannot read.
UNREADABLE = (OSError, ValueError, SyntaxError, Image.DecompressionBombError)


def by_worth(journal: OpenJournal, sessions: Sequence[int], first: Iterable[int]) -> list[int]:
    """Frames in the order in which they get a picture: `first`, then one of each burst of each session in turn."""
    rows = journal.rows(queries.PREVIEWED_FRAMES, {"sessions": json.dumps(list(sessions))})
    in_burst: Counter[tuple[int, int | None]] = Counter()
    in_session: Counter[tuple[int, int]] = Counter()
    order: list[tuple[int, int, int, int]] = []
    for row in rows:
        place = row["session_id"], row["burst_id"]
        turn = in_burst[place]
        in_burst[place] += 1
        order.append((turn, in_session[row["session_id"], turn], len(order), row["frame_id"]))
        in_session[row["session_id"], turn] += 1
    spread = [number for *_, number in sorted(order)]
    return list(dict.fromkeys([*first, *spread]))


def pictures(journal: OpenJournal, numbers: Sequence[int], limit: int) -> dict[int, bytes]:
    """At most `limit` pictures of these frames by number; one without a preview, or with a broken one, has none."""
    found: dict[int, bytes] = {}
    for number in numbers:
        if len(found) >= limit:
            break
        rows = journal.rows(queries.PREVIEW, {"number": number})
        made = only_pixels(bytes(rows[0]["webp"])) if rows else None
        if made is not None:
            found[number] = made
    return found


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
