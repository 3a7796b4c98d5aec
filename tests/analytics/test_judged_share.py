"""How much is judged, and when judging looks selective."""

from __future__ import annotations

from typing import TYPE_CHECKING

from journals import small_journal

from analytics.dataset import OpenJournal
from analytics.dataset.share import JudgedShare, judged_share

if TYPE_CHECKING:
    from pathlib import Path


def share(*sessions: tuple[int, int, int], n_outside: int = 0) -> JudgedShare:
    """Sessions as (frames, judged, keepers)."""
    rows = [dict(zip(("n_frames", "n_judged", "n_keepers"), row, strict=True)) for row in sessions]
    return judged_share(rows, n_outside)


def test_the_share_is_said_and_frames_of_no_session_are_named() -> None:
    assert share((80, 80, 20), (40, 40, 10)).sentence == "All 120 frames are judged."
    assert share((80, 80, 20), (40, 10, 2), n_outside=7).sentence == (
        "90 of 120 frames are judged, 75 of 100. 7 frames of no session are left out."
    )
    assert share().sentence == "No session has a frame yet."


def test_nearly_all_is_not_all_and_hardly_any_is_not_none() -> None:
    assert share((1000, 999, 20)).sentence == "999 of 1,000 frames are judged, 99 of 100."
    assert share((1000, 1, 1)).sentence == "1 of 1,000 frames are judged, 1 of 100."
    assert share((1000, 0, 0)).sentence == "0 of 1,000 frames are judged, 0 of 100."


def test_a_journal_judged_throughout_looks_honest(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal")) as journal:
        found = journal.judged_share()
    assert (found.n_frames, found.n_judged, found.n_keepers, found.n_partly) == (44, 40, 20, 4)
    assert (found.is_selective, found.warning, found.share) == (False, "", 40 / 44)


def test_sessions_with_judged_keepers_only_are_warned_of() -> None:
    found = share((80, 80, 20), (80, 30, 30), (60, 20, 20))
    assert (found.n_only_keepers, found.n_only_rejects) == (2, 0)
    assert found.warning == (
        "Judging looks selective: in 2 of 3 judged sessions only keepers are judged, so everything seems better than "
        "it is. Judge the rejects of these sessions too."
    )


def test_sessions_with_judged_rejects_only_are_warned_of() -> None:
    assert "only rejects are judged, so everything seems worse" in share((80, 80, 20), (80, 30, 0)).warning


def test_a_journal_of_keepers_alone_is_warned_of() -> None:
    assert share((30, 30, 30)).warning.startswith("Every judged frame is a keeper")


def test_a_few_judged_frames_of_one_kind_are_no_pattern() -> None:
    assert not share((80, 80, 20), (80, 3, 3)).is_selective


def test_sessions_judged_in_part_that_keep_far_more_are_warned_of() -> None:
    whole, partly = [(80, 80, 20)] * 4, [(80, 40, 30)] * 3
    assert "you keep 75 of 100 judged frames in sessions that are judged in part, 25 in the others" in (
        share(*whole, *partly).warning
    )
    assert not share(*whole, *[(80, 40, 12)] * 3).is_selective


def test_skipped_sessions_are_warned_of_and_the_newest_and_oldest_only_wait() -> None:
    judged, skipped = [(80, 80, 20)] * 4, [(80, 0, 0)] * 3
    found = share(*judged[:2], *skipped, *judged[2:])
    assert "240 of 240 unjudged frames are 3 whole sessions between judged ones" in found.warning
    assert not share(*judged, *skipped).is_selective
    assert not share(*skipped, *judged).is_selective
