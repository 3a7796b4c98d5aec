"""The small pictures of a publication: which frames get one, and each encoded anew so that only its pixels remain."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

from analytics import queries
from analytics.pages.bare_picture import only_pixels

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.dataset import OpenJournal


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
