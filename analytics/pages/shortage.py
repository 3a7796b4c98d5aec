"""It is the light, not you: the sentence for frames that no choice of settings would have saved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.statistics.shortage import shortage
from journal.notation import format_count

if TYPE_CHECKING:
    from analytics.pages.judged import Ground
    from analytics.statistics.results import Shortage

#: From this share on, hands are said to be what limits the time.
MOSTLY = 0.5


def light_found(ground: Ground, level: float = 0.95) -> Shortage | None:
    """How often light was missing; `None` where it never was, or nothing is known of it."""
    found = None if ground.missing else shortage(ground.frames, level)
    return found if found is not None and found.n_frames else None


def light_sentence(found: Shortage | None) -> str:
    """What was missing, in plain words; empty where nothing was."""
    if found is None:
        return ""
    if not found.is_enough:
        few = format_count(found.n_sessions, "session")
        return f"In {few} the light was at times beyond your limits; that is not enough yet to say more."
    stops = f"{found.stops:.1f} stops ({found.stops_low:.1f} to {found.stops_high:.1f} for the middle half)"
    by_hands = found.share_by_hands > MOSTLY
    what = (
        "your hands limit the time, so a monopod or tripod would give most of it"
        if by_hands
        else ("the subject limits the time, so only more light or a wider lens would give it")
    )
    kept = f"you kept {100 * found.keepers:.0f} ({100 * found.keepers_low:.0f}–{100 * found.keepers_high:.0f}) of 100"
    frames = format_count(found.n_frames, "frame")
    return (
        f"It is the light, not you, in {frames}: at all your limits together {stops} were missing, and {kept}. "
        f"Mostly {what}."
    )
