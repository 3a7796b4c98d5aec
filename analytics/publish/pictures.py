"""The small pictures of a publication: which frames get one, and each encoded anew so that only its pixels remain."""

from __future__ import annotations

import json
import os
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from typing import TYPE_CHECKING

from analytics import queries
from analytics.pages.bare_picture import only_pixels

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.dataset import OpenJournal

#: Pictures that are encoded side by side, and read at once.
MOST_MAKERS, AT_ONCE = 4, 64


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
    waiting = iter(numbers)
    with ThreadPoolExecutor(min(MOST_MAKERS, os.cpu_count() or 1)) as makers:  # encoding needs no interpreter
        while some := list(islice(waiting, min(limit - len(found), AT_ONCE))):
            previews = {number: journal.rows(queries.PREVIEW, {"number": number}) for number in some}
            stored = {number: bytes(rows[0]["webp"]) for number, rows in previews.items() if rows}
            made = zip(stored, makers.map(only_pixels, stored.values()), strict=True)
            found |= {number: picture for number, picture in made if picture is not None}
    return found
