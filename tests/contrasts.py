"""How much two colours stand out from each other."""

from __future__ import annotations

from collections.abc import Sequence


def contrast(one: Sequence[int], other: Sequence[int]) -> float:
    """Contrast ratio of two colours, each red, green and blue from 0 to 255. Source: WCAG 2.2, relative luminance."""

    def luminance(colour: Sequence[int]) -> float:
        parts = [number / 255 for number in colour[:3]]
        linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
