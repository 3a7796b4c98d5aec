"""The drawings on the page of a frame: places that can be checked in the head, upright maps, and the same in words."""

from __future__ import annotations

import asyncio
import itertools
import json
import math
from pathlib import Path

import httpx
import pytest
from journals import small_journal
from visiting import plain

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.answering import PAGE_POLICY
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.explaining.explanation import Depth
from analytics.pages.frame_look import DepthFigure, MapFigure, depth_figure, map_figure
from journal.store.opening import open_journal


def depth(near: float | None, far: float, at: float, thick: float | None = None) -> Depth:
    inside = None if thick is None or near is None else near <= at - thick / 2 and at + thick / 2 <= far
    return Depth(near, far, at, "stated", thick, None, inside, "")


def drawn(near: float, far: float, at: float, thick: float | None = None) -> DepthFigure:
    figure = depth_figure(depth(near, far, at, thick))
    assert figure is not None
    return figure


def test_near_focus_and_far_stand_in_order_and_equal_ratios_are_equal_lengths() -> None:
    figure = drawn(4, 9, 6)
    assert 0 < figure.near < figure.focus < figure.far < 1
    assert figure.focus - figure.near == pytest.approx(figure.far - figure.focus)  # 6/4 = 9/6
    assert figure.words == "Sharp from 4 m to 9 m, focused at 6 m."
    assert labels(figure) == ["4 m", "9 m", "5 m"]


def labels(figure: DepthFigure) -> list[str]:
    return [tick.label for tick in figure.ticks]


@pytest.mark.parametrize(
    ("near", "far", "at", "thick"), [(49.9, 50.1, 50, None), (4, 9, 6, 1), (0.9, 1.1, 1, 4), (2.99, 3.01, 3, 0.5)]
)
def test_what_is_sharp_takes_about_a_tenth_of_the_width_and_both_its_ends_are_written(
    near: float, far: float, at: float, thick: float | None
) -> None:
    figure = drawn(near, far, at, thick)
    assert figure.far - figure.near > 0.09
    assert labels(figure)[:2] == [f"{near:g} m", f"{far:g} m"]
    assert [tick.place for tick in figure.ticks[:2]] == [figure.near, figure.far]
    assert [tick.anchor for tick in figure.ticks[:2]] == ["end", "start"]
    assert 0.14 < figure.near < figure.focus < figure.far < 0.86


def test_no_two_distances_are_written_over_each_other() -> None:
    for figure in (drawn(4, 90, 8), drawn(10, math.inf, 20), drawn(0.9, 1.1, 1, 4), drawn(1.5, 60, 3, 1)):
        shift = {"end": -0.13, "middle": -0.065, "start": 0.0}
        starts = sorted(tick.place + shift[tick.anchor] for tick in figure.ticks)
        assert starts[0] >= 0 and starts[-1] + 0.13 <= 1
        assert all(after - before >= 0.13 for before, after in itertools.pairwise(starts)), figure.ticks


def test_a_subject_is_drawn_with_both_edges_and_said_to_fit_or_not() -> None:
    fits, sticks_out = drawn(4, 9, 6, 1), drawn(5.9, 6.1, 6, 1)
    assert fits.subject is not None and sticks_out.subject is not None
    assert fits.near < fits.subject[0] < fits.subject[1] < fits.far
    assert 0 < sticks_out.subject[0] < sticks_out.near and sticks_out.far < sticks_out.subject[1] < 1
    assert fits.words.endswith("the subject is 1 m deep and fits.")
    assert sticks_out.words.endswith("the subject is 1 m deep and does not fit.")


def test_infinity_is_the_right_edge() -> None:
    figure = drawn(10, math.inf, 20)
    assert (figure.far, figure.is_open) == (1.0, True)
    assert 0 < figure.near < figure.focus < 1
    assert drawn(10, math.inf, math.inf).focus == 1.0
    assert "to infinity" in figure.words


def test_a_far_limit_far_beyond_the_rest_runs_on_but_is_said() -> None:
    figure = drawn(29.8, 149_000, 59.6)
    assert (figure.far, figure.is_open) == (1.0, True)
    assert figure.words == "Sharp from 29.8 m to about infinity, focused at 59.6 m."
    assert 0.05 < figure.near < figure.focus < 0.9


def test_a_subject_far_deeper_than_what_is_sharp_runs_out_of_the_drawing() -> None:
    figure = drawn(0.9, 1.1, 1, 4)
    assert figure.subject is not None and figure.subject[0] < 0 and figure.subject[1] > 1


def test_unknown_limits_are_not_drawn() -> None:
    assert depth_figure(depth(None, 9, 6)) is None


def spread(*rows: list[float | None]) -> str:
    return json.dumps({"map": {"spread_px": list(rows)}})


def numbers(measures: str, orientation: int | None = None) -> list[list[str]]:
    figure = map_figure(measures, orientation)
    assert figure is not None
    return [[words for _, words in row] for row in figure.rows]


def test_the_map_says_where_it_is_sharpest_and_softest() -> None:
    figure = map_figure(spread([0.4, 3.0], [None, 9.0]), None)
    assert figure is not None
    assert figure.rows == (((0, "< 0.5"), (2, "3.0")), ((None, "unknown"), (4, "9.0")))
    assert figure.words == (
        "How far edges spread, by place, in 2 rows and 2 columns: least < 0.5 px in row 1, column 1; "
        "most 9.0 px in row 2, column 2."
    )
    assert figure.key == [(0, "up to 1 px"), (1, "1 to 2 px"), (2, "2 to 4 px"), (3, "4 to 8 px"), (4, "over 8 px")]
    assert (map_figure(None, 1), map_figure("{}", 1), map_figure(spread([None]), 1)) == (None, None, None)


def smeared(orientation: int | None) -> MapFigure:
    """Two rows of three places; the first place is smeared 30° clockwise from level, the last is sharp."""
    cells = {
        "spread_px": [[0.6, 0.9, None], [2.5, 2.0, 0.3]],
        "along_px": [[3.0, 1.2, None], [2.6, 2.4, 0.4]],
        "across_px": [[0.5, 0.8, None], [2.4, 1.9, 0.3]],
        "direction_deg": [[30.0, 80.0, None], [10.0, 20.0, 0.0]],
    }
    figure = map_figure(json.dumps({"map": cells}), orientation)
    assert figure is not None
    return figure


def test_a_place_that_is_smeared_is_told_along_its_smear_with_a_stroke_that_turns_with_the_picture() -> None:
    stored, mirrored, turned = smeared(1), smeared(2), smeared(6)
    assert [[words for _, words in row] for row in stored.rows] == [["3.0", "0.9", "unknown"], ["2.5", "2.0", "< 0.5"]]
    assert stored.words.endswith(" Softer along one way than across it: 1 place, told along it.")
    angles = {
        name: (y, x, round(math.degrees(math.atan2(down, right))) % 180)
        for name, figure in (("stored", stored), ("mirrored", mirrored), ("turned", turned))
        for y, x, right, down in figure.strokes
    }
    assert angles == {"stored": (0, 0, 30), "mirrored": (0, 2, 150), "turned": (0, 1, 120)}


def test_places_that_are_as_sharp_as_each_other_are_counted_and_none_of_them_is_named() -> None:
    figure = map_figure(spread([-0.9, 0.0], [0.3, 9.0], [9.01, 2.0]), None)
    assert figure is not None
    assert figure.words.endswith("least < 0.5 px in 3 places; most 9.0 px in 2 places.")


@pytest.mark.parametrize(
    ("orientation", "rows"),
    [
        (1, [["1.0", "2.0"], ["3.0", "4.0"]]),
        (2, [["2.0", "1.0"], ["4.0", "3.0"]]),
        (3, [["4.0", "3.0"], ["2.0", "1.0"]]),
        (4, [["3.0", "4.0"], ["1.0", "2.0"]]),
        (5, [["1.0", "3.0"], ["2.0", "4.0"]]),
        (6, [["3.0", "1.0"], ["4.0", "2.0"]]),
        (7, [["4.0", "2.0"], ["3.0", "1.0"]]),
        (8, [["2.0", "4.0"], ["1.0", "3.0"]]),
    ],
)
def test_the_map_stands_as_the_picture_does(orientation: int, rows: list[list[str]]) -> None:
    """Exif: 5 is the transpose, 6 turns to the right, 7 is the transverse, 8 turns to the left."""
    assert numbers(spread([1.0, 2.0], [3.0, 4.0]), orientation) == rows


def test_the_frame_page_draws_under_the_strict_policy(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "test.journal", 1)
    connection = open_journal(path)
    connection.execute("update bodies set sensor_width_mm = 36, sensor_height_mm = 24")
    connection.execute("update sessions set subject_distance_m = 5, subject_depth_m = 0.5")
    connection.execute(
        "insert into files (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key) "
        "values (8, '/gone/a.jpg', 'a.jpg', 'jpeg', 1, 1, 'k'), (1, '/gone/b.jpg', 'b.jpg', 'jpeg', 1, 1, 'k')"
    )
    connection.execute(
        "insert into measurements values (8, 1, 'picture', 'k', '2026-03-01T00:00:00Z', ?)", [spread([1.5, 2.5])]
    )
    connection.execute("insert into measurements select 1, 1, 'picture', 'k', measured_at, measures from measurements")
    connection.close()
    keys = Keys()

    async def ask(pages: object, place: str) -> httpx.Response:
        transport = httpx.ASGITransport(app=pages)  # type: ignore[arg-type]
        cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie}
        home = f"http://127.0.0.1:{DEFAULT_PORT}"
        async with httpx.AsyncClient(transport=transport, base_url=home, cookies=cookies) as client:
            return await client.get(place)

    with application(path, Reach(DEFAULT_PORT), keys) as pages:
        one, both, gone = (asyncio.run(ask(pages, f"/frames/{place}")) for place in ("8", "8/1", "8/whole.jpg"))
    for answer in (one, both):
        assert answer.status_code == 200
        assert answer.headers.get_list("content-security-policy") == [PAGE_POLICY]
        assert "style=" not in answer.text
        assert "/gone" not in answer.text
        assert 'src="/frames/8/whole.jpg' in answer.text
    assert one.text.count('role="img"') == 2
    assert "Where is it sharp?" in one.text and "1 to 2 px</li>" in one.text
    assert ["Where is frame 8 sharp?" in both.text, "Where is frame 1 sharp?" in both.text] == [True, True]
    assert one.text.index("* the largest") < one.text.index('class="map"')
    read = plain(one.text)
    assert read.count("the subject, 0.5 m deep") == 1
    assert read.count("focused at 5 m") == 1 and one.text.count("focused at 5 m") == 1  # said, and drawn
    assert 'aria-label="Sharp from ' in one.text
    assert "least 1.5 px in row 1, column 1; most 2.5 px in row 1, column 2." in one.text
    assert (gone.status_code, gone.text) == (
        404,
        "The file is not there. Check the path, or put the card back in and import again.\n",
    )


def test_numbers_that_are_written_alike_have_one_class() -> None:
    figure = map_figure(spread([0.96, 1.04], [1.06, 8.049]), None)
    assert figure is not None
    assert figure.rows == (((0, "1.0"), (0, "1.0")), ((1, "1.1"), (3, "8.0")))
