"""The sentence for frames that no choice of settings would have saved."""

from __future__ import annotations

import math

from analytics.pages.shortage import light_sentence
from analytics.statistics.results import Shortage


def found(share_by_hands: float, is_enough: bool = True) -> Shortage:
    return Shortage(180, 20, 4, 1.2, 0.6, 2.04, 0.31, 0.2, 0.45, share_by_hands, is_enough)


def test_where_hands_limit_the_time_support_is_what_is_missing() -> None:
    assert light_sentence(found(0.9)) == (
        "It is the light, not you, in 180 frames: at all your limits together 1.2 stops (0.6 to 2.0 for the middle "
        "half) were missing, and you kept 31 (20–45) of 100. Mostly your hands limit the time, so a monopod or tripod "
        "would give most of it."
    )


def test_where_the_subject_limits_the_time_only_light_helps() -> None:
    assert light_sentence(found(0.1)).endswith(
        "Mostly the subject limits the time, so only more light or a wider lens would give it."
    )


def test_a_few_dark_frames_are_not_enough() -> None:
    assert light_sentence(found(0.1, is_enough=False)) == (
        "In 4 sessions the light was at times beyond your limits; that is not enough yet to say more."
    )


def test_where_light_was_never_missing_nothing_is_said() -> None:
    assert light_sentence(None) == ""
    assert math.isnan(Shortage.none().stops)
