"""What share of the frames is judged, and whether judging looks selective: then no rate is what it seems."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from journal.notation import format_count

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Fewer judged frames of a session than this show no pattern.
FEWEST_JUDGED = 5
#: From this share of the judged sessions on, sessions with judged keepers alone (or rejects alone) matter.
MANY = 0.10
#: Sessions judged in part and in full may differ by this much in keepers before that looks selective.
TOO_DIFFERENT, ENOUGH_SESSIONS = 0.15, 3
#: Unjudged frames are a matter from this share of all on, and concentrated where this share is in untouched sessions.
MANY_UNJUDGED, CONCENTRATED = 0.20, 0.80


@dataclass(frozen=True, slots=True)
class JudgedShare:
    """How much is judged. `warning` is empty where judging does not look selective.

    `n_outside` are frames of no session, which the statistics leave out. `n_only_keepers` and `n_only_rejects` are
    sessions that are judged in part and with one verdict only.
    """

    n_frames: int
    n_judged: int
    n_keepers: int
    n_outside: int
    n_sessions: int
    n_untouched: int
    n_partly: int
    n_only_keepers: int
    n_only_rejects: int
    sentence: str
    warning: str

    @property
    def share(self) -> float:
        """Judged frames among all frames of sessions, in [0, 1]; not-a-number without frames."""
        return self.n_judged / self.n_frames if self.n_frames else float("nan")

    @property
    def is_selective(self) -> bool:
        """Whether judging looks selective."""
        return bool(self.warning)


def judged_share(sessions: Sequence[dict[str, Any]], n_outside: int = 0) -> JudgedShare:
    """The share and the warning, from `n_frames`, `n_judged` and `n_keepers` of each session in the order of time."""
    partly = [row for row in sessions if 0 < row["n_judged"] < row["n_frames"]]
    clear = [row for row in partly if row["n_judged"] >= FEWEST_JUDGED]
    counts = {name: sum(row[name] for row in sessions) for name in ("n_frames", "n_judged", "n_keepers")}
    n_only_keepers = sum(row["n_keepers"] == row["n_judged"] for row in clear)
    n_only_rejects = sum(row["n_keepers"] == 0 for row in clear)
    return JudgedShare(
        **counts,
        n_outside=n_outside,
        n_sessions=len(sessions),
        n_untouched=sum(row["n_judged"] == 0 for row in sessions),
        n_partly=len(partly),
        n_only_keepers=n_only_keepers,
        n_only_rejects=n_only_rejects,
        sentence=_sentence(counts, n_outside),
        warning=_warning(sessions, n_only_keepers, n_only_rejects),
    )


def _sentence(counts: dict[str, int], n_outside: int) -> str:
    frames, judged = counts["n_frames"], counts["n_judged"]
    outside = f" {format_count(n_outside, 'frame')} of no session are left out." if n_outside else ""
    if not frames:
        return f"No session has a frame yet.{outside}"
    if judged == frames:
        return f"All {format_count(frames, 'frame')} are judged.{outside}"
    return f"{judged:,} of {format_count(frames, 'frame')} are judged, {_of_100(judged, frames)} of 100.{outside}"


def _of_100(judged: int, frames: int) -> int:
    """A share that is said to be none or all only where it is."""
    share = round(100 * judged / frames)
    return share if judged in (0, frames) else min(max(share, 1), 99)


def _warning(sessions: Sequence[dict[str, Any]], n_only_keepers: int, n_only_rejects: int) -> str:
    judged = [row for row in sessions if row["n_judged"]]
    n_judged = sum(row["n_judged"] for row in judged)
    if n_judged >= FEWEST_JUDGED and sum(row["n_keepers"] for row in judged) == n_judged:
        return "Every judged frame is a keeper: without rejects no fault can be found. Judge the rejects too."
    for n_only, word, other, seems in (
        (n_only_keepers, "keepers", "rejects", "better"),
        (n_only_rejects, "rejects", "keepers", "worse"),
    ):
        if n_only and n_only >= MANY * len(judged):
            return (
                f"Judging looks selective: in {n_only} of {len(judged)} judged sessions only {word} are judged, so "
                f"everything seems {seems} than it is. Judge the {other} of these sessions too."
            )
    return _differs(judged) or _untouched(sessions)


def _differs(judged: Sequence[dict[str, Any]]) -> str:
    """Sessions judged in part against those judged in full."""
    groups = [
        [row for row in judged if (row["n_judged"] < row["n_frames"]) is is_partly] for is_partly in (True, False)
    ]
    if min(map(len, groups)) < ENOUGH_SESSIONS:
        return ""
    partly, whole = (sum(row["n_keepers"] for row in rows) / sum(row["n_judged"] for row in rows) for rows in groups)
    if abs(partly - whole) < TOO_DIFFERENT:
        return ""
    return (
        f"Judging looks selective: you keep {100 * partly:.0f} of 100 judged frames in sessions that are judged in "
        f"part, {100 * whole:.0f} in the others. Judge the rest of these sessions."
    )


def _untouched(sessions: Sequence[dict[str, Any]]) -> str:
    """Whole sessions without a verdict between judged ones; the newest are only waiting, and so are those from before
    there was any judging."""
    unjudged = sum(row["n_frames"] - row["n_judged"] for row in sessions)
    judged = [place for place, row in enumerate(sessions) if row["n_judged"]]
    skipped = [row for row in sessions[judged[0] : judged[-1]] if not row["n_judged"]] if judged else []
    in_skipped = sum(row["n_frames"] for row in skipped)
    total = sum(row["n_frames"] for row in sessions)
    if not skipped or unjudged < MANY_UNJUDGED * total or in_skipped < CONCENTRATED * unjudged:
        return ""
    whole = format_count(len(skipped), "whole session")
    return (
        f"Judging looks selective: {in_skipped:,} of {unjudged:,} unjudged frames are {whole} between judged ones. "
        "If these went worse or better than the others, the numbers do not say so. Judge them too."
    )
