"""What nobody stated, so that a habit that depends on it cannot be seen: not seen is not absent."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
}
STABILISED = "whether body and lens are stabilised (with: thirdstop gear body, and: thirdstop gear lens)"


def unstated_sentence(frames: pd.DataFrame) -> str:
    """What is unknown of most judged frames, with the way to state it; empty where all is known."""
    if not len(frames):
        return ""
    missing = [name for name in FACTS if frames[name].isna().mean() >= MOSTLY]
    said = [f"{FACTS[name][0]} ({FACTS[name][1]})" for name in missing]
    if frames["is_stabilised"].isna().mean() >= MOSTLY:
        said.append(STABILISED)
    if not said:
        return ""
    how = " How to state it: thirdstop edit SESSION, with the option named." if missing else ""
    return f"Habits that depend on what is not stated cannot be seen: {'; '.join(said)}.{how} "
