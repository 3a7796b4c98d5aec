"""The sun's height at a place and time, and what photographers call the light then.

The position of the sun comes from the astral library; it is imported when asked for, so that quick commands stay quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

#: Lower ends of the kinds of light by the sun's elevation [degrees], highest first. Civil and astronomical twilight
#: end at -6 and -18 (International Astronomical Union); -4 to 6 is the trade's golden hour.
_KINDS = ((6.0, "day"), (-4.0, "golden hour"), (-18.0, "dusk"))


def sun_elevation_deg(latitude: float, longitude: float, moment: datetime) -> float:
    """Elevation of the sun's centre above the horizon, with refraction [degrees].

    Args:
        latitude: degrees north.
        longitude: degrees east.
        moment: with its zone.

    Source: the astral library, after the equations of the NOAA solar calculator.
    """
    from astral import Observer
    from astral.sun import elevation

    return float(elevation(Observer(latitude, longitude), moment))


def sunlight_name(elevation_deg: float) -> str:
    """What the light is called at this elevation of the sun: `day`, `golden hour`, `dusk` or `night`.

    `dusk` stands for twilight of morning and evening alike.
    """
    return next((name for low, name in _KINDS if elevation_deg >= low), "night")
