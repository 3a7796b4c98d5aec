"""What nobody stated, so that a habit that depends on it cannot be seen: not seen is not absent."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

#: From this share of the judged frames on, a fact is said to be unstated.
MOSTLY = 0.5
#: Columns of the frames table that habits depend on: what they are in a sentence, and the way to state them.
FACTS = {
    "support": ("how the camera was held", "--support"),
    "subject_pace": ("how fast the subject was", "--pace"),
    "is_backlit": ("whether it was backlit", "--backlit or --not-backlit"),
    "subject_depth_m": ("how deep the subject was", "--subject-depth"),
    "subject_distance_m": ("how far away it was", "--subject-distance"),
    "is_light_described": ("what the light was like", "--light"),
    "is_light_stated": ("how bright the light was, as an exposure value", "--ev100"),
    "is_off_plan": ("which settings were planned", "--time, --aperture or --iso"),
    "is_stabilised": ("whether body and lens are stabilised", ""),
}


def unstated(frames: pd.DataFrame) -> dict[str, str]:
    """What is unknown of most judged frames: columns, and what they are in a sentence."""
    if not len(frames):
        return {}
    by_hand = frames[frames["support"] == "hand-held"]  # elsewhere nobody asks whether anything is stabilised
    asked_of = {name: by_hand if name == "is_stabilised" else frames for name in FACTS}
    return {name: said for name, (said, _) in FACTS.items() if _is_unknown(asked_of[name][name]).mean() >= MOSTLY}


def _is_unknown(column: pd.Series) -> pd.Series:
    """Of which frames nobody knows it; a column of yes and no says itself whether it was stated."""
    return ~column if column.dtype == bool else column.isna()


def unstated_sentence(frames: pd.DataFrame) -> str:
    """What is unknown of most judged frames, with the way to state it; empty where all is known."""
    missing = unstated(frames)
    said = [f"{words} ({FACTS[name][1]})" if FACTS[name][1] else words for name, words in missing.items()]
    if not said:
        return ""
    how = _how_to_state(list(missing), "with the option named")
    return f"Habits that depend on what is not stated cannot be seen: {'; '.join(said)}. To state it, {how}. "


def how_to_see(needs: Iterable[str], unstated_words: str) -> str:
    """How to state what a habit needs and these words say nobody stated; empty where they say nothing."""
    names = [name for name in needs if name in FACTS and FACTS[name][0] in unstated_words]
    return f"To state {unstated_words}, {_how_to_state(names)}." if names else ""


def _how_to_state(names: list[str], options: str = "") -> str:
    """The commands that state what some columns hold; `options` says where their options are named, else they are."""
    of_session = [FACTS[name][1] for name in names if FACTS[name][1]]
    with_them = options or f"with {' and '.join(of_session)}"
    ways = [f"{with_them}: thirdstop edit SESSION"] if of_session else []
    ways += ["for body and lens: thirdstop gear body, and: thirdstop gear lens"] if "is_stabilised" in names else []
    return "; ".join(ways)
