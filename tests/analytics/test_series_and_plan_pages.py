"""Test series and plans as pages: what is offered, what was found, and what a form may ask."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from browsing import Seen, barriers, needs_chromium, served
from journals import empty_journal, small_journal
from playwright.sync_api import Browser, Page

from analytics.dashboards.reckoning import asked_series
from analytics.dataset import OpenJournal
from analytics.pages.judged import Ground, ground
from analytics.pages.limits import limits_page
from analytics.pages.planned import ANY_BODY, OWN_LIMITS, plan_page
from analytics.pages.series import AskedSeries, series_page
from analytics.pages.series_words import (
    series_caution,
    series_found,
    series_kept,
    series_sentence,
    series_values,
    stops_name,
)
from analytics.planning.own_limits import known_limits
from analytics.planning.series import effort, series_design, series_frames
from analytics.statistics.results import SeriesLimit
from analytics.statistics.series import expected_half_width, fit_series, series_curve, series_limit
from journal.errors import JournalError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def shot(rng: np.random.Generator, limit: float, n_days: int, each: int) -> pd.DataFrame:
    """A series with days that differ by half a stop, its faults by a curve that is its own."""
    from scipy.stats import norm

    rows = []
    for day in range(n_days):
        shift = rng.normal(0, 0.5)
        for dose in np.linspace(-2, 3, 8) + limit:
            share = 0.01 + 0.89 * norm.cdf(0.85 * (dose - limit - shift) + norm.ppf(0.09 / 0.89))
            rows += [(day, dose, lost) for lost in rng.random(each) < share]
    return pd.DataFrame(rows, columns=["day", "dose", "has_fault"])


@pytest.mark.parametrize(("n_days", "each"), [(4, 2), (9, 6)])
def test_a_series_becomes_as_sure_as_was_foretold(n_days: int, each: int) -> None:
    rng = np.random.default_rng(11)
    found = [series_limit(shot(rng, 1.0, n_days, each)) for _ in range(15)]
    median = np.median([(one.high - one.low) / 2 for one in found])
    foretold = expected_half_width(np.repeat(np.linspace(-2, 3, 8), each).tolist(), n_days)
    assert median == pytest.approx(foretold, rel=0.12)


def test_more_frames_a_day_need_fewer_days_but_more_frames() -> None:
    few, many = effort(1, 0.5), effort(6, 0.5)
    assert few.n_days is not None and many.n_days is not None
    assert many.n_days < few.n_days
    assert many.n_days * many.frames_a_day > few.n_days * few.frames_a_day
    assert many.half_width <= 0.5 and few.half_width <= 0.5


def test_a_third_of_a_stop_by_one_frame_each_is_more_than_anybody_shoots() -> None:
    asked = effort(1, 0.3)
    assert asked.n_days is None and math.isnan(asked.half_width)


@pytest.mark.parametrize("usual", [-6.0, 5.8])
def test_one_method_serves_every_kind_of_limit(usual: float) -> None:
    rng = np.random.default_rng(4)
    covered, errors = 0, []
    for _ in range(12):
        limit = rng.normal(usual, 1.2)
        found = series_limit(shot(rng, limit, 8, 3), usual=usual)
        covered += found.low <= limit <= found.high
        errors.append(abs(found.estimate - limit))
    assert covered >= 10
    assert np.median(errors) < 0.35


def test_the_curve_of_a_series_crosses_the_tenth_at_its_limit() -> None:
    series = shot(np.random.default_rng(2), 1.0, 6, 4)
    found, curve = series_limit(series), series_curve(fit_series(series))
    at_limit = np.interp(found.estimate, curve["dose"], curve["estimate"])
    assert at_limit == pytest.approx(0.10, abs=0.01)
    assert (curve["low"] < curve["estimate"]).all() and (curve["estimate"] < curve["high"]).all()
    assert (np.diff(curve["estimate"]) > 0).all()


def test_a_series_of_iso_values_is_said_in_iso() -> None:
    design = series_design(5.8, 100.0, np.random.default_rng(1), kind="iso")
    values = series_values(design)
    assert len(set(values)) == 8 and all(value.startswith("ISO ") for value in values)
    numbers = sorted(int(value[4:]) for value in values)
    assert numbers[0] == pytest.approx(100 * 2**3.8, rel=0.15) and numbers[-1] == pytest.approx(100 * 2**8.8, rel=0.15)
    assert "from a tripod" in series_sentence(design, "Tidewell M1")


def test_a_series_of_what_moves_says_where_to_stand() -> None:
    still = series_design(0.0, 100.0, np.random.default_rng(1), kind="freeze")
    assert "wind or breath" in series_sentence(still, "still")
    assert all("clear of the way of what moves" in series_caution(kind) for kind in ("freeze", "iso"))
    assert series_caution("hand-held") == ""
    assert "direction in which they pass" in series_kept("freeze", "walking")
    assert series_kept("freeze", "still") == "Keep the exposure with aperture or ISO, and the distance."
    design = series_design(-6.0, 100.0, np.random.default_rng(1), kind="freeze")
    assert series_sentence(design, "walking").startswith("From a tripod, of walking subjects that pass")


@pytest.mark.parametrize(
    ("kind", "key", "sentence"),
    [
        ("freeze", "walking", "By 48 frames on 6 days, a tenth of your frames of walking subjects are lost to subject "
         "motion at 1/60 (1/90 to 1/45)."),
        ("iso", "M1", "By 48 frames on 6 days, a tenth of your frames with the M1 are lost to noise at ISO 5600 (ISO "
         "3600 to ISO 9000)."),
    ],
)  # fmt: skip
def test_what_a_series_found_is_said_on_the_scale_of_its_limit(kind: str, key: str, sentence: str) -> None:
    stops = {"freeze": (-6.0, -6.5, -5.5), "iso": (5.8, 5.2, 6.5)}[kind]
    said = series_found(SeriesLimit(*stops, 48, 6, True), kind, key)
    assert said.split(" at ")[0] == sentence.split(" at ")[0]
    assert re.search(r" at (ISO \d+|1/\d+) \((ISO \d+|1/\d+) to (ISO )?(\d+|1/\d+)\)\.$", said)


def test_only_frames_of_the_limit_are_read() -> None:
    frames = pd.DataFrame(
        {
            "session": 1, "support": ["hand-held", "hand-held", "tripod", "hand-held"], "exposure_time_s": 0.01,
            "focal_length_35mm": 100.0, "iso": [100, 200, 400, 800], "body": ["M1", "S2", "M1", "M1"],
            "subject_pace": ["still", "walking", "walking", "still"], "is_stabilised": [1.0, 0.0, 1.0, np.nan],
            "is_keeper": True, "fault_shake": False, "fault_motion": False, "fault_noise": False,
        }
    )  # fmt: skip
    assert len(series_frames(frames, [1], "hand-held", True)) == 2  # one is steadied, one the choice speaks for
    assert len(series_frames(frames, [1], "hand-held", False)) == 2
    assert len(series_frames(frames, [1], "freeze", "walking")) == 2
    assert series_frames(frames, [1], "iso", "M1")["dose"].tolist() == [0, 2, 3]


def read(path: Path, asked: AskedSeries) -> tuple[Ground, object]:
    with OpenJournal(path) as journal:
        found = ground(journal)
        return found, series_page(journal, found, asked)


def test_the_simulated_year_is_offered_series_for_what_it_does_not_know(simulated_year: Path) -> None:
    found, page = read(simulated_year, AskedSeries())
    assert page.simulated == "Simulated data"
    assert page.found is None
    assert 0 < len(page.designs) <= len(page.aims)
    unsure = f"{len(page.designs)} of the {len(page.aims)} limits here are not known to half a stop yet"
    assert page.sentence.startswith(unsure)
    assert all(len(design.values) == 8 for design in page.designs)
    sooner = [line.surer for line in limits_page(found).lines if line.n_more and line.bound == "both"]
    assert sorted(design.otherwise for design in page.designs if design.otherwise) == sorted(sooner) != []
    again = read(simulated_year, AskedSeries())[1]
    assert [design.values for design in again.designs] == [design.values for design in page.designs]


def test_sessions_are_read_as_a_series_of_the_limit_asked_for(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        numbers = tuple(row["session_id"] for row in journal.rows("select id as session_id from sessions order by id"))
    _, page = read(simulated_year, AskedSeries(numbers[:12], "hand-held:1"))
    assert page.found is not None and page.found.aim.name == "Slowest hand-held time, stabilised"
    assert page.sentence == page.found.sentence
    assert (
        page.found.chart is not None and page.found.chart["title"]["text"] == "How slow can you hand-hold, stabilised?"
    )
    assert {choice.number for choice in page.sessions if choice.is_chosen} == set(numbers[:12])
    assert re.search(
        r"The series alone knows it to (0\.\d|1\.0) stop either way\. All your frames together say 1/\d+ at 100 mm "
        r"\(1/\d+ to 1/\d+\), and know it to half a stop already\.",
        page.found.further,
    )
    n_silent = 12 - int(re.search(r"on (\d+) days", page.sentence)[1])  # type: ignore[index]
    assert n_silent > 1
    silent = re.match(
        r"(\d+) of 12 chosen sessions have no frame that tells this limit: sessions ([\d, ]+)\. ", page.found.further
    )
    assert silent is not None and int(silent[1]) == n_silent == len(silent[2].split(", "))


def test_further_days_are_named_as_the_page_offers_them(simulated_year: Path) -> None:
    """Whoever is told of more days finds that way in the table, and the order of its settings below."""
    with OpenJournal(simulated_year) as journal:
        numbers = tuple(row["session_id"] for row in journal.rows("select id as session_id from sessions order by id"))
    _, page = read(simulated_year, AskedSeries(numbers[:6], "freeze:walking"))
    assert page.found is not None and not page.found.aim.is_known
    more = re.search(r"About \d+ more days? of (\d+) frames would make it half a stop\.", page.found.further)
    assert more is not None and int(more[1]) in {way.frames_a_day for way in page.efforts}
    assert page.found.aim.word in {design.aim.word for design in page.designs}


def test_frames_at_one_setting_make_no_curve(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    _, page = read(path, AskedSeries((1,), "hand-held:0"))
    assert page.found is not None
    assert "a tenth of your frames are shaken" in page.sentence
    _, page = read(path, AskedSeries((1,), "iso:M1"))
    assert page.found is not None and page.found.chart is None
    assert page.sentence.endswith("that is not enough yet: more days help most.")


def test_what_few_frames_tell_gets_no_series_but_can_be_read(tmp_path: Path) -> None:
    _, page = read(small_journal(tmp_path / "a.journal", 2), AskedSeries())
    assert [design.aim.kind for design in page.designs] == ["hand-held"] * 2
    assert page.sentence.startswith("None of the 2 limits here is known to half a stop yet")
    few = "Too few frames yet that would show noise, so a highest ISO cannot be told: M1 ("
    assert any(text.startswith(few) for text in page.untold)
    assert "iso:M1" in [aim.word for aim in page.aims]


def test_a_session_on_a_tripod_is_said_to_be_one(simulated_year: Path) -> None:
    with OpenJournal(simulated_year) as journal:
        frames = journal.judged_frames()
    steady = int(frames.loc[frames["support"] == "tripod", "session"].min())
    _, page = read(simulated_year, AskedSeries((steady,), "hand-held:1"))
    assert page.found is not None and page.found.further == "Choose another limit."
    assert page.sentence == "This session was shot from a tripod, so no frame tells this limit."


def test_stops_are_one_up_to_one() -> None:
    assert [stops_name(stops) for stops in (0.46, 1.04, 1.06, 2)] == ["0.5 stop", "1.0 stop", "1.1 stops", "2.0 stops"]


def test_an_empty_journal_is_offered_the_usual_limit(tmp_path: Path) -> None:
    _, page = read(empty_journal(tmp_path / "a.journal"), AskedSeries())
    assert [design.aim.whose for design in page.designs] == ["the usual limit, for yours is not known yet"] * 2
    assert page.sentence.startswith("None of the 2 limits here is known to half a stop yet")
    assert "thirdstop import" in page.judged


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        (AskedSeries((99,)), "There is no session 99 in this journal."),
        (AskedSeries((1,), "nonsense"), "There is no limit 'nonsense' to be found."),
        (AskedSeries(tuple(range(1, 70))), "69 sessions are too many for a series."),
    ],
)
def test_a_series_that_cannot_be_is_refused(tmp_path: Path, asked: AskedSeries, problem: str) -> None:
    with pytest.raises(JournalError) as refused:
        read(small_journal(tmp_path / "a.journal", 1), asked)
    assert refused.value.problem == problem


@pytest.mark.parametrize("word", ["x", "-1", "1.5", "9" * 25, "\u0663", ""])
def test_a_session_that_is_no_number_is_refused(word: str) -> None:
    with pytest.raises(JournalError) as refused:
        asked_series({"sessions": [word]})
    assert refused.value.problem == f"{word!r} is no number of a session."
    assert asked_series({"sessions": ["4", "7"], "limit": ["iso:M1"]}) == AskedSeries((4, 7), "iso:M1")


def plan_of(path: Path, **asked: str) -> object:
    with OpenJournal(path) as journal:
        return plan_page(journal, known_limits(journal.judged_frames()), asked)


def test_a_plan_on_the_page_keeps_ones_own_limits(simulated_year: Path) -> None:
    page = plan_of(simulated_year, ev100="6", pace="slow", stabilised="1", body="Tidewell M1")
    assert re.fullmatch(r"Start with 1/\d+, f/2\.8, ISO \d+: .*\.", page.sentence)
    assert [whose for _, _, whose in page.limits] == ["yours", "yours", "yours"]
    assert page.lights and page.bodies == ["Tidewell M1", "Tidewell S2"]
    unasked = plan_of(simulated_year)
    assert unasked.sentence.endswith(f"within {OWN_LIMITS}.") and unasked.any_body == ANY_BODY[True]


def test_a_plan_says_that_no_limit_is_known_yet(tmp_path: Path) -> None:
    page = plan_of(empty_journal(tmp_path / "a.journal"))
    assert page.sentence.endswith("within usual limits, for yours are not known yet.")
    assert page.any_body == "limit unknown: a usual one"


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"ev100": "bright"}, "'bright' is no exposure value."),
        ({"ev100": "nan"}, "EV nan at ISO 100 is no light on earth."),
        ({"ev100": "40"}, "EV 40 at ISO 100 is no light on earth."),
        ({"ev100": "8", "pace": "flying"}, "'flying' is no pace this journal knows."),
        ({"ev100": "8", "body": "<b>"}, "There is no body '<b>' in this journal."),
        ({"ev100": "8", "widest": "wide"}, "'wide' is no f-number."),
        ({"ev100": "8", "camera-support": "tripod"}, "'camera-support' is no field of a plan, so nothing was planned."),
    ],
)
def test_what_a_plan_cannot_take_is_said_and_the_form_stays_filled(
    tmp_path: Path, asked: dict[str, str], problem: str
) -> None:
    page = plan_of(small_journal(tmp_path / "a.journal", 1), **asked)
    assert (page.sentence, page.limits) == (problem, [])
    assert page.next_step
    assert page.fields["ev100"] == asked["ev100"]


@pytest.fixture(scope="module")
def link(simulated_year: Path) -> Iterator[str]:
    with served(simulated_year) as address:
        yield address


def come_in(page: Page, link: str, place: str) -> None:
    page.goto(link)
    page.wait_for_url(re.compile(r":\d+/$"))
    page.goto(f"{page.url}{place}")


class TestInABrowser:
    pytestmark = needs_chromium

    def test_a_visitor_chooses_sessions_and_reads_their_series(self, browser: Browser, link: str) -> None:
        page = browser.new_page(viewport={"width": 390, "height": 900})
        seen = Seen(page)
        come_in(page, link, "series")
        page.get_by_role("button", name="Read these sessions").wait_for()
        for box in page.get_by_role("checkbox").all()[:10]:
            box.check()
        page.get_by_label("Which limit it was about").select_option("hand-held:1")
        page.get_by_role("button", name="Read these sessions").click()
        page.wait_for_selector("html[data-charts=drawn]")
        assert re.match(r"By [\d,]+ frames on \d+ days, a tenth", page.get_by_role("heading", level=1).inner_text())
        assert page.locator("figure.chart[data-state=drawn] svg").count() == 1
        assert page.get_by_role("checkbox", checked=True).count() == 10
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert seen.complaints == [] and barriers(page) == []
        page.close()

    def test_a_visitor_plans_an_outing(self, browser: Browser, link: str) -> None:
        page = browser.new_page(color_scheme="dark")
        seen = Seen(page)
        come_in(page, link, "plan")
        page.get_by_label("light, EV at ISO 100").fill("3")
        page.get_by_label("subject pace").select_option("walking")
        page.get_by_role("button", name="Plan this outing").click()
        assert page.get_by_role("heading", level=1).inner_text().startswith("Not enough light: at 1/")
        assert page.get_by_label("subject pace").input_value() == "walking"
        assert "photosensitive epilepsy" in page.locator("main").inner_text()
        assert seen.complaints == [] and barriers(page) == []
        page.close()

    def test_a_form_cannot_smuggle_markup_in(self, browser: Browser, link: str) -> None:
        page = browser.new_page()
        seen = Seen(page)
        come_in(page, link, "plan?ev100=%22%3E%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E")
        assert page.locator("main img").count() == 0
        assert "<img src=x" in page.get_by_role("heading", level=1).inner_text()
        come_in(page, link, "series?sessions=1&limit=%3Cscript%3E")
        assert page.get_by_role("heading", level=1).inner_text() == "There is no limit '<script>' to be found."
        assert [text for text in seen.complaints if "404" not in text] == []
        page.close()
