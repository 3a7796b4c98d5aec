"""The light of each frame, as an exposure value at ISO 100; pure arithmetic.

The light cannot be read from the settings of one frame: a frame that was exposed wrongly has settings for another light
than it had. So what the photographer stated comes first. One number for a session says nothing about how the light
went up at dawn, or down at dusk; that is taken from the settings, smoothed over neighbouring bursts and only as far as
the bursts change together. Where nobody stated the light, the settings of the whole session stand in for it, each
frame set right by the exposure fault that was recorded. A habit of all frames of such a session (a stop under,
throughout) is then in the light and cannot be seen; `is_light_stated` in the frames table tells the two apart.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

#: How far the settings of a frame that was rejected as over- or underexposed are taken to be from the light [stops].
#: Source: negative and sensor latitude; a stop is where a judge begins to see it.
FAULT_STOPS = 1.0
#: Kinds of light that fool a meter and an eye, by the words that say so: snow is brighter than grey, night and stage
#: are darker.
LIGHT_KINDS = {
    "snow": re.compile(r"\b(snow\w*|hoar\w*)\b", re.I),
    "night": re.compile(r"\b(night|moonlight|moonlit|starlight|stars|street ?lamps?|street ?lights?)\b", re.I),
    "stage": re.compile(r"\b(stage|spotlights?|footlights?|limelight)\b", re.I),
}
#: A running mean takes this many bursts before and after its own.
NEIGHBOURS = 4


def light_ev100(bursts: tuple[Integers, Integers], settings_ev100: Floats, stated: Floats) -> Floats:
    """The light that each frame was taken in, EV at ISO 100.

    Args:
        bursts: (session, burst) of each frame, shape (n,); bursts of a session are numbered in the order of time.
        settings_ev100: EV at ISO 100 of the settings, set right by recorded exposure faults; NaN where the settings are
            unknown or a flash lit the frame, shape (n,).
        stated: the light stated for the session of each frame; NaN where nobody did, shape (n,).

    Returns:
        Shape (n,): the session's level (stated, or the mean of its bursts) plus the drift of its bursts; NaN where
        neither is known. Bursts at EV 8, 9, ..., 16 in a session stated as EV 12 lie within a stop of their own values.

    Source: James and Stein 1961 for how much of the drift is believed; von Neumann 1941 for the noise, from successive
    differences.
    """
    session, burst = bursts
    _, first, number = np.unique(np.stack([session, burst]), axis=1, return_index=True, return_inverse=True)
    number = number.reshape(-1)
    of_burst = _mean_by(number, settings_ev100, len(first))
    owner = np.unique(session[first], return_inverse=True)[1]
    known = np.isfinite(of_burst)
    drift = np.zeros(len(first))
    drift[known] = _drift(owner[known], of_burst[known])
    level = _mean_by(owner, of_burst, int(owner.max(initial=-1)) + 1)
    settings_level = (level[owner] + drift)[number]
    return np.where(np.isfinite(stated), stated + drift[number], settings_level)


def light_kind(words: str) -> str | None:
    """The kind of light that these words name first: "village green in fresh snow" is snow; `None` for any other."""
    found = {kind: match.start() for kind, pattern in LIGHT_KINDS.items() if (match := pattern.search(words))}
    return min(found, key=lambda kind: found[kind]) if found else None


def _mean_by(group: Integers, values: Floats, size: int) -> Floats:
    """Mean of the known values of each group; NaN where none is known."""
    known = np.isfinite(values)
    total = np.bincount(group[known], values[known], size)
    with np.errstate(invalid="ignore"):
        return np.asarray(total / np.bincount(group[known], minlength=size), dtype=np.float64)


def _drift(owner: Integers, values: Floats) -> Floats:
    """How far each burst's light is from its session's mean; `owner` is sorted, `values` are in the order of time."""
    n = len(values)
    if not n:
        return values
    groups, start, count = np.unique(owner, return_index=True, return_counts=True)
    place = np.repeat(np.arange(len(groups)), count)
    total = np.concatenate([[0.0], np.cumsum(values)])
    low = np.maximum(np.arange(n) - NEIGHBOURS, start[place])
    high = np.minimum(np.arange(n) + NEIGHBOURS + 1, (start + count)[place])
    mean = np.bincount(place, values) / count
    smooth = (total[high] - total[low]) / (high - low) - mean[place]
    same = place[1:] == place[:-1]
    steps = np.bincount(place[1:][same], (np.diff(values)[same]) ** 2, len(groups))
    noise = steps / (2 * np.maximum(count - 1, 1))
    by_chance = noise * np.bincount(place, 1 / (high - low)) / count
    with np.errstate(divide="ignore", invalid="ignore"):
        believed = 1 - by_chance / (np.bincount(place, smooth**2) / count)
    share = np.where(np.isfinite(believed), np.clip(believed, 0, 1), 0.0)
    return np.asarray(share[place] * smooth, dtype=np.float64)
