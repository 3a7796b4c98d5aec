"""How far edges spread, as the evidence says it."""

from __future__ import annotations

import math

import pytest

from analytics.pixels.evidence import spread_words
from analytics.pixels.spread import Blur


def blur(along: float, across: float, spread: float = 1.0) -> Blur:
    return Blur(spread, along, across, math.radians(28), 500.0)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (blur(2.0, 1.2), "spread 2.0 px along 28°, 1.2 px across it"),
        (blur(2.0, 0.0), "spread 2.0 px along 28°, < 0.5 px across it"),
        (blur(2.0, -0.8), "spread 2.0 px along 28°, < 0.5 px across it"),
        (blur(1.2, 1.1), "spread 1.2 px, alike in all directions"),
        (blur(0.4, -0.2), "are as sharp as pixels can show"),
        (blur(math.nan, math.nan, -0.3), "spread < 0.5 px"),
        (blur(math.nan, math.nan, math.nan), "are too few to measure"),
    ],
)
def test_no_edge_is_said_to_spread_by_nought(told: Blur, said: str) -> None:
    assert spread_words(told) == said
