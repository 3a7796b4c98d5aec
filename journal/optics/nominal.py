"""The values engraved on cameras, by their place on the scale in sixths of a stop.

A nominal value (1/60, f/5.6) is a name; the exact one (1/64, 2^2.5) is what the shutter or iris aims at. Both half and
third stops lie on whole sixths: thirds on even ones, halves on every third one. Pure Python, so that quick commands may
use it.
"""

from __future__ import annotations

from functools import lru_cache

#: Names that are kept: more than a camera has settings, for a page may write a thousand of them.
KEPT = 512

#: Nominal times of one octave and their place in sixths, from the common third- and half-stop scales.
#: Source: the values marked on shutter dials and shown by cameras (ISO 516 for the full stops).
_TIME_NAMES = {
    30: "30 s", 28: "25 s", 27: "20 s", 26: "20 s", 24: "15 s", 22: "13 s", 21: "10 s", 20: "10 s", 18: "8 s",
    16: "6 s", 15: "6 s", 14: "5 s", 12: "4 s", 10: "3.2 s", 9: "3 s", 8: "2.5 s", 6: "2 s", 4: "1.6 s", 3: "1.5 s",
    2: "1.3 s", 0: "1 s", -2: "0.8 s", -3: "0.7 s", -4: "0.6 s", -6: "0.5 s", -8: "0.4 s", -9: "1/3", -10: "0.3 s",
    -12: "1/4", -14: "1/5", -15: "1/6", -16: "1/6", -18: "1/8", -20: "1/10", -21: "1/10", -22: "1/13", -24: "1/15",
    -26: "1/20", -27: "1/20", -28: "1/25", -30: "1/30", -32: "1/40", -33: "1/45", -34: "1/50", -36: "1/60",
    -38: "1/80", -39: "1/90", -40: "1/100", -42: "1/125", -44: "1/160", -45: "1/180", -46: "1/200", -48: "1/250",
    -50: "1/320", -51: "1/350", -52: "1/400", -54: "1/500", -56: "1/640", -57: "1/750", -58: "1/800", -60: "1/1000",
    -62: "1/1250", -63: "1/1500", -64: "1/1600", -66: "1/2000", -68: "1/2500", -69: "1/3000", -70: "1/3200",
    -72: "1/4000", -74: "1/5000", -75: "1/6000", -76: "1/6400", -78: "1/8000",
}  # fmt: skip

#: Nominal f-numbers by sixths of a stop (av6 = 12 log2 N). Source: the values engraved on lenses (ISO 517).
_F_NUMBER_NAMES = {
    -2: "f/0.9", 0: "f/1", 2: "f/1.1", 3: "f/1.2", 4: "f/1.2", 6: "f/1.4", 8: "f/1.6", 9: "f/1.7", 10: "f/1.8",
    12: "f/2", 14: "f/2.2", 15: "f/2.4", 16: "f/2.5", 18: "f/2.8", 20: "f/3.2", 21: "f/3.3", 22: "f/3.5",
    24: "f/4", 26: "f/4.5", 27: "f/4.8", 28: "f/5", 30: "f/5.6", 32: "f/6.3", 33: "f/6.7", 34: "f/7.1",
    36: "f/8", 38: "f/9", 39: "f/9.5", 40: "f/10", 42: "f/11", 44: "f/13", 45: "f/13", 46: "f/14", 48: "f/16",
    50: "f/18", 51: "f/19", 52: "f/20", 54: "f/22", 56: "f/25", 57: "f/27", 58: "f/29", 60: "f/32",
}  # fmt: skip

#: Speeds by sixths of a stop from ISO 100, up to where doubling alone names them. Source: ISO 12232, speeds in thirds;
#: the halves as cameras show them.
_ISO_NAMES = {
    -12: 25, -10: 32, -8: 40, -6: 50, -4: 64, -2: 80, 0: 100, 2: 125, 3: 140, 4: 160, 6: 200, 8: 250, 9: 280, 10: 320,
    12: 400, 14: 500, 15: 560, 16: 640, 18: 800, 20: 1000, 21: 1100, 22: 1250, 24: 1600, 26: 2000, 27: 2200, 28: 2500,
    30: 3200, 32: 4000, 33: 4500, 34: 5000, 36: 6400, 38: 8000, 39: 9000, 40: 10000, 42: 12800, 44: 16000, 45: 18000,
    46: 20000, 48: 25600, 50: 32000, 51: 36000, 52: 40000, 54: 51200, 56: 64000, 58: 80000, 60: 102400, 66: 204800,
    72: 409600,
}  # fmt: skip


@lru_cache(maxsize=KEPT)
def engraved_place(tv6: int) -> int:
    """The place on the engraved scale of the time at `tv6` sixths of a stop; its own beyond that scale.

    Args:
        tv6: sixths of a stop from 1 s, positive is longer. Places between the engraved ones take the nearer one,
            on a tie the one further from 1 s: 15 and 30 (and 1/15, 1/30 and 1/60) are engraved short of 16 and 32, and
            their own place is rounded towards 1 s.
    """
    near = min(_TIME_NAMES, key=lambda place: (abs(place - tv6), -abs(place)))
    return near if abs(near - tv6) <= 1 else tv6


@lru_cache(maxsize=KEPT)
def nominal_time_name(tv6: int) -> str:
    """The engraved name of the time at `tv6` sixths of a stop (tv6 = 6 log2(t / 1 s)), such as `1/125`.

    Args:
        tv6: sixths of a stop from 1 s, positive is longer; it has the name of its `engraved_place`.
    """
    if (place := engraved_place(tv6)) in _TIME_NAMES:
        return _TIME_NAMES[place]
    seconds = 2 ** (tv6 / 6)
    return f"{seconds:.0f} s" if seconds > 1 else f"1/{1 / seconds:.0f}"


@lru_cache(maxsize=KEPT)
def nominal_f_number_name(av6: int) -> str:
    """The engraved name of the aperture at `av6` sixths of a stop (av6 = 12 log2 N), such as `f/5.6`."""
    near = min(_F_NUMBER_NAMES, key=lambda place: (abs(place - av6), place))
    return _F_NUMBER_NAMES[near] if abs(near - av6) <= 1 else f"f/{2 ** (av6 / 12):.2g}"


@lru_cache(maxsize=KEPT)
def nominal_iso_name(sv6: int) -> str:
    """The name of the speed at `sv6` sixths of a stop (sv6 = 6 log2(ISO / 100)), such as `ISO 400`."""
    near = min(_ISO_NAMES, key=lambda place: (abs(place - sv6), place))
    return f"ISO {_ISO_NAMES[near] if abs(near - sv6) <= 1 else round(100 * 2 ** (sv6 / 6))}"


#: The engraved scales by quantity: names by sixths of a stop, and the exact value at zero and per whole stop.
_SCALES = {
    "exposure_time": (_TIME_NAMES, 2.0),
    "f_number": (_F_NUMBER_NAMES, 2.0**0.5),
    "iso": ({place: f"ISO {speed}" for place, speed in _ISO_NAMES.items()}, 2.0),
}


def scale_in_thirds(quantity: str) -> list[tuple[str, float]]:
    """The engraved scale in thirds of a stop: each name with the exact value that it stands for.

    Args:
        quantity: `exposure_time` [s], `f_number` [1] or `iso` [1].

    Returns:
        (name, exact value), from the smallest value to the largest: f/5.6 stands for 2^2.5, 1/60 for 1/64 s.

    Raises:
        KeyError: another quantity.

    Source: ISO 516 and ISO 517 for full stops, ISO 12232 for speeds; exact values by doubling.
    """
    names, per_stop = _SCALES[quantity]
    first = 100.0 if quantity == "iso" else 1.0
    return [(names[place], first * per_stop ** (place / 6)) for place in sorted(names) if place % 2 == 0]
