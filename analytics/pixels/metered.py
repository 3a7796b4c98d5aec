"""What the meter and the tones say together of an exposure.

A meter is misled by what is dark or bright as a whole, and tones are what they were meant to be: where both say the
same, it is more likely so. Where no meter's word was written down, tones weigh more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

#: Tone that is taken for right beside the meter's word [stops from mid-grey]. Source: own choice; the median of
#: generated frames, -0.4, tells no better and no worse.
USUAL_TONE = -1.0
#: Tones that weigh more where there is no meter's word.
UNMETERED = (
    "tone_mean",
    "tone_middle",
    "tone_50",
    "tone_95",
    "tone_05",
    "tone_999",
    "white",
    "white_middle",
    "black",
    "colour_any_nearly",
)


def metered_features(features: Mapping[str, float]) -> dict[str, float]:
    """What the model looks at.

    Args:
        features: `metered_error` and the tones, by name, NaN where not known.

    Returns:
        The lesser (both say too bright) and the greater of what meter and tones say, of the whole and around the
        subject, how far they are apart [stops], and the tones once more where there is no meter's word; NaN else.

    Source: own choice; minimum and maximum as "and" and "or", Zadeh 1965.
    """
    metered, found = features["metered_error"], {}
    is_metered = math.isfinite(metered)
    for name in ("mean", "middle"):
        shown = features[f"tone_{name}"] - USUAL_TONE
        found[f"metered_and_{name}"] = min(metered, shown) if is_metered else math.nan
        found[f"metered_or_{name}"] = max(metered, shown) if is_metered else math.nan
    found["metered_apart"] = metered - features["tone_mean"]
    return found | {f"unmetered_{name}": math.nan if is_metered else features[name] for name in UNMETERED}
