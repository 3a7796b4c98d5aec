"""What the frames' xmp:Rating says about them: -1 rejects, and the photographer says which ratings keep.

0 is XMP's "unrated" and says nothing, as no rating does. A rating that neither keeps nor is 0 rejects, for somebody
looked at the frame and rated it lower. What was said in the journal outweighs what a file says.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from journal.errors import JournalError
from journal.records.verdicts import Verdict
from journal.store.remembered import recall, remember
from journal.store.verdicts import COUNTS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

#: xmp:Rating of a rated picture (ISO 16684-1: -1 rejected, 0 unrated, up to 5).
RATINGS = (1, 2, 3, 4, 5)

#: Frames with a rating that nobody judged otherwise; what was taken back is no judgement. No parameters.
RATED = f"""
select id, rating from frames
where rating is not null and rating <> 0
    and not exists (select 1 from verdicts where frame_id = frames.id and source <> 'xmp' and {COUNTS})
order by id
"""  # noqa: S608 - a constant of the store


def parse_kept_ratings(keep_from: int | None, keep_ratings: str | None) -> frozenset[int] | None:
    """The ratings of keepers as the photographer states them, or None where nothing is stated.

    Raises:
        JournalError: both ways at once, or a rating that is none.
    """
    if keep_from is not None and keep_ratings is not None:
        raise JournalError("Which ratings are keepers is said twice.", "Give --keep-from or --keep-ratings, not both.")
    if keep_from is None and keep_ratings is None:
        return None
    text = (
        keep_ratings if keep_ratings is not None else ",".join(str(one) for one in RATINGS if one >= (keep_from or 0))
    )
    words = re.split(r"[\s,]+", text.strip())
    if (keep_from is not None and keep_from not in RATINGS) or not all(re.fullmatch("[1-5]", word) for word in words):
        said = keep_from if keep_from is not None else keep_ratings
        raise JournalError(
            f"{str(said)!r} is no rating of a keeper.", "Ratings go from 1 to 5, like --keep-ratings 4,5."
        )
    return frozenset(int(word) for word in words)


def remembered_ratings(connection: sqlite3.Connection) -> frozenset[int]:
    """The ratings of keepers as they were stated last time.

    Raises:
        JournalError: nobody stated them yet.
    """
    kept = recall(connection, "keep_ratings")
    if kept is not None:
        return frozenset(int(word) for word in kept.split(","))
    lowest = recall(connection, "keep_from")
    if lowest is not None:
        return frozenset(one for one in RATINGS if one >= int(lowest))
    raise JournalError(
        "It is not said which ratings are keepers.", "Say it once: thirdstop judge --ratings --keep-from 3"
    )


def remember_ratings(connection: sqlite3.Connection, kept: Iterable[int]) -> None:
    """Remembers which ratings are keepers, for the next time."""
    remember(connection, "keep_ratings", ",".join(str(one) for one in sorted(kept)))


def verdicts_of_ratings(connection: sqlite3.Connection, kept: frozenset[int]) -> list[Verdict]:
    """A verdict for each rated frame that nobody judged in the journal."""
    return [Verdict(row["id"], "keeper" if row["rating"] in kept else "reject") for row in connection.execute(RATED)]
