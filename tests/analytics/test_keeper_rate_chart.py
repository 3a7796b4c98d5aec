"""What the keeper chart encodes, on which scale, under which question."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
import vl_convert

from analytics.charts.keeper_rates import (
    ENOUGH,
    EVIDENCE,
    KEEPER,
    LINES,
    NOT_ENOUGH,
    YET,
    following_chart,
    keeper_rate_chart,
    shown_line,
)

ROWS = [
    {
        "label": label,
        "estimate": 0.7,
        "low": 0.6,
        "high": 0.8,
        "n_frames": 40,
        "n_bursts": 5,
        "n_sessions": 4,
        "is_enough": is_enough,
    }
    for label, is_enough in (("1/500", True), ("1/15", False))
]


@pytest.fixture(scope="module")
def chart() -> dict[str, Any]:
    return keeper_rate_chart(ROWS, "How many do you keep at each time?", "You keep 70.")


def drawn(chart: dict[str, Any], width: int = 600) -> str:
    return str(vl_convert.vegalite_to_svg(chart | {"width": width}, vl_version="6.4", allowed_base_urls=[]))


def layer(chart: dict[str, Any], mark: str) -> dict[str, Any]:
    return next(dict(layer) for layer in chart["layer"] if layer["mark"]["type"] == mark)


def test_the_title_is_the_question_and_the_description_its_answer(chart: dict[str, Any]) -> None:
    assert chart["title"]["text"] == "How many do you keep at each time?"
    assert chart["description"] == "How many do you keep at each time? You keep 70."


def test_values_keep_the_order_of_the_scale(chart: dict[str, Any]) -> None:
    assert layer(chart, "point")["encoding"]["y"]["sort"] == ["1/500", "1/15"]


def test_a_dot_is_the_rate_and_a_bar_its_interval_from_nought(chart: dict[str, Any]) -> None:
    dot, bar = layer(chart, "point")["encoding"], layer(chart, "rule")["encoding"]
    assert (dot["x"]["field"], bar["x"]["field"], bar["x2"]["field"]) == ("estimate", "low", "high")
    assert dot["x"]["scale"]["domain"][0] == 0
    assert dot["x"]["axis"]["values"] == [0, 25, 50, 75, 100]


def test_too_little_is_grey_and_dashed(chart: dict[str, Any]) -> None:
    bar = layer(chart, "rule")["encoding"]
    assert bar["strokeDash"]["value"] == [3, 3]
    assert re.findall(rf'aria-label="(1/\d+):[^>]*fill="({KEEPER}|{NOT_ENOUGH})"', drawn(chart)) == [
        ("1/500", KEEPER),
        ("1/15", NOT_ENOUGH),
    ]


@pytest.mark.parametrize("rows", [ROWS, ROWS[:1], ROWS[1:], []])
def test_the_legend_names_what_the_lines_are_enough_for_and_nothing_else(rows: list[dict[str, Any]]) -> None:
    chart = following_chart(tuple(row["label"] for row in ROWS), "How many do you keep at each time?", True)
    lines = [{**shown_line(row), "place": "inside"} for row in rows]
    whole = keeper_rate_chart(rows, "How many do you keep at each time?", "You keep 70.")
    named = [name for row, name in zip(ROWS, EVIDENCE, strict=True) if row in rows] or list(EVIDENCE)
    for spec in (whole, {**chart, "datasets": {LINES: lines}}):
        assert re.findall(r">(enough evidence|not enough yet)<", drawn(spec)) == named


@pytest.mark.parametrize(("width", "room"), [(300, 75), (600, 90), (1200, 90)])
def test_the_counts_have_their_room_and_no_more(chart: dict[str, Any], width: int, room: float) -> None:
    places = dict(re.findall(r'translate\(([\d.]+),[\d.]+\)"[^>]*>(100|40 · 5)<', drawn(chart, width)))
    hundred, counts = sorted(map(float, places))
    assert [places[key] for key in sorted(places, key=float)] == ["100", "40 · 5"]
    assert counts - hundred == pytest.approx(room, abs=2)


def test_frames_and_bursts_stand_beside_each_line(chart: dict[str, Any]) -> None:
    assert layer(chart, "text")["encoding"]["text"]["field"] == "counts"
    values = chart["data"]["values"] if "values" in chart["data"] else next(iter(chart["datasets"].values()))
    assert [row["counts"] for row in values] == ["40 · 5", "40 · 5"]
    assert values[1]["description"] == (
        "1/15: 70 of 100 kept (60 to 80), 40 judged frames in 5 bursts and 4 sessions; not enough yet"
    )


def test_nothing_is_fetched_but_the_name_of_the_grammar(chart: dict[str, Any]) -> None:
    text = json.dumps({name: value for name, value in chart.items() if name != "$schema"})
    assert "://" not in text
    assert '"url"' not in text


def test_a_chart_that_follows_keeps_a_place_for_every_line_and_takes_its_data_from_beside() -> None:
    chart = following_chart(("1/500", "1/60", "1/15"), "How many do you keep at each time?", True)
    assert chart["data"] == {"name": LINES}
    for mark in ("rect", "rule", "point", "text"):
        assert layer(chart, mark)["encoding"]["y"]["scale"]["domain"] == ["1/500", "1/60", "1/15"]
    assert chart["params"][0]["select"] == {"type": "interval", "encodings": ["y"]}
    whole = layer(chart, "rect")["encoding"]
    assert (whole["x"]["value"], whole["x2"]["value"]) == (0, "width")


@pytest.mark.parametrize(
    ("label", "width", "told"),
    [
        ("Tidewell EF 70-200mm f/2.8L IS USM", 340, ["Tidewell EF 70-200mm", "f/2.8L IS USM"]),
        ("Tidewell EF 70-200mm f/2.8L IS USM", 900, ["Tidewell EF 70-200mm f/2.8L IS USM"]),
        ("Tidewell EF 70-200mm f/2.8L IS USM · 1/500", 340, ["Tidewell EF 70-200mm…", "1/500"]),
        ("Tidewell EF 70-200mm f/2.8L IS USM · 1/500", 900, ["Tidewell EF 70-200mm f/2.8L IS USM", "1/500"]),
        ("ISO 400 · 1/500", 340, ["ISO 400", "1/500"]),
        ("A · B · tripod", 340, ["A · B", "tripod"]),
        ("Tidewell", 340, ["Tidewell"]),
    ],
)
def test_a_long_name_is_not_cut_inside_a_word(label: str, width: int, told: list[str]) -> None:
    chart = following_chart((label,), "How many do you keep with each lens?", False)
    line = {**shown_line({**ROWS[0], "label": label}), "place": "inside"}
    axes = re.findall(r'role-axis-label".*?</g>', drawn({**chart, "datasets": {LINES: [line]}}, width))
    assert re.findall(r">([^<>]+)</(?:tspan|text)>", axes[-1]) == told


def test_lines_outside_the_range_are_faint_and_a_chart_of_words_is_not_dragged_over() -> None:
    chart = following_chart(("hand-held", "tripod"), "How many do you keep on each support?", False)
    assert "params" not in chart
    assert layer(chart, "point")["encoding"]["opacity"] == {
        "condition": [{"test": "(datum.place === 'outside')", "value": 0.4}],
        "value": 1,
    }
    assert chart["title"]["subtitle"][1] == "click a line: its frames"


@pytest.mark.parametrize("labels", [(), ("1/500", "1/60")])
def test_where_no_judged_frame_is_chosen_the_chart_is_empty_and_no_higher_than_its_lines(
    labels: tuple[str, ...],
) -> None:
    chart = following_chart(labels, "How many do you keep at each exposure time?", True)
    svg = drawn({**chart, "datasets": {LINES: []}}, 400)
    heights = re.findall(r'<svg[^>]* height="([\d.e+]+)"', svg)
    assert len(heights) == 1 and 100 < float(heights[0]) < 400
    assert ENOUGH in svg and YET in svg
