"""The numbers that pages group by, for one exposure, in one place.

They are stored as plain columns with `DERIVED_VERSION` and computed again when it changes. Pure Python: an import makes
them row by row.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Changes whenever a formula here gives other numbers.
DERIVED_VERSION = 1


@dataclass(frozen=True, slots=True)
class Derived:
    """What follows from a frame's settings; `None` where a setting is unknown."""

    ev100: float | None
    stops_below_rule: float | None
    tv6: int | None
    av6: int | None
    sv6: int | None
    ev100_third: int | None
    stops_below_rule_third: int | None


def derive(
    exposure_time_s: float | None, f_number: float | None, iso: float | None, focal_length_35mm: float | None
) -> Derived:
    """Derived numbers of one exposure: ev100 = log2(N² / t) - log2(ISO / 100), and the sixths and thirds of a stop.

    Args:
        exposure_time_s: exposure time [s].
        f_number: f-number [1].
        iso: exposure index, ISO 12232 [1].
        focal_length_35mm: focal length of the same angle of view on 36 x 24 mm [mm].

    Returns:
        `tv6` = 6 log2(t / 1 s), `av6` = 12 log2 N and `sv6` = 6 log2(ISO / 100), rounded to whole sixths of a stop;
        the `_third` numbers are whole thirds of a stop. A setting that is no positive, finite number counts as
        unknown: one broken file must not stop an import.

    Source: CIPA DC-008 (Exif), annex on APEX units; the 1/focal-length rule of hand-holding.
    """
    tv = math.log2(exposure_time_s) if exposure_time_s and 0 < exposure_time_s < math.inf else None
    av = 2 * math.log2(f_number) if f_number and 0 < f_number < math.inf else None
    sv = math.log2(iso / 100) if iso and 0 < iso < math.inf else None
    ev100 = av - tv - sv if av is not None and tv is not None and sv is not None else None
    has_length = focal_length_35mm is not None and 0 < focal_length_35mm < math.inf
    below = tv + math.log2(focal_length_35mm) if tv is not None and focal_length_35mm and has_length else None
    return Derived(
        ev100=ev100,
        stops_below_rule=below,
        tv6=_whole(tv, 6),
        av6=_whole(av, 6),
        sv6=_whole(sv, 6),
        ev100_third=_whole(ev100, 3),
        stops_below_rule_third=_whole(below, 3),
    )


def _whole(stops: float | None, parts: int) -> int | None:
    return None if stops is None else round(stops * parts)
