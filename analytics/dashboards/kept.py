"""Pages that are kept until somebody writes: the latest that were asked for, and what was written of them.

What is kept is the photographer's: a mentor's page is made of the same facts, but written anew each time.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

T = TypeVar("T")


@dataclass(slots=True)
class Kept(Generic[T]):
    """A page, and what was written of it: each text by all that it depends on beside the page."""

    page: T
    texts: dict[Hashable, str] = field(default_factory=dict)


class Latest(Generic[T]):
    """The pages that were asked for last, all of one state of the journal; for one thread."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._state: object = None
        self._kept: OrderedDict[Hashable, Kept[T]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._kept)

    def page(self, state: object, place: Hashable, made: Callable[[], T]) -> Kept[T]:
        """The page of this place, made where there is none of this state.

        Args:
            state: all that pages are made of, as it is now; pages of another state are forgotten.
            place: which page.
            made: makes it; an error keeps nothing.
        """
        if state != self._state:
            self._kept.clear()
            self._state = state
        if place not in self._kept:
            self._kept[place] = Kept(made())
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
        self._kept.move_to_end(place)
        return self._kept[place]
