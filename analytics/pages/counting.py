"""Keepers counted from what was chosen in the bursts: by any setting or two, under any filter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.dataset.choices import UNKNOWN_KEY
from analytics.dataset.choosing import shown
from analytics.dataset.scales import SCALES, label_of, span_of
from analytics.pages.keepers import KeeperLine
from analytics.statistics.rates import Clusters, burst_correlations, group_rates
from journal.errors import JournalError
from journal.notation import with_minus

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.dataset.choices import Choices
    from analytics.dataset.choosing import Filter

    Integers = NDArray[np.signedinteger[Any]]
    Key = int | str | None

#: Lenses or bodies that a message names.
GEAR_NAMED = 12
#: Filters whose rows are kept: a page counts with a few, and a list is turned over page by page.
FILTERS_KEPT = 12


class Counting:
    """A journal's choices, ready to be counted. The correlations are of all its judged frames, whatever is chosen."""

    def __init__(self, choices: Choices) -> None:
        self.choices = choices
        self._is_judged = choices.n_judged > 0
        self._counts = choices.n_judged.astype(np.float64), choices.n_keepers.astype(np.float64)
        self._rho = burst_correlations(self._clusters(np.flatnonzero(self._is_judged)))
        self._groups: dict[str, tuple[Integers, list[Key]]] = {}
        self._has_unknown: dict[str, bool] = {}
        self._judged_keys: dict[str, list[Key]] = {}
        self._places: dict[Filter, Integers] = {}

    def groups(self, setting: str) -> tuple[Integers, list[Key]]:
        """The line of each row by a setting, and the key of each line in the order of its scale, unknown last."""
        if setting not in self._groups:
            self._groups[setting] = self._grouped(setting)
        return self._groups[setting]

    def keys_of(self, setting: str) -> list[Key]:
        """The keys of a setting that the journal has, in the order of its scale; `None`, the last, where some frame's
        setting is unknown."""
        codes, keys = self.groups(setting)
        if setting not in self._has_unknown:
            self._has_unknown[setting] = bool((codes == len(keys) - 1).any())
        return keys if self._has_unknown[setting] else keys[:-1]

    def judged_keys_of(self, setting: str) -> list[Key]:
        """Those of these keys that some judged frame has: any filter may leave lines for them."""
        if setting not in self._judged_keys:
            codes, keys = self.groups(setting)
            has = np.bincount(codes[self._is_judged], minlength=len(keys)) > 0
            self._judged_keys[setting] = [key for key, is_judged in zip(keys, has, strict=True) if is_judged]
        return self._judged_keys[setting]

    def label(self, setting: str, key: Key) -> str:
        """What the reader sees of a key; gear that is called "unknown" is told from gear that is not known."""
        label = key_label(setting, key)
        if label is None:
            return "unknown"
        if isinstance(key, int):
            return with_minus(label)
        return f"“{label}”" if label.strip() in ("", "unknown") else label

    def lines(self, settings: Sequence[str], chosen: Filter, level: float = 0.95) -> list[KeeperLine]:
        """Keeper lines of the frames that the filter means, by one setting or by two crossed."""
        meant = self.meant(chosen)
        grouped = [self.groups(setting) for setting in settings]
        group = grouped[0][0][meant]
        for codes, keys in grouped[1:]:
            group = group * len(keys) + codes[meant]
        rates = group_rates(self._clusters(meant), group, self._rho, level)
        lines = []
        for number, rate in zip(rates.index.tolist(), rates.to_dict("records"), strict=True):
            places = []
            for _, keys in reversed(grouped):
                number, place = divmod(number, len(keys))
                places.append(keys[place])
            keyed = tuple(reversed(places))
            labels = tuple(key_label(setting, key) for setting, key in zip(settings, keyed, strict=True))
            lines.append(KeeperLine(labels=labels, sort_range=None, keys=keyed, **{str(k): v for k, v in rate.items()}))
        return lines

    def whole(self, chosen: Filter, level: float = 0.95) -> KeeperLine | None:
        """All frames that the filter means, as one line; `None` where none is judged."""
        meant = self.meant(chosen)
        if not len(meant):
            return None
        nothing = np.zeros(len(meant), dtype=np.int64)
        rate = group_rates(self._clusters(meant), nothing, self._rho, level).to_dict("records")[0]
        return KeeperLine(labels=(), sort_range=None, **{str(name): value for name, value in rate.items()})

    def refuse_unknown_gear(self, chosen: Filter) -> None:
        """Says so where the journal knows no such lens or body, instead of finding no frame.

        Raises:
            JournalError: it knows none.
        """
        for condition in chosen.conditions:
            words = self.choices.words.get(condition.setting, [])
            if condition.word is not None and condition.word not in words:
                known = ", ".join(words[:GEAR_NAMED]) or "none yet"
                raise JournalError(
                    f"There is no {condition.setting} {shown(condition.word)} in this journal.", f"Known: {known}."
                )

    def n_unjudged(self, chosen: Filter) -> int:
        """Unjudged frames that the filter means."""
        meant = self.choices.mask(chosen)
        return int((self.choices.n_frames[meant] - self.choices.n_judged[meant]).sum())

    def meant(self, chosen: Filter) -> Integers:
        """The rows with judged frames that the filter means, in their order; those of the last filters are kept."""
        if chosen not in self._places:
            if len(self._places) >= FILTERS_KEPT:
                del self._places[next(iter(self._places))]
            self._places[chosen] = np.flatnonzero(self._is_judged & self.choices.mask(chosen))
        return self._places[chosen]

    def _clusters(self, meant: Integers) -> Clusters:
        n_judged, n_keepers = self._counts
        return Clusters(self.choices.session[meant], self.choices.burst[meant], n_judged[meant], n_keepers[meant])

    def _grouped(self, setting: str) -> tuple[Integers, list[Key]]:
        stored = self.choices.columns[setting]
        known = self.choices.keys(setting)
        firsts = {key: span_of(setting, key)[0] if setting in SCALES else key for key in known}
        lines = sorted(set(firsts.values()))
        place = {first: number for number, first in enumerate(lines)}
        codes = np.array([*(place[firsts[key]] for key in known), len(lines)], dtype=np.int64)
        at = np.where(stored == UNKNOWN_KEY, len(known), np.searchsorted(known, stored) if known else 0)
        words = self.choices.words.get(setting)
        keys: list[Key] = [*(lines if words is None else (words[line] for line in lines)), None]
        return codes[at].astype(np.int32), keys


def key_label(setting: str, key: Key) -> str | None:
    """What the reader sees; `None` where nobody wrote it down."""
    return label_of(setting, key) if isinstance(key, int) else key
