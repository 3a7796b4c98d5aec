"""What measuring a picture returned, as a record: measures on one side, the suggestion on the other.

Three states: a fault is suggested, nothing stands out, or it cannot be told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from journal.records.measures import Examined, Suggestion

if TYPE_CHECKING:
    from collections.abc import Mapping

    from journal.records.measures import ToExamine

#: A fault is suggested from this probability on; below `FINE` for every fault, nothing stands out.
SUGGESTED, FINE = 0.5, 0.2
#: The journal's word for each probability; exposure has two words, by the sign of its error.
FAULT_OF = {
    "focus": "missed focus",
    "shake": "camera shake",
    "subject_motion": "subject motion",
    "noise": "noise",
}
#: Faults that a picture without texture says nothing about.
SHARPNESS = ("missed focus", "camera shake", "subject motion")
#: What goes into the suggestion rather than among the measures.
_OF_SUGGESTION = ("exposure", *FAULT_OF, "evidence", "measure_version", "model_version")


def examined(frame: ToExamine, result: Mapping[str, Any]) -> Examined:
    """The record of one measured frame."""
    measures = {name: value for name, value in result.items() if name not in _OF_SUGGESTION}
    version = int(result["measure_version"])
    suggestion = suggestion_of(result)
    return Examined(frame.frame_id, version, frame.source, frame.content_key, measures, suggestion)


def suggestion_of(result: Mapping[str, Any]) -> Suggestion:
    """The suggestion in what a measure returned; what cannot be told has no probability either."""
    chances = fault_probabilities(result)
    cannot_tell = bool(result.get("cant_tell"))
    told = {fault: chance for fault, chance in chances.items() if not (cannot_tell and fault in SHARPNESS)}
    first = max(told, key=lambda fault: told[fault], default=None)
    highest = told[first] if first is not None else None
    is_suggested = highest is not None and highest >= SUGGESTED
    return Suggestion(
        fault=first if is_suggested else None,
        probability=highest,
        is_unsure=not is_suggested and (cannot_tell or highest is None or highest >= FINE),
        probabilities=told,
        evidence=tuple(str(sentence) for sentence in result.get("evidence", ())),
        model_version=str(result["model_version"]),
    )


def fault_probabilities(result: Mapping[str, Any]) -> dict[str, float]:
    """Probabilities by the journal's words for the faults; those that are missing are left out."""
    chances = {word: float(result[name]) for name, word in FAULT_OF.items() if result.get(name) is not None}
    exposure, error = result.get("exposure"), result.get("ev")
    if exposure is not None and error is not None:
        chances["overexposed" if error > 0 else "underexposed"] = float(exposure)
    return dict(sorted(chances.items(), key=lambda pair: -pair[1]))
