"""What nobody stated, so that a habit that depends on it cannot be seen: not seen is not absent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

#: From this share of the judged frames on, a fact is said to be unstated.
MOSTLY = 0.5


@dataclass(frozen=True, slots=True)
class Fact:
    """What is stated of a session: what it is in a sentence, the options to state it with, and an example of them."""

    words: str
    options: str = ""
    example: str = ""


#: Columns of the frames table that habits depend on. What body and lens are is stated of them, not of a session.
FACTS = {
    "support": Fact("how the camera was held", "--support", "--support hand-held"),
    "subject_pace": Fact("how fast the subject was", "--pace", "--pace walking"),
    "is_backlit": Fact("whether it was backlit", "--backlit or --not-backlit", "--backlit"),
    "subject_depth_m": Fact("how deep the subject was", "--subject-depth", '--subject-depth "40 cm"'),
    "subject_distance_m": Fact("how far away it was", "--subject-distance", '--subject-distance "12 m"'),
    "is_light_described": Fact("what the light was like", "--light", "--light {light}"),
    "is_light_stated": Fact("how bright the light was, as an exposure value", "--ev100", "--ev100 {ev100}"),
    "is_off_plan": Fact("which settings were planned", "--time, --aperture or --iso", "--time 1/500-1/125"),
    "is_stabilised": Fact("whether body and lens are stabilised"),
}
#: How the last of them is stated.
OF_GEAR = (
    "Say of the one that is stabilised: thirdstop gear body MODEL --stabilised, or: thirdstop gear lens MODEL "
    "--stabilised; if neither is, say so of both, with --not-stabilised"
)
#: How bright each kind of light is, about [EV at ISO 100], for an example.
USUAL_EV = {"snow": 15, "night": 0, "stage": 7}


def unstated(frames: pd.DataFrame) -> dict[str, str]:
    """What is unknown of most judged frames: columns, and what they are in a sentence."""
    if not len(frames):
        return {}
    by_hand = frames[frames["support"] == "hand-held"]  # elsewhere nobody asks whether anything is stabilised
    asked_of = {name: by_hand if name == "is_stabilised" else frames for name in FACTS}
    return {name: fact.words for name, fact in FACTS.items() if _is_unknown(asked_of[name][name]).mean() >= MOSTLY}


def _is_unknown(column: pd.Series) -> pd.Series:
    """Of which frames nobody knows it; a column of yes and no says itself whether it was stated."""
    return ~column if column.dtype == bool else column.isna()


def unstated_sentence(unseen: Sequence[str]) -> str:
    """What keeps habits from being seen, with the way to state it; empty where nothing does.

    Args:
        unseen: of each habit that cannot be seen, what nobody stated in words of `unstated`.
    """
    facts = [fact for fact in FACTS.values() if any(fact.words in words for words in unseen)]
    if not facts:
        return ""
    said = [f"{fact.words} ({fact.options})" if fact.options else fact.words for fact in facts]
    of_session = [fact for fact in facts if fact.options]
    how = ["with the option named: thirdstop edit SESSION"] if of_session else []
    how += ["for body and lens: thirdstop gear body, and: thirdstop gear lens"] if len(of_session) < len(facts) else []
    told = f"Habits that depend on what is not stated cannot be seen: {'; '.join(said)}."
    return f"{told} To state it, {'; '.join(how)}. "


def how_to_see(needs: Iterable[str], unstated_words: str, light: str = "") -> str:
    """How to state what a habit needs and these words say nobody stated; empty where they say nothing.

    Args:
        needs: columns of the frames table; unstated_words: of `unstated`.
        light: the kind of light that the habit is about; empty for any.
    """
    facts = [FACTS[name] for name in needs if name in FACTS and FACTS[name].words in unstated_words]
    words = {"light": light or "overcast", "ev100": USUAL_EV.get(light, 12)}
    examples = [fact.example.format(**words) for fact in facts if fact.example]
    ways = (
        [f"State what is missing, for instance with: thirdstop edit SESSION {' '.join(examples)}"] if examples else []
    )
    ways += [OF_GEAR] if len(examples) < len(facts) else []
    return ". ".join(ways)
