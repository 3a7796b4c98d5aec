"""The sentences of pages: each command is set as what is typed, and nothing else is; ranges and dates are whole."""

from __future__ import annotations

import json
import re
import timeit
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journals import changed, small_journal
from visiting import plain, served

from analytics.charts.keeper_rates import keeper_rate_chart
from analytics.charts.look import drawing_script
from analytics.charts.progress import _change
from analytics.pages.commands import MAY_BREAK, UNBROKEN, command, told
from journal.cli import load_commands, run
from journal.store.opening import open_journal

if TYPE_CHECKING:
    from pathlib import Path

MARKUP = re.compile(r"<[^>]*>")
WHOLE = re.compile(r'<span class="whole">(.*?)</span>')


def commands_in(html: str) -> list[str]:
    return [plain(found) for found in re.findall(r"<code>(.*?)</code>", html, re.S)]


@pytest.mark.parametrize(
    ("sentence", "commands"),
    [
        ("None is judged yet. Next: thirdstop judge", ["thirdstop judge"]),
        ("So: thirdstop gear body MODEL --sensor 23.5x15.6", ["thirdstop gear body MODEL --sensor 23.5x15.6"]),
        ("So: thirdstop gear body A --sensor WIDTHxHEIGHT", ["thirdstop gear body A --sensor WIDTHxHEIGHT"]),
        ("As: thirdstop gear body E-20,E-20N,E-20P --pace slow.", ["thirdstop gear body E-20,E-20N,E-20P --pace slow"]),
        ("Next: thirdstop serve, then Judge.", ["thirdstop serve"]),
        ("Make one with: thirdstop log, or see: thirdstop demo", ["thirdstop log", "thirdstop demo"]),
        ("Name it: thirdstop judge 3 --accept-above 0.9; then go on: on.", ["thirdstop judge 3 --accept-above 0.9"]),
        ("As: thirdstop gear body 'TW 1. B: thirdstop x' --x 1", ["thirdstop gear body 'TW 1. B: thirdstop x' --x 1"]),
        ('As: thirdstop log --intent "test series" --pace slow', ['thirdstop log --intent "test series" --pace slow']),
        ("Bring it back: thirdstop import .", ["thirdstop import ."]),
        ("Read what thirdstop wrote.", []),
    ],
)  # fmt: skip
def test_a_command_ends_with_its_sentence_or_the_part_of_it(sentence: str, commands: list[str]) -> None:
    html = told(sentence)
    assert commands_in(html) == commands
    assert plain(html) == sentence


def test_what_a_sentence_holds_is_escaped_within_a_command_and_outside() -> None:
    html = told("<b>& of: thirdstop gear body '<script>\"x\" </script>' <i> --sensor 1x1. </code><img>")
    assert set(MARKUP.findall(html)) == {"<code>", "</code>", '<span class="whole">', "</span>"}


def test_an_argument_stays_in_one_line_unless_it_is_longer_than_a_phone_is_wide() -> None:
    assert '<span class="whole">&#39;a b&#39;</span>' in command("thirdstop gear body 'a b'")
    assert command(f"thirdstop gear body '{'a ' * 30}'").count("<span") == 3


@pytest.mark.parametrize(
    ("sentence", "ranges"),
    [
        ("You lose 31 (24–38) of 100, and 7.5–9 of 10.", ["31 (24–38)", "7.5–9"]),
        ("From 1/60–1/125 to 12–16.", ["1/60–1/125", "12–16"]),
        ("Days 2025-07-24 to 2025-08-30, ± 0.5 stop.", ["2025-07-24", "2025-08-30", "± 0.5"]),
        ("At 1/80 at 100 mm, 0.5 s or ISO 3200 in 2026-03.", ["100 mm", "0.5 s", "ISO 3200", "2026-03"]),
        ("ISO 2000 to 4000 or ISO 100–3200, f/4 to f/8", ["ISO 2000 to 4000", "ISO 100–3200", "f/4 to f/8"]),
        ("S12025-07-243 is a file.", []),
        (
            "+3 (−2 to +8), 1.2 (0.5 to 3.1), 1/60 (1/100–1/30).",
            ["+3 (−2 to +8)", "1.2 (0.5 to 3.1)", "1/60 (1/100–1/30)"],
        ),
        ("ISO 3200 (1600–6400) and (2 to 4)", ["ISO 3200 (1600–6400)", "2 to 4"]),
        ("Two bursts (5 frames) of one (1,200 frames in all).", ["(5 frames", "(1,200 frames"]),
        ("The TW-2, TW-20N and W-M3.", ["TW-2", "TW-20N", "W-M3"]),
        ("A 35-70 mm f/4 or 18-55mm at f/4-5.6.", ["35-70 mm f/4", "18-55mm", "f/4-5.6"]),
        ("A 70-300 mm f/4.5–5.6.", ["70-300 mm f/4.5–5.6"]),
        ("Say --sensor 36x24, --pace slow or --mentor NAME.", ["--sensor 36x24", "--pace", "--mentor NAME"]),
        ("Hand-held, full-frame, IMG-2.JPG and A-B-C-1.", []),
        ("Kept – as ever – by hand; “–” is unknown, <–1.", []),
    ],
)
def test_ranges_dates_and_numbers_with_their_unit_stay_in_one_line(sentence: str, ranges: list[str]) -> None:
    html = told(sentence)
    assert WHOLE.findall(html) == ranges
    assert plain(html) == sentence


@given(st.from_regex(UNBROKEN))
def test_what_is_passed_over_quickly_holds_nothing_that_may_break(text: str) -> None:
    assert MAY_BREAK.search(text)


def test_a_number_below_nought_has_its_minus_sign_and_what_is_typed_has_its_hyphen() -> None:
    html = told("By -6 (-9 to -3) at EV -2. Next: thirdstop edit 1 --ev100 -2")
    assert plain(html) == "By −6 (−9 to −3) at EV −2. Next: thirdstop edit 1 --ev100 -2"
    assert '<span class="whole">−6 (−9 to −3)</span>' in html and commands_in(html) == ["thirdstop edit 1 --ev100 -2"]


#: What of a page is read: neither its scripts nor its marks.
READ = re.compile(r"<(script|style|code)\b.*?</\1>|<[^>]*>", re.S)
HYPHENS = re.compile(r"(?:(?<=[\s(])|^)-\d[^\n<]*", re.M)


def test_no_page_writes_a_number_below_nought_with_a_hyphen_and_the_terminal_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = small_journal(tmp_path / "a.journal", 14)
    changed(
        path,
        "update frames set ev100_third = -12, ev100 = -4 where id % 2 = 0",
        "update frames set verdict = 'reject' where session_id > 7 and id % 3 = 0",
        "insert into advice (habit, advice, given_at) values ('slow_by_hand', 'Faster.', '2026-03-08T00:00:00Z')",
    )
    places = ("/", "/keepers?by=ev100", "/keepers?by=ev100&ev100=-4", "/progress", "/advice", "/habits", "/standing")
    with served(path) as journal:
        visitor = journal.photographer()
        pages = {place: READ.sub("", visitor.get(place).text) for place in (*places, "/habits/slow_by_hand")}
        asked = visitor.get("/keepers.json?by=ev100&ev100=-4").json()
    assert {place: HYPHENS.findall(page) for place, page in pages.items()} == {place: [] for place in pages}
    assert "EV −4" in pages["/keepers?by=ev100"] and "−" in pages["/progress"]
    assert asked["parts"][0]["words"].endswith("EV −4") and "EV −4" in asked["sentence"]
    (panel,) = [one for one in asked["panels"] if one["key"] == "ev100"]
    drawn = [row["label"] for row in panel["chart"]["datasets"]["lines"]]
    assert "EV −4" in drawn and set(drawn) <= set(panel["chart"]["layer"][0]["encoding"]["y"]["scale"]["domain"])
    assert panel["chart"]["usermeta"]["typed"]["EV −4"] == "-4"
    load_commands()
    for asked_for in (["progress"], ["keepers", "ev100"]):
        assert run([*asked_for, "--journal", str(path)]) == 0
        out = capsys.readouterr().out
        assert "−" not in out and HYPHENS.search(out)


def test_charts_write_numbers_below_nought_with_a_minus_sign() -> None:
    assert 'minus: "−"' in drawing_script()
    assert _change({"name": "x", "change": -0.03, "low": -0.06, "high": 0.01})["description"] == (
        "x: −3 of 100 frames (−6 to +1)"
    )
    row = {"label": "EV -2", "estimate": 0.5, "low": 0.4, "high": 0.6, "n_frames": 9, "n_bursts": 3, "n_sessions": 2}
    assert "EV -2" not in json.dumps(keeper_rate_chart([{**row, "is_enough": True}], "Which?", "None."))


@given(st.from_regex(UNBROKEN, fullmatch=True))
def test_what_no_line_ends_within_is_shorter_than_the_line_of_a_phone(text: str) -> None:
    assert all(len(plain(found)) <= 32 for found in WHOLE.findall(told(text)))


@pytest.mark.parametrize(
    "text", ["1", "1-", "1.", "1 (", "1/1–", "a-", "TW-2 ", "--a", "--a 1 ", "(1 a", "ISO 1 (", "f/1-"]
)
def test_a_hostile_sentence_is_read_in_time_that_grows_with_its_length(text: str) -> None:
    def time(length: int) -> float:
        sentence = text * (length // len(text))
        return min(timeit.repeat(lambda: list(UNBROKEN.finditer(sentence)), number=1, repeat=3))

    assert time(64_000) < 64 * time(4_000)


def test_an_option_and_its_value_stay_in_one_line_unless_they_are_longer_than_a_phone_is_wide() -> None:
    assert '<span class="whole">--sensor 36x24</span>' in command("thirdstop gear body 'TW 1' --sensor 36x24")
    assert '<span class="whole">--again</span> <span class="whole">--json</span>' in command(
        "thirdstop demo --again --json"
    )
    long = f"'{'a ' * 12}'"
    assert f'<span class="whole">--intent</span> <span class="whole">&#39;{long[1:-1]}&#39;</span>' in command(
        f"thirdstop log --intent {long}"
    )


def test_a_full_stop_ends_a_sentence_that_something_follows() -> None:
    assert told("Next: thirdstop log", is_stopped=True).endswith("</code>.")
    assert told("All is known.", is_stopped=True) == "All is known."


def test_pages_of_an_empty_journal_set_their_next_commands_as_commands(tmp_path: Path) -> None:
    path = tmp_path / "a.journal"
    open_journal(path).close()
    with served(path) as place:
        visitor = place.photographer()
        pages = {page: visitor.get(page).text for page in ("/standing", "/advice", "/comments", "/frames/9")}
    assert commands_in(pages["/advice"]) == ["thirdstop import CARD"]
    assert commands_in(pages["/comments"]) == ["thirdstop review", "thirdstop serve --mentor NAME"]
    assert "thirdstop frames" in commands_in(pages["/frames/9"])
    for page in pages.values():
        assert not re.search(r"(: )thirdstop ", page)


def test_a_command_before_a_link_is_stopped_on_the_page_of_where_one_stands(tmp_path: Path) -> None:
    with served(small_journal(tmp_path / "a.journal", 1)) as place:
        page = place.photographer().get("/standing").text
    assert '</code>. <a href="/advice">More on advice</a>' in page
