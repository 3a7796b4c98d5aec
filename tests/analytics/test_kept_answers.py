"""What is kept so that pages come at once: it is never of before the last change, and never shown to somebody else."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from journals import small_journal
from scipy.optimize import approx_fprime

from analytics import queries
from analytics.charts.limits import limit_chart
from analytics.dataset import OpenJournal
from analytics.dataset.opened import MOST_KEPT
from analytics.planning.series import BySession, series_frames
from analytics.statistics.series import DayCounts, series_cost
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal", 4)


def written(path: Path, statement: str) -> None:
    connection = open_journal(path)
    connection.execute(statement)
    refresh_all(connection)
    connection.close()


def test_a_kept_answer_is_of_now_also_after_somebody_has_written(path: Path) -> None:
    with OpenJournal(path) as journal:
        before = journal.totals()
        written(path, "update frames set verdict = 'keeper' where id = 5")
        assert journal.totals()["n_keepers"] == before["n_keepers"] + 1
        assert journal.kept_rows(queries.TOTALS) == journal.rows(queries.TOTALS)


def test_a_kept_answer_is_of_the_moment_that_is_read(path: Path) -> None:
    with OpenJournal(path) as journal:
        with journal.snapshot():
            before = journal.totals()
            written(path, "update frames set verdict = 'keeper' where id = 5")
            assert journal.totals() == before == journal.rows(queries.TOTALS)[0]
        assert journal.totals()["n_keepers"] == before["n_keepers"] + 1


def test_whoever_alters_a_kept_answer_alters_it_for_nobody_else(path: Path) -> None:
    with OpenJournal(path) as journal:
        journal.kept_rows(queries.TOTALS)[0]["n_frames"] = -1
        assert journal.totals()["n_frames"] > 0


def test_few_answers_are_kept_however_many_are_asked_for(path: Path) -> None:
    with OpenJournal(path) as journal:
        for limit in range(5 * MOST_KEPT):
            assert len(journal.kept_rows(queries.SESSION_LINES, {"limit": limit})) == min(limit, 4)
            assert len(journal._kept) <= MOST_KEPT


def test_the_widest_aperture_of_a_zoom_is_that_at_this_focal_length_or_longer(path: Path) -> None:
    shot = [(24.0, 2.8), (24.0, 4.0), (50.0, 3.5), (70.0, 4.0), (70.0, 5.6), (None, 1.4), (35.0, None), (70.5, 8.0)]
    connection = open_journal(path)
    lens = connection.execute("insert into lenses (model) values ('Z1') returning id").fetchone()[0]
    numbers = [row[0] for row in connection.execute("select id from frames order by id limit ?", [len(shot)])]
    for number, (focal_length, f_number) in zip(numbers, shot, strict=True):
        values = (lens, focal_length, f_number, number)
        connection.execute("update frames set lens_id = ?, focal_length_mm = ?, f_number = ? where id = ?", values)
    connection.close()
    with OpenJournal(path) as journal:
        found = [journal.rows(queries.EXPLAINED_FRAME, {"number": number})[0]["widest_used"] for number in numbers]
    assert found == [2.8, 2.8, 3.5, 4.0, 4.0, None, 3.5, 4.0]


def test_one_chart_leaves_no_trace_in_the_next() -> None:
    curve = [{"dose": dose, "estimate": 0.1, "low": 0.05, "high": 0.2} for dose in (0.0, 1.0, 2.0)]
    counts = [{"dose": 1.0, "n_frames": 9, "n_faults": 1, "label": "1/60"}]
    limit = {"estimate": 1.0, "low": 0.5, "high": 1.5, "label": "1/60"}
    first = limit_chart(curve, counts, limit, ("time", {0: "1/125", 1: "1/60", 2: "1/30"}), ("Which?", "This."))
    as_made = copy.deepcopy(first)
    limit_chart(curve[1:], counts, limit, ("ISO", {1: "ISO 200", 2: "ISO 400"}), ("Other?", "Other."))
    assert first == as_made
    again = limit_chart(curve, counts, limit, ("time", {0: "1/125", 1: "1/60", 2: "1/30"}), ("Which?", "This."))
    assert again == as_made


def test_the_slope_of_a_series_cost_is_that_of_its_values() -> None:
    rng = np.random.default_rng(3)
    day = np.repeat(np.arange(5), 8)
    dose, n = np.tile(np.linspace(-1.0, 4.0, 8), 5), rng.integers(1, 6, 40).astype(np.float64)
    counts = DayCounts(dose, n, np.minimum(n, rng.poisson(0.6, 40).astype(np.float64)), day, 8 * np.arange(5))
    for theta in rng.normal(0, 0.8, (6, 4)):
        slope = approx_fprime(theta, lambda at: series_cost(at, counts, 0.1)[0], 1e-7)
        assert series_cost(theta, counts, 0.1)[1] == pytest.approx(slope, rel=1e-4, abs=1e-4)
    places = rng.normal(0, 0.8, (6, 4))
    costs, slopes = series_cost(places, counts, 0.1)
    for place, cost, slope in zip(places, costs, slopes, strict=True):
        assert series_cost(place, counts, 0.1)[0] == pytest.approx(cost)
        assert series_cost(place, counts, 0.1)[1] == pytest.approx(slope)


def test_a_series_is_read_whatever_the_order_of_its_frames() -> None:
    rng = np.random.default_rng(5)
    frames = pd.DataFrame(
        {
            "session": rng.integers(1, 6, 200), "support": "hand-held", "is_stabilised": 1.0,
            "exposure_time_s": 2.0 ** rng.integers(-9, 0, 200),
            "focal_length_35mm": rng.choice([50.0, 100.0, np.nan], 200),
            "is_keeper": rng.random(200) < 0.5, "fault_shake": rng.random(200) < 0.3,
        }
    )  # fmt: skip
    told = frames[frames["session"].isin([2, 5]) & frames["focal_length_35mm"].notna()]
    told = told[told["is_keeper"] | told["fault_shake"]]
    found = series_frames(frames, [5, 2, 5, 9], "hand-held", True)
    assert found["day"].tolist() == told["session"].tolist()
    assert found["has_fault"].tolist() == told["fault_shake"].tolist()
    assert found["dose"].to_numpy() == pytest.approx(np.log2(told["exposure_time_s"] * told["focal_length_35mm"]))
    assert not len(BySession(frames).shot([]).day)
