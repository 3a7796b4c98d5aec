"""What a session's bursts let one expect: keepers as it went on, and the faults among its rejects, with intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.charts.session import (
    ALONG_QUESTION,
    FAULTS_QUESTION,
    along_chart,
    along_shape_name,
    are_of_days,
    fault_chart,
    whole,
)
from analytics.statistics.within_session import (
    FAULT_IN_BURST,
    KEPT_IN_BURST,
    Counts,
    Share,
    difference,
    parts,
    shares,
)
from journal.notation import format_count, format_signed

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Counted:
    """A question, the sentence that answers it, what its chart has of this session, and the rows of its table.

    Attributes:
        shape: of the chart, a name that `charts.session.shape` knows.
        added: what this session adds to it.
    """

    question: str
    sentence: str
    shape: str
    added: dict[str, Any]
    rows: list[dict[str, Any]]

    @property
    def chart(self) -> dict[str, Any]:
        """The whole chart as a Vega-Lite specification."""
        return whole(self.shape, self.added)


def keepers_along(bursts: Sequence[dict[str, Any]]) -> Counted | None:
    """Keepers by parts of the session; `None` where there are too few bursts for two parts.

    Args:
        bursts: rows of `queries.session.JUDGED_BURSTS_OF_SESSION`.
    """
    timed = [burst for burst in bursts if burst["began"] is not None]
    cut = [timed[part] for part in parts(len(timed))]
    if len(cut) < 2:
        return None
    counted = [[Counts(burst["n_keepers"] + burst["n_rejects"], burst["n_keepers"]) for burst in part] for part in cut]
    found = shares(counted, KEPT_IN_BURST)
    ends = [(part[0]["began"], max(burst["ended"] for burst in part)) for part in cut]
    is_of_days = are_of_days(end for both in ends for end in both)
    rows = [
        {
            "began": began,
            "ended": ended,
            "from": moment_shown(began[:16], is_of_days),
            "to": moment_shown(ended[:16], is_of_days),
            **_shown(share),
        }
        for (began, ended), share in zip(ends, found, strict=True)
    ]
    sentence = _along_sentence(found)
    return Counted(ALONG_QUESTION, sentence, along_shape_name(rows), along_chart(rows, sentence), rows)


def moment_shown(moment: str, is_of_days: bool) -> str:
    """A moment by the body's clock (ISO) in a table: with its date where the table spans more than a day."""
    return moment.replace("T", " ") if is_of_days else moment[11:]


def _along_sentence(found: list[Share]) -> str:
    first, last = found[0], found[-1]
    change, low, high = difference(first, last)
    before, after = (f"{round(share.estimate * share.n_frames)} of {share.n_frames}" for share in (first, last))
    kept = f"You kept {before} frames in the first part and {after} in the last"
    by = "{} ({} to {})".format(*(format_signed(100 * value) for value in (change, low, high)))
    if low > 0 or high < 0:
        return f"{kept}: a difference of {by} of 100, counted plainly; light and subjects may have changed too."
    return f"{kept}: a difference of {by} of 100, which may be chance."


def faults_of_rejects(bursts: Sequence[dict[str, Any]], faults: Sequence[dict[str, Any]]) -> Counted | None:
    """Faults by how many rejects show them, the commonest first; `None` where none is named.

    Args:
        bursts: rows of `queries.session.JUDGED_BURSTS_OF_SESSION`.
        faults: rows of `queries.session.FAULTS_OF_SESSION`.
    """
    if not faults:
        return None
    n_rejects = {burst["burst"]: burst["n_rejects"] for burst in bursts if burst["n_rejects"]}
    by_fault: dict[str, dict[int, int]] = {}
    for row in faults:
        by_fault.setdefault(row["fault"], {})[row["burst"]] = row["n_frames"]
    names = sorted(by_fault, key=lambda fault: (-sum(by_fault[fault].values()), fault))
    counted = [[Counts(n, by_fault[fault].get(burst, 0)) for burst, n in n_rejects.items()] for fault in names]
    rows = [
        {"fault": fault, **_shown(share), "n_frames": sum(by_fault[fault].values()), "n_bursts": len(by_fault[fault])}
        for fault, share in zip(names, shares(counted, FAULT_IN_BURST), strict=True)
    ]
    commonest, rejects = rows[0], sum(n_rejects.values())
    several = "; a reject may show several faults" if sum(row["n_frames"] for row in rows) > rejects else ""
    sentence = (
        f"{commonest['fault'].capitalize()} most often: {commonest['n_frames']} of {format_count(rejects, 'reject')}, "
        f"in {format_count(commonest['n_bursts'], 'burst')}{several}."
    )
    return Counted(FAULTS_QUESTION, sentence, "faults", fault_chart(rows, sentence), rows)


def _shown(share: Share) -> dict[str, Any]:
    """A share of 100 with its interval, as numbers and as they are written in a table."""
    of_100 = {name: round(100 * getattr(share, name), 3) for name in ("estimate", "low", "high")}
    estimate, low, high = (_whole(value) for value in of_100.values())
    counts = {"n_frames": share.n_frames, "n_bursts": share.n_bursts, "is_enough": share.is_enough}
    return {**counts, **of_100, "of_100": estimate, "interval": f"{low}–{high}"}


def _whole(value: float) -> str:
    """Rounded as the expressions of a chart round: 12.5 is 13."""
    return str(math.floor(value + 0.5))
