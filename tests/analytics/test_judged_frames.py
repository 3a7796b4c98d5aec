"""The frames table of the statistics, against a journal that can be counted by hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from journals import changed, empty_journal, small_journal

from analytics.dataset import OpenJournal
from analytics.dataset.light import light_ev100
from analytics.queries import EXPLAINED_FRAME
from analytics.statistics.cells import cells_of
from journal.schema.ddl import FAULTS, PACES, PRIORITIES, SUPPORTS

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

INTERFACE = (
    "session", "burst", "position", "day", "exposure_time_s", "f_number", "iso", "focal_length_35mm", "body", "lens",
    "support", "is_stabilised", "used_flash", "priority", "ev100", "subject_pace", "is_backlit", "subject_distance_m",
    "subject_depth_m", "burst_number", "session_bursts", "burst_length", "is_keeper", "fault_exposure", "fault_focus",
    "fault_shake", "fault_motion", "fault_noise", "fault_timing",
)  # fmt: skip


def table(path: Path) -> pd.DataFrame:
    with OpenJournal(path) as journal:
        return journal.judged_frames()


def one(path: Path, frame: int = 1) -> dict[str, Any]:
    rows = table(path)
    return dict(rows[rows["frame_id"] == frame].iloc[0])


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal")


def test_the_table_has_the_columns_of_the_statistics_and_judged_frames_only(journal: Path) -> None:
    rows = table(journal)
    assert set(INTERFACE) <= set(rows.columns)
    assert len(rows) == 40
    assert rows["is_keeper"].sum() == 20
    assert rows["fault_shake"].sum() == 20
    assert not rows[["fault_exposure", "fault_focus", "fault_motion", "fault_noise", "fault_timing"]].any().any()


def test_an_empty_journal_gives_an_empty_table_that_statistics_accept(tmp_path: Path) -> None:
    rows = table(empty_journal(tmp_path / "a.journal"))
    assert set(INTERFACE) <= set(rows.columns)
    assert (len(rows), cells_of(rows).n_sessions) == (0, 0)


def test_what_nobody_wrote_down_is_unknown(journal: Path) -> None:
    row = one(journal)
    for name in ("is_stabilised", "used_flash", "is_backlit", "subject_distance_m", "subject_depth_m"):
        assert math.isnan(row[name]), name
    assert row["subject_pace"] is None or row["subject_pace"] != row["subject_pace"]
    assert (row["support"], row["priority"], row["body"], row["lens"]) == (
        "hand-held",
        "motion",
        "M1",
        "Tidewell 50 mm",
    )


def test_days_count_from_the_first_session_and_bursts_from_the_first_of_their_session(journal: Path) -> None:
    rows = table(journal).drop_duplicates("burst")
    assert rows["day"].round(6).tolist() == [0, 0, 1, 1, 2, 2, 3, 3]
    assert rows["burst_number"].tolist() == [0, 1] * 4
    assert set(rows["session_bursts"]) == {2}
    with OpenJournal(journal) as opened:
        assert opened.day_of("2026-03-04T18:40:00Z") == pytest.approx(3.5)


def test_an_unjudged_frame_counts_for_the_length_of_its_burst(journal: Path) -> None:
    path = changed(journal, "update bursts set n_frames = (select count(*) from frames where burst_id = bursts.id)")
    rows = table(path)
    assert rows.drop_duplicates("burst")["burst_length"].tolist() == [5, 6] * 4


@pytest.mark.parametrize(
    ("body", "lens", "expected"),
    [(1, "null", 1), ("null", 1, 1), (0, 0, 0), (0, "null", None), (0, 1, 1), ("null", "null", None)],
)
def test_a_frame_is_stabilised_where_body_or_lens_is_and_not_where_neither_is(
    journal: Path, body: object, lens: object, expected: int | None
) -> None:
    path = changed(journal, f"update bodies set is_stabilised = {body}", f"update lenses set is_stabilised = {lens}")
    found = one(path)["is_stabilised"]
    assert (None if math.isnan(found) else found) == expected


@pytest.mark.parametrize(("body", "expected"), [(1, 1), (0, 0), ("null", None)])
def test_a_lens_without_a_name_leaves_it_to_the_body(journal: Path, body: object, expected: int | None) -> None:
    path = changed(journal, f"update bodies set is_stabilised = {body}", "update frames set lens_id = null")
    found = one(path)["is_stabilised"]
    assert (None if math.isnan(found) else found) == expected
    with OpenJournal(path) as opened:
        assert opened.rows(EXPLAINED_FRAME, {"number": 1})[0]["is_stabilised"] == expected


def test_what_the_frame_says_of_stabilisation_support_and_distance_wins(journal: Path) -> None:
    path = changed(
        journal,
        "update bodies set is_stabilised = 1",
        "update sessions set subject_distance_m = 20",
        "update frames set is_stabilised = 0, camera_support = 'tripod', subject_distance_m = 7 where id = 1",
    )
    names = ("is_stabilised", "support", "subject_distance_m")
    assert [tuple(one(path, frame)[name] for name in names) for frame in (1, 2)] == [
        (0, "tripod", 7),
        (1, "hand-held", 20),
    ]


def test_flash_is_the_lowest_bit_of_exif(journal: Path) -> None:
    path = changed(journal, "update frames set flash = 16 where id = 1", "update frames set flash = 25 where id = 2")
    assert [one(path, frame)["used_flash"] for frame in (1, 2)] == [0, 1]


@pytest.mark.parametrize(
    ("column", "name", "words"),
    [
        ("priority", "priority", PRIORITIES),
        ("subject_pace", "subject_pace", PACES),
        ("camera_support", "support", SUPPORTS),
    ],
)
def test_every_word_of_the_schema_comes_through(journal: Path, column: str, name: str, words: tuple[str, ...]) -> None:
    for word in words:
        assert one(changed(journal, f"update sessions set {column} = '{word}'"))[name] == word


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_of_the_schema_is_in_one_column(journal: Path, fault: str) -> None:
    column = {
        "overexposed": "exposure",
        "underexposed": "exposure",
        "missed focus": "focus",
        "camera shake": "shake",
        "subject motion": "motion",
        "noise": "noise",
        "timing": "timing",
        "framing": "timing",
    }[fault]
    row = one(changed(journal, f"update frame_faults set fault = '{fault}'"), 5)
    assert [name for name in row if name.startswith("fault_") and row[name]] == [f"fault_{column}"]


def test_a_reject_may_have_several_faults(journal: Path) -> None:
    row = one(changed(journal, "insert into frame_faults values (5, 'noise'), (5, 'overexposed')"), 5)
    assert [name for name in row if name.startswith("fault_") and row[name]] == [
        "fault_exposure",
        "fault_shake",
        "fault_noise",
    ]


def test_the_plan_of_the_session_stands_beside_each_frame(journal: Path) -> None:
    row = one(changed(journal, "update sessions set planned_f_number_min = 4, planned_f_number_max = 8"))
    assert (row["planned_iso_min"], row["planned_iso_max"], row["planned_f_number_min"]) == (200, 1600, 4)
    assert math.isnan(row["planned_exposure_time_min_s"])


def test_a_frame_outside_any_burst_is_a_burst_of_its_own_and_one_of_no_session_is_left_out(journal: Path) -> None:
    path = changed(
        journal,
        "update frames set burst_id = null, position_in_burst = null where id in (1, 2)",
        "update frames set session_id = null where id = 3",
    )
    rows = table(path)
    assert rows.loc[rows["frame_id"].isin([1, 2]), ["burst", "burst_length", "position"]].to_numpy().tolist() == [
        [-1, 1, 0],
        [-2, 1, 0],
    ]
    assert 3 not in set(rows["frame_id"])


def test_the_stated_light_comes_first(journal: Path) -> None:
    row = one(changed(journal, "update sessions set light_ev100 = 9.5 where id = 1"))
    assert row["is_light_stated"]
    assert row["ev100"] == pytest.approx(9.5, abs=2.6)
    other = one(journal, 12)
    assert not other["is_light_stated"]


def light(settings: list[float], stated: float = np.nan, per_burst: int = 3) -> np.ndarray:
    """The light of a session with these bursts, one number per burst."""
    values = np.repeat(settings, per_burst)
    burst = np.repeat(np.arange(len(settings)), per_burst)
    session = np.zeros(len(values), dtype=np.int64)
    return light_ev100((session, burst), values.astype(float), np.full(len(values), stated))[::per_burst]


def test_light_that_goes_up_at_dawn_is_followed_around_the_stated_value() -> None:
    found = light([8.0 + step / 2 for step in range(17)], stated=12.0)
    assert found[8] == pytest.approx(12.0, abs=0.05)
    assert np.all(np.diff(found) >= 0)
    assert np.abs(found - [8.0 + step / 2 for step in range(17)]).max() < 1.1


def test_settings_that_go_up_and_down_by_chance_leave_the_stated_light_alone() -> None:
    rng = np.random.default_rng(1)
    found = np.array([light(list(rng.normal(9.0, 0.6, 20)), stated=10.0) for _ in range(200)])
    assert np.abs(found.mean() - 10.0) < 0.01
    assert found.std() < 0.15  # a running mean alone would give 0.6 / sqrt(9) = 0.2 and more at the ends


def test_unstated_light_is_that_of_the_settings_of_the_whole_session() -> None:
    assert light([8.0, 9.0, 8.0, 9.0, 8.0, 9.0]) == pytest.approx(8.5, abs=0.2)
    assert np.isnan(light([np.nan, np.nan])).all()
    assert light([np.nan, 9.0]) == pytest.approx(9.0)


def test_the_light_of_one_session_says_nothing_about_another() -> None:
    session, burst = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])
    found = light_ev100((session, burst), np.array([5.0, 5.0, 12.0, 12.0]), np.full(4, np.nan))
    assert found == pytest.approx([5, 5, 12, 12])


def test_a_frame_rejected_as_underexposed_had_less_light_than_its_settings_suit(journal: Path) -> None:
    plain = table(journal)
    under = table(changed(journal, "update frame_faults set fault = 'underexposed'"))
    assert (plain["ev100"] - under["ev100"]).round(6).groupby(plain["session"]).mean().tolist() == [0.5] * 4


def test_a_frame_lit_by_flash_says_nothing_about_the_light(journal: Path) -> None:
    path = changed(journal, "update frames set flash = 1 where exposure_time_s < 0.01")
    # The slow burst is left: f/4, 1/15 s, ISO 400.
    assert table(path)["ev100"].to_numpy() == pytest.approx(math.log2(16 * 15) - 2)


def test_order_of_writing_makes_no_difference_to_the_statistics_of_the_journal(journal: Path) -> None:
    rows = table(journal)
    assert cells_of(rows).n_frames.sum() == cells_of(rows.sample(frac=1, random_state=1)).n_frames.sum() == 40


def test_a_frame_outside_the_plan_is_off_it_and_a_sixth_of_a_stop_is_not(journal: Path) -> None:
    path = changed(
        journal,
        "update sessions set planned_iso_min = null, planned_iso_max = null where id = 2",
        "update frames set iso = 1760 where id = 1",
        "update frames set iso = 2000 where id = 2",
    )
    assert [one(path, frame)["is_off_plan"] for frame in (1, 2, 3)] == [0, 1, 0]
    assert math.isnan(one(path, 12)["is_off_plan"])


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("fresh Snow, thin cloud", "snow"),
        ("night, street lamps", "night"),
        ("stage, two spotlights at night", "stage"),
        ("hall lamps, warm and dim", None),
        ("a fortnight of rain", None),
        ("", None),
    ],
)
def test_the_words_for_the_light_say_what_kind_it_was(journal: Path, words: str, kind: str | None) -> None:
    row = one(changed(journal, f"update sessions set light = '{words}'"))
    found = row["light_kind"]
    assert found == kind if kind else found != found or found is None
    assert row["is_light_described"] == bool(words)


def test_light_that_nobody_described_is_told_from_light_of_no_kind(journal: Path) -> None:
    light = "case id when 1 then 'thin cloud' when 2 then '  ' else '' end"
    rows = table(changed(journal, f"update sessions set light = {light}"))
    assert rows["is_light_described"].dtype == bool
    assert rows.groupby("session")["is_light_described"].agg(["all", "any"]).to_numpy().tolist()[:2] == [
        [True, True],
        [False, False],
    ]
    assert not rows[rows["session"] > 2]["is_light_described"].any()
    assert rows["light_kind"].isna().all()
