"""What every page of estimates says first: whether the journal is simulated, and how much of it is judged."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from analytics import queries
from analytics.pages.again_rounds import judging_words, rounds
from journal.notation import format_none_of

if TYPE_CHECKING:
    import pandas as pd

    from analytics.dataset import OpenJournal
    from analytics.dataset.share import JudgedShare


@dataclass(frozen=True, slots=True)
class Ground:
    """What estimates stand on: the judged frames, how many they are among all, what is simulated.

    `began` is the moment from which the frames' days count; `judging` says whether old frames, judged again, showed
    that judging itself became milder or stricter.
    """

    frames: pd.DataFrame
    share: JudgedShare
    simulated: str | None
    began: str | None = None
    judging: str = ""

    def date(self, day: float) -> str:
        """The date, in UTC, of a day of the frames table."""
        return (datetime.fromisoformat(self.began or "") + timedelta(days=day)).date().isoformat()

    @property
    def said(self) -> str:
        """The share judged, with a warning where judging looks selective."""
        return f"{self.share.sentence} {self.share.warning}".strip()

    @property
    def missing(self) -> str | None:
        """What to do first where nothing can be estimated; `None` where something can."""
        if not self.share.n_frames:
            return f"{self.share.sentence} Next: thirdstop import CARD"
        if not self.share.n_judged:
            return f"{format_none_of(self.share.n_frames, 'frame')} is judged yet. Next: thirdstop judge"
        return None

    def as_json(self) -> dict[str, Any]:
        """For scripts."""
        return {"simulated": self.simulated, "judged": asdict(self.share) | {"share": self.share.share}}


def ground(journal: OpenJournal) -> Ground:
    """Reads it, all at one moment of the journal."""
    with journal.snapshot():
        began = journal.rows(queries.FIRST_SESSION)[0]["began"]
        judging = judging_words(rounds(journal))
        return Ground(journal.judged_frames(), journal.judged_share(), journal.simulated(), began, judging)
