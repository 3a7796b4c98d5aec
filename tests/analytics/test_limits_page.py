"""Limits as a photographer reads them: nominal values, what is lost beyond them, what would make them surer."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest

from analytics.dataset import OpenJournal
from analytics.dataset.share import judged_share
from analytics.pages.judged import Ground
from analytics.pages.judged import ground as ground_of
from analytics.pages.limit_words import axis_names, interval_name, limit_name, untold_sentences, value_name
from analytics.pages.limits import (
    LimitLine,
    beyond_limit,
    fastest_counted,
    limit_fits,
    limits_page,
    limits_sentence,
    lost_beyond,
)
from analytics.statistics.limits import KINDS, counts_of
from journal.notation import parse_exposure_time
from journal.optics.nominal import nominal_time_name

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def handheld(n_sessions: int = 12, limit: float = 1.0) -> pd.DataFrame:
    """Hand-held frames at 200 mm of a still subject: below the limit one in fifty is shaken, beyond it three in ten."""
    rows = []
    for session in range(n_sessions):
        for burst in range(10):
            stops = limit + (burst - 5) / 2
            for place in range(10):
                has_shake = place < 3 if stops > limit else (session + burst + place) % 50 == 0
                rows.append((session, 10 * session + burst, place, 2.0**stops / 200, has_shake))
    table = pd.DataFrame(rows, columns=["session", "burst", "position", "exposure_time_s", "fault_shake"])
    faults = {f"fault_{name}": False for name in ("exposure", "focus", "motion", "noise", "timing")}
    return table.assign(
        frame_id=np.arange(len(table)) + 1, day=table["session"].astype(float), f_number=4.0, iso=400.0,
        focal_length_mm=200.0, focal_length_35mm=200.0, body="M1", lens="long", support="hand-held", is_stabilised=0.0,
        used_flash=0.0, priority="depth", ev100=10.0, subject_pace="still", is_backlit=0.0, subject_distance_m=20.0,
        subject_depth_m=1.0, burst_number=table["burst"] % 10, session_bursts=10, burst_length=10,
        is_keeper=~table["fault_shake"], **faults,
    )  # fmt: skip


def ground(frames: pd.DataFrame, simulated: str | None = None) -> Ground:
    by_session = frames.groupby("session")["is_keeper"].agg(n_frames="size", n_keepers="sum")
    rows = by_session.assign(n_judged=by_session["n_frames"]).to_dict("records")
    return Ground(frames, judged_share(rows), simulated)


@pytest.mark.parametrize(
    ("kind", "stops", "name"),
    [
        ("hand-held", 0.0, "1/100"),
        ("hand-held", math.log2(100 / 20), "1/20"),
        ("freeze", -8.0, "1/250"),
        ("freeze", 1.0, "2 s"),
        ("iso", 6.0, "ISO 6400"),
        ("iso", 5.7, "ISO 5000"),
        ("iso", math.nan, "unknown"),
    ],
)
def test_a_limit_is_said_as_the_value_that_stands_on_a_camera(kind: str, stops: float, name: str) -> None:
    assert value_name(kind, stops) == name


@pytest.mark.parametrize(
    ("kind", "bound", "limit", "interval"),
    [
        ("hand-held", "both", "1/50 at 100 mm", "1/100 to 1/25"),
        ("hand-held", "at least", "1/100 or slower at 100 mm", "from 1/100"),
        ("hand-held", "at most", "1/25 or faster at 100 mm", "to 1/25"),
        ("iso", "at least", "ISO 100 or higher", "from ISO 100"),
        ("iso", "none", "unknown", ""),
    ],
)
def test_where_only_one_end_is_known_only_that_is_said(kind: str, bound: str, limit: str, interval: str) -> None:
    assert limit_name(kind, bound, (1.0, 0.0, 2.0)) == limit
    assert interval_name(kind, bound, 0.0, 2.0) == interval


def test_an_axis_names_every_whole_stop() -> None:
    assert axis_names("iso", 1.2, 3.1) == {1: "ISO 200", 2: "ISO 400", 3: "ISO 800", 4: "ISO 1600"}


def test_what_is_lost_beyond_a_limit_is_counted_at_it_and_slower() -> None:
    frames = handheld()
    speak = limit_fits(ground(frames)).speaking["hand-held"]
    found = beyond_limit(frames, speak, 0, 1.0, 0.95)
    assert found is not None
    # In each of 12 sessions a burst of 10 at the limit, none of them shaken, and four beyond it with 3 of 10.
    assert found.n_frames == 12 * 50
    assert found.n_faults == 12 * 4 * 3
    assert found.estimate == pytest.approx(found.n_faults / found.n_frames)
    assert found.low < found.estimate < found.high
    assert (found.focal_length_mm, found.focal_length_35mm) == (200, 200)
    assert found.n_sessions == 12 and found.is_enough
    assert beyond_limit(frames, speak, 1, 1.0, 0.95) is None


def test_what_is_said_of_a_limit_is_of_the_frames_that_its_curve_is_fitted_to(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        found = ground_of(journal)
    fits, page = limit_fits(found), limits_page(found)
    assert set(fits.curves) == set(KINDS)
    for line in page.lines:
        counts = counts_of(fits.curves[line.kind])
        mine = counts[counts["key"] == (line.name == "stabilised" if line.kind == "hand-held" else line.key)]
        beyond = mine[np.round(3 * mine["dose"]) >= round(3 * line.estimate)]
        said = (0, 0) if line.beyond is None else (line.beyond.n_frames, line.beyond.n_faults)
        assert said == (beyond["n_frames"].sum(), beyond["n_faults"].sum())
        assert mine["dose"].max() == pytest.approx(line.reach, abs=1 / 6)


def test_the_sentence_says_time_focal_length_and_what_is_lost() -> None:
    page = limits_page(ground(handheld()))
    (line,) = [line for line in page.lines if line.kind == "hand-held"]
    found = line.beyond
    assert found is not None
    assert page.sentence == (
        f"At {value_name('hand-held', line.estimate, 200)} and slower, hand-held at 200 mm, not stabilised, you lose "
        f"{100 * found.estimate:.0f} ({100 * found.low:.0f}–{100 * found.high:.0f}) of 100 frames to shake."
    )
    assert abs(line.estimate - 1.0) < 0.75
    assert line.interval == f"{value_name('hand-held', line.low)} to {value_name('hand-held', line.high)}"


def test_a_limit_that_was_never_reached_is_a_bound_and_says_what_to_try() -> None:
    frames = handheld()
    page = limits_page(ground(frames[frames["exposure_time_s"] < 1 / 200]))
    (line,) = [line for line in page.lines if line.kind == "hand-held"]
    assert (line.bound, line.shown.split(" or ")[1]) == ("at least", "slower at 100 mm")
    assert line.surer == (
        "Your slowest hand-held time, not stabilised, is not reached yet: no frame counted is "
        f"slower than {value_name('hand-held', line.reach)} at 100 mm; take some hand-held frames beyond it."
    )
    assert page.sentence.startswith("Where your limits are cannot be said yet.")


def test_a_wide_limit_says_how_many_sessions_would_make_it_sure() -> None:
    page = limits_page(ground(handheld(n_sessions=3)))
    (line,) = [line for line in page.lines if line.kind == "hand-held"]
    assert line.n_more is not None and line.n_more > 0
    assert line.surer.startswith(f"{line.n_more} more session")
    assert "near 1/" in line.surer
    assert line.surer.endswith(
        "at 100 mm would make your slowest hand-held time, not stabilised, sure to half a stop either way."
    )


@pytest.mark.parametrize(
    ("unknown", "said"),
    [
        (
            {"is_stabilised": np.nan},
            "thirdstop gear body MODEL --stabilised, or: thirdstop gear lens MODEL --stabilised; if neither is, say so "
            "of both, with --not-stabilised",
        ),
        ({"focal_length_35mm": np.nan}, "thirdstop gear body MODEL --sensor WIDTHxHEIGHT"),
        ({"support": None}, "thirdstop edit SESSION --support hand-held"),
        ({"subject_pace": None}, "thirdstop edit SESSION --pace walking"),
    ],
)
def test_frames_that_are_left_out_are_counted_with_the_way_to_bring_them_in(unknown: dict[str, Any], said: str) -> None:
    frames = handheld(4).assign(**unknown)
    (text,) = limits_page(ground(frames)).left_out
    assert text.startswith("400 ") and text.endswith(said)


@pytest.mark.parametrize(
    ("unknown", "one", "two"),
    [
        ({"is_stabilised": np.nan}, "1 hand-held frame is left out: ", "2 hand-held frames are left out: "),
        ({"focal_length_35mm": np.nan}, "1 hand-held frame is left out: ", "2 hand-held frames are left out: "),
        ({"support": None}, "1 frame says nothing about ", "2 frames say nothing about "),
        ({"subject_pace": None}, "1 frame says nothing about ", "2 frames say nothing about "),
    ],
)
def test_one_frame_that_is_left_out_is_told_in_the_singular(unknown: dict[str, Any], one: str, two: str) -> None:
    for n_frames, begins in ((1, one), (2, two)):
        (text,) = limits_page(ground(handheld(1)[:n_frames].assign(**unknown))).left_out
        assert text.startswith(begins)


def test_nothing_judged_is_said_with_the_next_step() -> None:
    unjudged = Ground(handheld()[:0], judged_share([{"n_frames": 40, "n_judged": 0, "n_keepers": 0}]), None)
    assert limits_page(unjudged).sentence == "None of the 40 frames is judged yet. Next: thirdstop judge"
    empty = Ground(handheld()[:0], judged_share([]), None)
    assert limits_page(empty).sentence == "No session has a frame yet. Next: thirdstop import CARD"


@pytest.fixture
def line() -> Callable[..., LimitLine]:
    page = limits_page(ground(handheld()))
    (found,) = [line for line in page.lines if line.kind == "hand-held"]

    def changed(**values: Any) -> LimitLine:
        return LimitLine(**{name: getattr(found, name) for name in found.__slots__} | values)

    return changed


def test_the_sure_limit_that_most_frames_were_lost_beyond_is_told_first(line: Callable[..., LimitLine]) -> None:
    sure, other = line(name="stabilised"), line(is_enough=False)
    assert "stabilised, you lose" in limits_sentence([other, sure])
    assert limits_sentence([other]).endswith("Judge more sessions, and name every fault that you see.")
    left_out = ["200 hand-held frames are left out: nobody said how. Say it with: thirdstop gear", "1 frame"]
    assert limits_sentence([other], left_out).endswith(" 200 hand-held frames are left out: nobody said how.")
    assert lost_beyond(line(beyond=None)) == (
        "No frame counted is slower than 1/13 at 100 mm, so how much slower it may be is not known"
    )


def test_few_frames_beyond_a_limit_say_nothing_of_what_is_lost(line: Callable[..., LimitLine]) -> None:
    beyond = line().beyond
    assert beyond is not None
    few = line(beyond=replace(beyond, n_frames=5, n_sessions=2, n_faults=0, is_enough=False))
    assert lost_beyond(few).endswith(
        "there are too few frames to say how many you lose to shake: 5 frames in 2 sessions"
    )
    assert few.lost_beyond == "too few" and line(beyond=None).lost_beyond == "–"
    assert "cannot be said yet" in limits_sentence([few])


def test_a_focal_length_that_is_no_35_mm_equivalent_says_so(line: Callable[..., LimitLine]) -> None:
    beyond = line().beyond
    assert beyond is not None
    small = replace(beyond, focal_length_mm=400.0, focal_length_35mm=600.0)
    assert "hand-held at 400 mm (600 mm equivalent), not stabilised" in lost_beyond(line(beyond=small))
    mixed = replace(small, is_of_one=False)
    assert lost_beyond(line(beyond=mixed)).startswith(
        "At 1/40 and slower, hand-held at 100 mm and in proportion at other lengths, not stabilised, you lose"
    )
    unknown = replace(beyond, focal_length_mm=math.nan, focal_length_35mm=600.0)
    assert "hand-held at 600 mm equivalent, not stabilised" in lost_beyond(line(beyond=unknown))


def test_a_body_of_few_frames_is_named_and_has_no_limit() -> None:
    frames = handheld()
    other = frames[1:4].assign(
        frame_id=[9001, 9002, 9003], body=["E1", "E2,E3", "E4"], session=40, burst=[900, 901, 902]
    )
    page = limits_page(ground(pd.concat([frames, other], ignore_index=True)))
    few = [line for line in page.lines if line.kind == "iso" and not line.is_told]
    assert [(line.name, line.shown, line.interval, line.surer) for line in few] == [
        (name, "unknown", "", "") for name in ("E1", "E2,E3", "E4")
    ]
    assert not any(line.is_enough for line in few)
    assert page.untold[-1] == (
        "Too few frames yet that would show noise, so a highest ISO cannot be told: E1; E2,E3; E4 (1 frame each). "
        "Frames of 3 sessions are needed."
    )


def test_a_limit_far_from_all_frames_is_not_told() -> None:
    page = limits_page(ground(handheld()))
    assert "freeze" not in {line.kind for line in page.told}
    assert (
        "No frame comes near a slowest freezing time yet: still subjects (of 599 frames that would show subject motion "
        "none is slower than 1/125)."
    ) in page.untold


def test_limits_that_are_not_told_are_counted_each_or_together() -> None:
    lines = [("not stabilised", 40, 1, "1/60"), ("stabilised", 7, 2, "1/60")]
    assert untold_sentences("hand-held", lines, 3) == [
        "Too few frames yet that would show shake, so a slowest hand-held time cannot be told: not stabilised "
        "(40 frames in 1 session), stabilised (7 frames in 2 sessions). Frames of 3 sessions are needed."
    ]
    assert untold_sentences("iso", [], 3) == []


def test_of_many_bodies_without_a_limit_those_with_most_frames_are_named() -> None:
    few = [(f"E{number}", number, 1, "ISO 400") for number in range(1, 7)]
    assert untold_sentences("iso", few, 3)[0].split(": ")[1] == (
        "E4 (4 frames in 1 session), E5 (5 frames in 1 session), E6 (6 frames in 1 session) and 3 more. Frames of 3 "
        "sessions are needed."
    )
    assert untold_sentences("iso", few[:4], 3)[0].count("E") == 4
    assert (
        "E1, E2, E3 and 3 more (1 frame each)"
        in untold_sentences("iso", [(name, 1, 1, reach) for name, _, _, reach in few], 3)[0]
    )
    safe = untold_sentences("iso", [(name, n_frames, 3, reach) for name, n_frames, _, reach in few], 3)[0]
    assert safe.count("none is higher than") == 3
    assert safe.endswith(" and 3 more.")


@pytest.mark.parametrize("focal_length", [14, 35, 54, 85, 100, 200, 307, 600])
def test_the_time_of_a_limit_at_a_focal_length_is_the_fastest_that_counts(focal_length: int) -> None:
    """A frame at 1/6 with 35 mm is lost at a limit of 1/15 at 100 mm, so no picture is faster than the sentence."""
    times = [parse_exposure_time(nominal_time_name(2 * third)) for third in range(-36, 15)]
    for limit in np.arange(-2.0, 5.0, 0.05):
        counted = [time for time in times if round(3 * math.log2(time * focal_length)) >= round(3 * limit)]
        assert parse_exposure_time(fastest_counted(float(limit), focal_length)) == min(counted)
