"""What the charts of limits, habits and progress encode, on which scale, under which question."""

from __future__ import annotations

import json
import math
import re
from importlib import resources
from itertools import pairwise
from typing import Any

import pytest
import vl_convert
from contrasts import contrast

from analytics.charts.habits import habit_cost_chart
from analytics.charts.limits import limit_chart
from analytics.charts.look import KEEPER, REJECT, UNJUDGED
from analytics.charts.progress import EQUAL, PLAIN, change_chart, timeline_chart
from analytics.pages.progress import together

CURVE = [{"dose": float(stop), "estimate": 0.1 * stop, "low": 0.05 * stop, "high": 0.2 * stop} for stop in range(5)]
COUNTS = [
    {"dose": 1.0, "n_frames": 40, "n_faults": 4, "label": "1/50"},
    {"dose": 3.0, "n_frames": 10, "n_faults": 6, "label": "1/13"},
    {"dose": 4.0, "n_frames": 0, "n_faults": 0, "label": "1/6"},
]
NAMES = {0: "1/100", 1: "1/50", 2: "1/25", 3: "1/13", 4: "1/6"}
LIMIT = {"estimate": 2.0, "low": 1.5, "high": 2.5, "label": "1/25 at 100 mm"}
SAID = ("How slow can you hand-hold, stabilised?", "You lose 30.")


def limit(**changed: float) -> dict[str, Any]:
    return limit_chart(CURVE, COUNTS, LIMIT | changed, ("exposure time", NAMES), SAID)


def svg(chart: dict[str, Any]) -> str:
    return str(vl_convert.vegalite_to_svg(chart | {"width": 600}, vl_version="6.4", allowed_base_urls=[]))


def marks(chart: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [layer for layer in chart["layer"] if layer["mark"]["type"] == kind]


def values(chart: dict[str, Any], layer: dict[str, Any]) -> list[dict[str, Any]]:
    return list(layer["data"]["values"] if "values" in layer["data"] else chart["datasets"][layer["data"]["name"]])


HABITS = [
    {
        "name": name,
        "kind": "setting",
        "lost_per_100": lost,
        "low_per_100": low,
        "high_per_100": high,
        "is_costly": is_costly,
        "verdict": "costs keepers" if is_costly else "may be chance",
        "n_frames": 529,
        "n_sessions": 15,
    }
    for name, lost, low, high, is_costly in (
        ("too slow", 1.4, 0.8, 2.1, True),
        ("long bursts", -0.9, -1.7, 0.1, False),
    )
]
CHANGES = [
    {"name": EQUAL, "change": 0.16, "low": -0.05, "high": 0.38},
    {"name": PLAIN, "change": 0.07, "low": -0.12, "high": 0.26},
]
POINTS = [
    {
        "session": 3,
        "name": "3",
        "n_sessions": 1,
        "date": "2026-03-01",
        "n_frames": 90,
        "raw": 0.4,
        "adjusted": 0.55,
        "low": 0.4,
        "high": 0.7,
    }
]


@pytest.fixture(params=["limit", "habits", "change", "timeline"])
def chart(request: pytest.FixtureRequest) -> tuple[dict[str, Any], str]:
    question = "What is it?"
    made = {
        "limit": lambda: limit_chart(CURVE, COUNTS, LIMIT, ("time", NAMES), (question, "This.")),
        "habits": lambda: habit_cost_chart(HABITS, question, "This."),
        "change": lambda: change_chart(CHANGES, question, "This."),
        "timeline": lambda: timeline_chart(POINTS, question, "This."),
    }
    return made[request.param](), question


def test_the_title_is_the_question_and_the_text_alternative_its_answer(chart: tuple[dict[str, Any], str]) -> None:
    spec, question = chart
    assert spec["title"]["text"] == question
    assert spec["description"] == "What is it? This."
    assert spec["width"] == "container"


def test_nothing_is_fetched_but_the_name_of_the_grammar(chart: tuple[dict[str, Any], str]) -> None:
    text = json.dumps({name: value for name, value in chart[0].items() if name != "$schema"}, allow_nan=False)
    assert "://" not in text
    assert '"url"' not in text


def test_the_title_of_every_axis_begins_where_the_axis_does(chart: tuple[dict[str, Any], str]) -> None:
    spec = chart[0]
    titles = re.findall(r'role-axis-title"[^>]*><text text-anchor="(\w+)"', svg(spec))
    assert titles == ["start"] * len(titles) != []


def test_the_bar_of_an_interval_is_opaque(chart: tuple[dict[str, Any], str]) -> None:
    spec = chart[0]
    for rule in marks(spec, "rule"):
        assert rule["mark"].get("opacity", 1) == 1


@pytest.mark.parametrize("colour", [KEEPER, REJECT, UNJUDGED])
def test_every_colour_of_a_chart_stands_out_from_light_and_dark_paper(colour: str) -> None:
    style = resources.files("analytics.charts").joinpath("assets/pages.css").read_text(encoding="utf-8")
    papers = re.findall(r"--paper: #([0-9a-f]{6});", style)
    assert len(papers) == 3  # light, dark, printed
    assert all(contrast(bytes.fromhex(colour[1:]), bytes.fromhex(paper)) >= 3 for paper in papers)


def test_a_ring_is_counted_and_as_large_as_its_frames_are_many() -> None:
    spec = limit()
    (rings,) = marks(spec, "point")
    assert (rings["mark"]["filled"], rings["mark"]["color"]) == (False, REJECT)
    encoding = rings["encoding"]
    assert (encoding["x"]["field"], encoding["y"]["field"], encoding["size"]["field"]) == ("dose", "share", "n_frames")
    assert encoding["y"]["scale"]["domain"] == [0, 100]
    assert encoding["size"]["scale"]["zero"] is True
    assert [(row["dose"], row["share"], row["description"]) for row in values(spec, rings)] == [
        (1.0, 10.0, "1/50: 4 of 40 frames lost"),
        (3.0, 60.0, "1/13: 6 of 10 frames lost"),
    ]


def test_the_curve_is_drawn_with_its_interval() -> None:
    spec = limit()
    (band,), (line,) = marks(spec, "area"), marks(spec, "line")
    assert (band["encoding"]["y"]["field"], band["encoding"]["y2"]["field"]) == ("low", "high")
    assert line["encoding"]["y"]["field"] == "estimate"
    assert [row["high"] for row in values(spec, band)] == pytest.approx([0, 20, 40, 60, 80])


def test_the_axis_says_nominal_values_and_goes_by_stops() -> None:
    (line,) = marks(limit(), "line")
    axis = line["encoding"]["x"]["axis"]
    assert line["encoding"]["x"]["scale"]["domain"] == [0, 4]
    assert axis["values"] == [0, 1, 2, 3, 4]
    assert json.loads(axis["labelExpr"].removesuffix("[datum.value]")) == {str(k): v for k, v in NAMES.items()}


def test_each_value_stands_under_its_place_on_the_axis_the_outer_ones_too() -> None:
    drawn = svg(limit())
    named = re.findall(r'text-anchor="(\w+)" transform="translate\(([\d.]+),[\d.]+\)"[^>]*>(1/\d+)<', drawn)
    assert [(anchor, name) for anchor, _, name in named] == [("middle", name) for name in NAMES.values()]
    places = [float(place) for _, place, _ in named]
    assert [after - before for before, after in pairwise(places)] == pytest.approx([places[1] - places[0]] * 4, abs=0.1)


def test_the_words_under_the_question_tell_a_ring_from_the_bands_and_fit_a_phone() -> None:
    assert limit()["title"]["subtitle"] == [
        "ring: share lost, larger for more frames",
        "line: fitted, broken where no frame was counted",
        "grey: your limit; bands: 95 % intervals",
    ]


def test_the_fitted_line_is_broken_beyond_the_frames_counted_and_leaves_no_gap() -> None:
    curve = [
        {"dose": dose, "estimate": 0.1, "low": 0.0, "high": 0.2} for dose in (quarter / 4 for quarter in range(-8, 17))
    ]
    counts = [
        {"dose": dose, "n_frames": n, "n_faults": 1, "label": "1/4"} for dose, n in ((-1.1, 5), (1.3, 4), (3.0, 0))
    ]
    place = {"estimate": 1.0, "low": 0.5, "high": 1.5, "label": "1/2"}
    spec = limit_chart(curve, counts, place, ("stops", {-2: "a", 4: "b"}), ("?", "."))
    rows = spec["datasets"]["line"]
    parts = [[row["dose"] for row in rows if row["part"] == part] for part in range(3)]
    assert [(part[0], part[-1]) for part in parts] == [(-2, -1.25), (-1.25, 1.5), (1.5, 4)]
    assert [{row["where"] for row in rows if row["part"] == part} for part in range(3)] == [
        {"beyond"},
        {"within"},
        {"beyond"},
    ]


def test_the_limit_is_a_line_in_its_interval_and_a_bound_runs_to_the_edge() -> None:
    spec = limit()
    (rect,), (rule,) = marks(spec, "rect"), marks(spec, "rule")
    assert (rect["encoding"]["x"]["field"], rect["encoding"]["x2"]["field"]) == ("low", "high")
    assert [(row["low"], row["dose"], row["high"]) for row in values(spec, rule)] == [(1.5, 2.0, 2.5)]
    bound = limit(estimate=math.inf, high=math.inf, low=3.0)
    assert marks(bound, "rule") == []
    (rect,) = marks(bound, "rect")
    assert [(row["low"], row["high"]) for row in values(bound, rect)] == [(3.0, 4)]


def test_a_habit_is_a_dot_for_its_cost_and_a_bar_for_its_interval() -> None:
    spec = habit_cost_chart(HABITS, "?", "")
    (dots,) = marks(spec, "point")
    bars = next(layer for layer in marks(spec, "rule") if "x2" in layer["encoding"])
    assert (dots["encoding"]["x"]["field"], bars["encoding"]["x"]["field"], bars["encoding"]["x2"]["field"]) == (
        "lost",
        "low",
        "high",
    )
    assert dots["encoding"]["y"]["sort"] == ["too slow", "long bursts"]
    assert dots["encoding"]["x"]["scale"]["domain"] == [-2, 3]
    assert values(spec, dots)[0]["description"] == (
        "too slow: 1.4 of 100 judged frames lost (0.8 to 2.1), 529 frames in 15 sessions; costs keepers"
    )


def test_only_what_costs_keepers_is_coloured_and_nothing_is_filled_like_a_keeper() -> None:
    spec = habit_cost_chart(HABITS, "?", "")
    (dots,) = marks(spec, "point")
    assert dots["encoding"]["color"]["scale"] == {
        "domain": ["costs keepers", "may be chance"],
        "range": [REJECT, UNJUDGED],
    }
    assert dots["encoding"]["shape"]["scale"]["range"] == ["diamond", "circle"]
    assert "fill" not in dots["encoding"] and not dots["mark"].get("filled")
    assert [row["verdict"] for row in values(spec, dots)] == ["costs keepers", "may be chance"]


def test_the_legend_has_only_what_is_drawn() -> None:
    for rows in (HABITS[:1], HABITS[1:]):
        (dots,) = marks(habit_cost_chart(rows, "?", ""), "point")
        assert dots["encoding"]["color"]["scale"]["domain"] == [rows[0]["verdict"]]
        assert len(dots["encoding"]["shape"]["scale"]["range"]) == 1


def test_nought_is_a_line_that_costs_are_read_against() -> None:
    for spec in (habit_cost_chart(HABITS[:1], "?", ""), change_chart(CHANGES, "?", "")):
        (nought,) = [layer for layer in marks(spec, "rule") if "x2" not in layer["encoding"]]
        low, high = next(layer for layer in marks(spec, "point"))["encoding"]["x"]["scale"]["domain"]
        assert values(spec, nought) == [{"nought": 0}]
        assert low <= 0 <= high


def test_equal_scenes_stand_beside_the_plain_count_on_a_scale_around_nought() -> None:
    spec = change_chart(CHANGES, "?", "")
    (dots,) = marks(spec, "point")
    assert dots["encoding"]["y"]["sort"] == [EQUAL, PLAIN]
    assert dots["encoding"]["x"]["scale"]["domain"] == [-38, 38]
    assert dots["encoding"]["color"]["scale"] == {"domain": [EQUAL, PLAIN], "range": [KEEPER, UNJUDGED]}
    assert [row["description"] for row in values(spec, dots)] == [
        "at equal scenes: +16 of 100 frames (−5 to +38)",
        "plain count: +7 of 100 frames (−12 to +26)",
    ]


def test_a_session_has_two_dots_by_its_date() -> None:
    spec = timeline_chart(POINTS, "?", "")
    (dots,) = marks(spec, "point")
    encoding = dots["encoding"]
    assert (encoding["x"]["field"], encoding["x"]["type"]) == ("date", "temporal")
    assert encoding["y"]["scale"]["domain"] == [0, 100]
    rows = values(spec, spec)
    assert [(row["name"], row["kept"]) for row in rows] == [(EQUAL, pytest.approx(55.0)), (PLAIN, 40.0)]
    assert rows[1]["description"] == "session 3, 2026-03-01: 40 of 100 kept, plain count, 90 judged frames"


def test_where_both_counts_are_the_same_the_ring_lies_around_the_dot_and_over_it() -> None:
    same = [{**POINTS[0], "n_frames": n_frames, "raw": 0.55} for n_frames in (1, 45, 90)]
    spec = timeline_chart(same, "?", "")
    rows = values(spec, spec)
    assert [row["name"] for row in rows] == [EQUAL] * 3 + [PLAIN] * 3
    for dot, ring in zip(rows[:3], rows[3:], strict=True):
        assert math.sqrt(ring["area"] / math.pi) - math.sqrt(dot["area"] / math.pi) > 1
    areas = [row["area"] for row in rows[:3]]
    assert areas[2] - areas[0] == pytest.approx(2 * (areas[1] - areas[0]), rel=0.05)


def test_a_session_at_equal_scenes_has_its_interval_as_a_bar_and_in_words() -> None:
    spec = timeline_chart(POINTS, "?", "")
    (bars,) = marks(spec, "rule")
    equal, plain = values(spec, spec)
    assert (bars["encoding"]["y"]["field"], bars["encoding"]["y2"]["field"]) == ("low", "high")
    assert (equal["low"], equal["high"]) == (40.0, 70.0)
    assert EQUAL in json.dumps(bars["transform"])
    assert "low" not in plain
    assert "55 of 100 kept (40 to 70), at equal scenes" in equal["description"]


def test_more_sessions_than_dots_share_one_with_all_their_frames() -> None:
    points = [
        {
            "session": number,
            "date": f"2026-03-{number:02}",
            "n_frames": number,
            "raw": number % 2,
            "adjusted": 0.5,
            "low": 0.2,
            "high": 0.9,
        }
        for number in range(1, 11)
    ]
    three, *_, last = shown = together(points, most=4)
    assert [point["name"] for point in shown] == ["1 to 3", "4 to 6", "7 to 9", "10"]
    assert (three["n_sessions"], three["n_frames"], three["date"]) == (3, 6, "2026-03-02")
    assert three["raw"] == pytest.approx(4 / 6)
    # one frame, two and three: independent ends add up as squares
    assert three["low"] == pytest.approx(0.5 - 0.3 * math.sqrt(14) / 6)
    assert three["high"] == pytest.approx(0.5 + 0.4 * math.sqrt(14) / 6)
    assert (last["low"], last["high"]) == pytest.approx((0.2, 0.9))
    assert (last["n_sessions"], last["session"]) == (1, 10)
    assert [point["name"] for point in together(points, most=10)] == [str(number) for number in range(1, 11)]
    spec = timeline_chart(shown, "?", "")
    assert spec["title"]["subtitle"][0] == "a dot and a ring: 3 sessions in a row, larger for more judged frames"
    assert values(spec, spec)[len(shown)]["description"].startswith(
        "sessions 1 to 3, 2026-03-02: 67 of 100 kept, plain count, 6"
    )


@pytest.mark.parametrize(("last", "ticks"), [("2026-03-04", {"interval": "day", "step": 1}), ("2026-11-04", 8)])
def test_sessions_of_a_few_days_have_a_tick_a_day_and_none_between(last: str, ticks: object) -> None:
    shares = {"n_sessions": 1, "n_frames": 9, "raw": 0.5, "adjusted": 0.5, "low": 0.2, "high": 0.9}
    points = [{"name": day, "date": day, **shares} for day in ("2026-03-01", last)]
    (bars,) = marks(timeline_chart(points, "?", ""), "rule")
    assert bars["encoding"]["x"]["axis"]["tickCount"] == ticks


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (("2026-03-01", "2026-03-04"), ["1 Mar", "2026", "2 Mar", "3 Mar", "4 Mar"]),
        (("2025-12-20", "2026-01-20"), ["21 Dec", "2025", "28 Dec", "4 Jan", "11 Jan", "18 Jan"]),
        (("2025-11-20", "2026-04-20"), ["Dec", "2025", "2026", "Feb", "Mar", "Apr"]),
    ],
)
def test_among_days_the_first_of_a_month_is_a_day_too(days: tuple[str, ...], told: list[str]) -> None:
    points = [{**POINTS[0], "date": day} for day in days]
    named = re.findall(r">(\d+ [A-Z][a-z]{2}|[A-Z][a-z]{2}|20\d\d)<", svg(timeline_chart(points, "?", "")))
    assert named == told


def test_costs_of_nothing_have_a_scale_all_the_same() -> None:
    nothing = [{**row, "lost_per_100": 0.0, "low_per_100": 0.0, "high_per_100": 6e-16} for row in HABITS]
    (bars,) = marks(habit_cost_chart(nothing, "?", ""), "rule")[1:]
    assert bars["encoding"]["x"]["scale"]["domain"] == [-0.5, 0.5]


@pytest.mark.parametrize(("low", "high", "ends"), [(0.7, 1.6, [0, 2]), (-1.6, -0.7, [-2, 0]), (0, 0.2, [-0.5, 0.5])])
def test_the_scale_of_a_cost_ends_at_nought_where_nothing_is_beyond(low: float, high: float, ends: list[float]) -> None:
    row = {**HABITS[0], "lost_per_100": (low + high) / 2, "low_per_100": low, "high_per_100": high}
    (dots,) = marks(habit_cost_chart([row], "?", ""), "point")
    assert dots["encoding"]["x"]["scale"]["domain"] == ends


def test_only_where_a_remedy_spoils_something_it_is_said_to_be_taken_off() -> None:
    for kind, is_said in (("setting", True), ("label", False)):
        spec = habit_cost_chart([{**row, "kind": kind} for row in HABITS], "?", "")
        assert ("less what the remedy would spoil" in " ".join(spec["title"]["subtitle"])) == is_said


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (-0.6, 0.6, [-1, -0.5, 0, 0.5, 1]),
        (-1.7, 2.1, [-2, -1, 0, 1, 2, 3]),
        (0.7, 1.6, [0, 0.5, 1, 1.5, 2]),
        (-12, 30, [-20, 0, 20, 40]),
    ],
)
def test_nought_is_among_the_numbers_of_the_scale(low: float, high: float, ticks: list[float]) -> None:
    row = {**HABITS[0], "lost_per_100": (low + high) / 2, "low_per_100": low, "high_per_100": high}
    (dots,) = marks(habit_cost_chart([row], "?", ""), "point")
    assert dots["encoding"]["x"]["axis"]["values"] == ticks


def test_the_scale_of_costs_its_title_and_the_legend_begin_at_one_place() -> None:
    drawn = svg(habit_cost_chart(HABITS, "?", ""))
    title, legend = (
        re.findall(pattern, drawn)[0]
        for pattern in (
            r'translate\(([-\d.]+),[\d.]+\)"[^>]*>lost of 100',
            r'aria-label="Symbol legend[^>]*><g transform="translate\(([-\d.]+),',
        )
    )
    first = re.findall(r'<line transform="translate\(([-\d.]+),', drawn)[0]
    assert (float(title), float(legend), float(first)) == (0, 0, 0)


def test_the_first_month_of_the_sessions_is_told_with_its_year() -> None:
    point = {"n_sessions": 1, "n_frames": 40, "raw": 0.5, "adjusted": 0.5, "low": 0.4, "high": 0.6}
    days = ["2025-03-20", "2025-05-02", "2025-08-03", "2025-11-30"]
    spec = timeline_chart([{**point, "name": str(number), "date": day} for number, day in enumerate(days)], "?", "")
    assert svg(spec).count(">2025<") == 1


def dated(*days: str) -> list[dict[str, Any]]:
    """A session on each of these days."""
    return [{**POINTS[0], "name": str(number), "date": day} for number, day in enumerate(days)]


LONG_AGO = ("2023-05-01", "2025-03-20", "2025-03-27", "2025-04-11")


def test_a_gap_longer_than_all_other_time_puts_sessions_in_their_order_and_says_so() -> None:
    spec = timeline_chart(dated(*LONG_AGO), "?", "")
    (dots,) = marks(spec, "point")
    assert (dots["encoding"]["x"]["field"], dots["encoding"]["x"]["scale"]["domain"]) == ("order", [-0.5, 3.5])
    assert [row["order"] for row in values(spec, dots)] == [0, 1, 2, 3] * 2
    how = ["dots in their order, not to scale in time", "dashed line: 23 months between two dots"]
    assert spec["title"]["subtitle"][-2:] == how
    dashed, bars = marks(spec, "rule")
    assert [row["order"] for row in values(spec, dashed)] == [0.5]
    assert bars["encoding"]["x"]["field"] == "order"
    assert re.findall(r">(\d+ [A-Z][a-z]{2}|20\d\d)<", svg(spec)) == [
        "1 May", "2023", "20 Mar", "2025", "27 Mar", "2025", "11 Apr", "2025",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "days", [LONG_AGO[:3], ("2025-03-01", "2025-03-20", "2025-04-08", "2025-04-20"), ("2025-03-01",) * 4, ()]
)
def test_sessions_stand_by_their_date_where_few_or_no_gap_presses_them_together(days: tuple[str, ...]) -> None:
    spec = timeline_chart(dated(*days), "?", "")
    (dots,) = marks(spec, "point")
    assert dots["encoding"]["x"]["field"] == "date"
    assert len(spec["title"]["subtitle"]) == 2
