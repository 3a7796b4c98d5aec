"""The settings that keepers can be counted by: how their values are grouped, named and put in order.

Exposure time, f-number and ISO are grouped by their engraved value; stops below the rule and the EV at ISO 100 by
whole stops. A label is what the reader sees; the sort key orders the labels.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from journal.optics.nominal import nominal_f_number_name, nominal_iso_name, nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Callable

#: When a session began, where somebody stated it: a suggested one may only have the time of its files.
STATED_BEGIN = "case when not sessions.is_suggested then sessions.started_at end"

#: What each setting groups by: a number (or text) per frame. `stop` values become labels in Python.
SETTING_KEYS: dict[str, str] = {
    "exposure_time": "frames.tv6",
    "f_number": "frames.av6",
    "iso": "frames.sv6",
    "focal_length": "round(frames.focal_length_mm)",
    "stops_below_rule": "frames.stops_below_rule_third",
    "ev100": "frames.ev100_third",
    "lens": "lenses.model",
    "body": "bodies.model",
    "camera_support": "coalesce(frames.camera_support, sessions.camera_support)",
    "priority": "sessions.priority",
    "session": "sessions.id",
    "month": f"substr(coalesce(frames.taken_at_local, {STATED_BEGIN}), 1, 7)",
}


@lru_cache(maxsize=4096)
def setting_label(setting: str, key: float | str | None) -> tuple[str | None, float | None]:
    """The label and the sort key of a group; (None, None) where nobody wrote the setting down."""
    if key is None:
        return None, None
    if setting in _NUMERIC_LABELS:
        number = float(key)
        return _NUMERIC_LABELS[setting](number), _SORT_KEYS.get(setting, float)(number)
    if setting == "month":
        year, month = str(key).split("-")
        return str(key), float(year) * 12 + float(month)
    return str(key), None


def _below_rule(thirds: float) -> str:
    stops = round(thirds / 3)
    if stops == 0:
        return "at the rule"
    plural = "" if abs(stops) == 1 else "s"
    return f"{abs(stops)} stop{plural} {'below' if stops > 0 else 'above'} the rule"


def _whole_stop(thirds: float) -> float:
    return float(round(thirds / 3))


_NUMERIC_LABELS: dict[str, Callable[[float], str]] = {
    "exposure_time": lambda key: nominal_time_name(int(key)),
    "f_number": lambda key: nominal_f_number_name(int(key)),
    "iso": lambda key: nominal_iso_name(int(key)),
    "focal_length": lambda key: f"{key:.0f} mm",
    "stops_below_rule": _below_rule,
    "ev100": lambda key: f"EV {round(key / 3)}",
    "session": lambda key: f"session {key:.0f}",
}
_SORT_KEYS: dict[str, Callable[[float], float]] = {"stops_below_rule": _whole_stop, "ev100": _whole_stop}

#: Columns of a frame that the photographer or the body chose; what was only stated is the plan itself.
CHOSEN_SETTINGS = """
    case when exposure_time_source is not 'stated' then exposure_time_s end as exposure_time_s,
    case when f_number_source is not 'stated' then f_number end as f_number,
    case when iso_source is not 'stated' then iso end as iso
"""
