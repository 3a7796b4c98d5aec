"""What a published page is made of: data that a template turns into HTML, escaping every string."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within a page; `key` makes it a place that a link can lead to."""

    kind: ClassVar[str] = "heading"
    text: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `is_aside` is for what would make a finding surer and what it stands on."""

    kind: ClassVar[str] = "text"
    text: str
    is_aside: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart with its text alternative."""

    kind: ClassVar[str] = "chart"
    spec: dict[str, Any]
    said: str


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text. `numbers` are the columns aligned right; `links` leads from the first cell of each row."""

    kind: ClassVar[str] = "table"
    caption: str
    columns: Sequence[str]
    rows: Sequence[Sequence[object]]
    numbers: frozenset[int] = frozenset()
    grey: Sequence[bool] = ()
    links: Sequence[str] = ()
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Pictures:
    """Frames by their numbers, drawn as cards from the table of frames."""

    kind: ClassVar[str] = "pictures"
    caption: str
    numbers: Sequence[int]


@dataclass(frozen=True, slots=True)
class Say:
    """A place where a mentor may comment; only a review shows it."""

    kind: ClassVar[str] = "say"
    about: str
    key: str
    label: str


Block = Heading | Text | Chart | Table | Pictures | Say


@dataclass(frozen=True, slots=True)
class Page:
    """One page: the word that stands for it in the list of pages, the sentence it begins with, its blocks."""

    key: str
    name: str
    title: str
    blocks: list[Block] = field(default_factory=list)

    def frames(self) -> list[int]:
        """The frames that this page shows, in its order."""
        return [number for block in self.blocks if isinstance(block, Pictures) for number in block.numbers]

    @property
    def has_commands(self) -> bool:
        """Whether a sentence of it ends in a command, which is the photographer's to run."""
        texts = [block.text for block in self.blocks if isinstance(block, Text)]
        return any(": thirdstop " in text for text in [self.title, *texts])
