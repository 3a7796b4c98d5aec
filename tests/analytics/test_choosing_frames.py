"""A filter means the same frames wherever it is used: typed, as SQL over frames, as a mask over the summary."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journals import HOSTILE, empty_journal, small_journal
from PIL import Image

from analytics.dataset import OpenJournal, choice_sql
from analytics.dataset.choices import UNKNOWN_KEY, ChoiceReader
from analytics.dataset.choosing import Condition, Filter, exactly, read_filter, within
from analytics.dataset.scales import KNOWN_WORDS, SCALES, WORDS, key_of, label_of, light_kind_word, span_of, typed_of
from analytics.pages.choice_words import BEYOND, ORDER, filter_in_words
from analytics.pages.counting import Counting, key_label
from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.schema.setting_keys import SETTING_KEYS
from journal.store.opening import open_journal
from journal.store.summaries import refresh, refresh_all

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: Names that a filter must take as they are.
ODD_NAMES = ("-", "--", "-50 mm", " 50 mm ", "unknown", HOSTILE, "x' or '1'='1", "%_")


def varied(path: Path) -> Path:
    """Six sessions that state different things, frames that know little, and gear with odd names."""
    small_journal(path, 6)
    connection = open_journal(path)
    connection.executemany("insert into lenses (model) values (?)", [(name,) for name in ODD_NAMES])
    connection.execute("insert into bodies (make, model, serial_number) values ('Tidewell', 'M1', 'another')")
    connection.execute("update sessions set priority = null, camera_support = null where id = 2")
    connection.execute("update sessions set light = 'fresh snow', light_ev100 = 12.5 where id in (3, 4)")
    connection.execute("update sessions set light = 'dull', subject_pace = 'fast', light_ev100 = -1 where id = 5")
    connection.execute("update frames set lens_id = id % 10, body_id = 1 + id % 2 where id % 3 = 0 and id % 10 > 0")
    connection.execute("update frames set camera_support = 'braced', focal_length_mm = 85.4 where id % 7 = 0")
    connection.execute("update frames set sv6 = 20 + id % 5, av6 = null where id % 4 = 0")
    connection.execute("update frames set ev100_third = id, stops_below_rule_third = id % 9 - 4 where id % 5 = 0")
    connection.execute("update frames set taken_at_local = '2025-12-31T23:59:00' where id % 6 = 0")
    connection.execute("update frames set burst_id = null where id = 1")
    connection.execute("update sessions set is_suggested = 1 where id = 6")
    refresh_all(connection)
    connection.close()
    return path


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenJournal]:
    with OpenJournal(varied(tmp_path_factory.mktemp("varied") / "a.journal")) as opened:
        yield opened


def meant_by_sql(journal: OpenJournal, chosen: Filter) -> list[dict[str, Any]]:
    bursts = [row["id"] for row in journal.rows("select id from bursts")]
    where, bound = chosen.where()
    sql = choice_sql.CHOSEN_FRAMES.format(where=where)
    return journal.rows(sql, {"bursts": json.dumps(bursts), "verdict": None, **bound})


def conditions(setting: str) -> st.SearchStrategy[Condition]:
    if setting in WORDS:
        words = st.sampled_from(KNOWN_WORDS.get(setting, ("M1", "Tidewell 50 mm", *ODD_NAMES)))
        return st.builds(lambda word: exactly(setting, word), st.none() | words)
    ends = {"exposure_time": (-70, 0), "month": (24300, 24330), "focal_length": (40, 90), "session": (0, 8)}
    keys = st.integers(*ends.get(setting, (-14, 70)))
    ranges = st.tuples(st.none() | keys, st.none() | keys).filter(any)
    return st.builds(lambda key: exactly(setting, key), st.none() | keys) | st.builds(
        lambda pair: within(setting, *pair), ranges
    )


days = st.none() | st.dates().map(str) | st.sampled_from(["2026-03-02", "2026-03-04", "2026-03-05"])
filters = st.builds(
    lambda found, pair: Filter(tuple(found), *pair),
    st.lists(st.sampled_from([*SCALES, *WORDS]), unique=True, max_size=3).flatmap(
        lambda names: st.tuples(*map(conditions, names))
    ),
    st.tuples(days, days).filter(lambda pair: None in pair or pair[0] <= pair[1]),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(filters)
def test_the_summary_counts_exactly_the_frames_that_sql_finds(journal: OpenJournal, chosen: Filter) -> None:
    rows = meant_by_sql(journal, chosen)
    choices = journal.choices()
    meant = choices.mask(chosen)
    assert int(choices.n_judged[meant].sum()) == len(rows)
    assert int(choices.n_keepers[meant].sum()) == sum(row["verdict"] == "keeper" for row in rows)
    line = Counting(choices).whole(chosen)
    assert (line.n_frames if line else 0, line.n_sessions if line else 0) == (
        len(rows),
        len({row["session_id"] for row in rows}),
    )


@settings(max_examples=300)
@given(filters)
def test_what_a_filter_types_is_read_as_the_same_filter(chosen: Filter) -> None:
    read = read_filter(chosen.typed())
    assert sorted(map(str, read.conditions)) == sorted(map(str, chosen.conditions))
    assert (read.since, read.until) == (chosen.since, chosen.until)


@pytest.mark.parametrize("setting", [*SCALES, *WORDS])
def test_the_frames_of_every_line_are_as_many_as_the_line_says(journal: OpenJournal, setting: str) -> None:
    counting = Counting(journal.choices())
    chosen = read_filter([("iso-from", "100"), ("camera-support", "hand-held")]).without(setting)
    for other in ("iso", "lens"):
        if other == setting:
            continue
        lines = counting.lines([setting, other], chosen)
        for line in lines:
            one = chosen.only(exactly(setting, line.keys[0])).only(exactly(other, line.keys[1]))
            assert len(meant_by_sql(journal, one)) == line.n_frames
        assert sum(line.n_frames for line in lines) == len(meant_by_sql(journal, chosen))


def test_a_frame_of_unknown_time_is_in_no_month_until_somebody_says_when_it_was(tmp_path: Path) -> None:
    path, picture = tmp_path / "a.journal", tmp_path / "card" / "undated.jpg"
    picture.parent.mkdir()
    Image.new("RGB", (48, 32), (9, 80, 90)).save(picture)
    copied = datetime(2026, 11, 5, 12, tzinfo=UTC).timestamp()
    os.utime(picture, (copied, copied))
    load_commands()

    def months() -> list[tuple[str | None, ...]]:
        with OpenJournal(path) as opened:
            found = [line.labels for line in Counting(opened.choices()).lines(["month"], Filter())]
            assert [(key,) for key in opened.setting_counts("month")["key"].replace({np.nan: None})] == found
        return found

    assert run(["import", str(picture.parent), "--journal", str(path)]) == 0
    assert run(["judge", "1", "--keeper", "--journal", str(path)]) == 0
    assert months() == [(None,)]
    stated = ["--start", "2026-03-01 06:40", "--end", "2026-03-01 08:00"]
    assert run(["edit", "1", "--journal", str(path), *stated]) == 0
    assert months() == [("2026-03",)]


@pytest.mark.parametrize("setting", sorted(SETTING_KEYS))
def test_one_setting_at_a_time_both_summaries_count_alike(journal: OpenJournal, setting: str) -> None:
    counting = Counting(journal.choices())
    rows = journal.setting_counts(setting)
    rows["key"] = rows["key"].astype(object).where(rows["key"].notna(), None)
    by_label = rows.groupby("key", dropna=False)[["n_frames", "n_keepers"]].sum()
    expected = {None if key != key else key: tuple(map(int, row)) for key, row in by_label.iterrows()}
    lines = counting.lines([setting], Filter())
    found = {line.labels[0]: (line.n_frames, round(line.estimate * line.n_frames)) for line in lines}
    if setting == "session":
        found = {str(label): counts for label, counts in found.items()}
    assert found == expected


def test_only_the_sessions_that_changed_are_read_again(tmp_path: Path) -> None:
    path = varied(tmp_path / "a.journal")
    writer, reader = open_journal(path), ChoiceReader()
    with OpenJournal(path) as journal:
        first = reader.read(journal.connection)
        kept = reader._rows
        assert reader.read(journal.connection).n_judged.tolist() == first.n_judged.tolist()
        assert reader._rows is kept
        writer.execute("update frames set verdict = 'unjudged' where id = 4")
        refresh(writer, [1])
        writer.execute("delete from sessions where id = 6")
        again = reader.read(journal.connection)
        fresh = ChoiceReader().read(journal.connection)
    writer.close()
    assert again.n_judged.sum() == first.n_judged.sum() - 11
    for name in ("session", "burst", "session_ids", "burst_ids", "n_frames", "n_judged", "n_keepers", "day"):
        assert getattr(again, name).tolist() == getattr(fresh, name).tolist()
    assert {name: keys.tolist() for name, keys in again.columns.items()} == {
        name: keys.tolist() for name, keys in fresh.columns.items()
    }


def test_an_empty_journal_has_no_choices_and_nothing_is_kept_of_it(tmp_path: Path) -> None:
    with OpenJournal(empty_journal(tmp_path / "a.journal")) as journal:
        counting = Counting(journal.choices())
    assert counting.whole(Filter()) is None
    for setting in (*SCALES, *WORDS):
        assert counting.lines([setting], Filter()) == []


def test_bursts_stay_whole_and_the_newest_session_comes_first(journal: OpenJournal) -> None:
    choices = journal.choices()
    assert choices.session_ids.tolist() == [6, 5, 4, 3, 2, 1]
    assert choices.burst_ids.tolist() == [11, 12, 9, 10, 7, 8, 5, 6, 3, 4, 1, 2]
    assert (np.diff(choices.burst) >= 0).all() and (np.diff(choices.session) >= 0).all()
    assert set(choices.columns) == {*SCALES, *WORDS}
    assert (choices.columns["subject_pace"] == UNKNOWN_KEY).sum() > 0


@pytest.mark.parametrize(
    ("setting", "keys"),
    [
        ("exposure_time", range(-139, 116)),
        ("f_number", range(-20, 79)),
        ("iso", range(-30, 100)),
        ("focal_length", range(1, 1200, 7)),
        ("stops_below_rule", range(-60, 60)),
        ("ev100", range(-60, 90)),
        ("light", range(-12, 25)),
        ("month", range(24000, 24400)),
        ("session", range(1, 50)),
    ],
)
def test_what_is_typed_for_a_key_finds_its_label_again(setting: str, keys: range) -> None:
    for key in keys:
        typed = typed_of(setting, key)
        assert not typed.startswith("#")
        low, high = span_of(setting, key_of(setting, typed))
        assert low <= key <= high
        assert {label_of(setting, place) for place in range(low, high + 1)} == {label_of(setting, key)}


def test_a_stored_time_that_nobody_would_type_has_an_address_all_the_same() -> None:
    assert typed_of("exposure_time", -200) == "#-200"
    assert key_of("exposure_time", "#-200") == -200


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([], "All judged frames"),
        (
            [("camera-support", "hand-held"), ("lens", "Tidewell 85 mm"), ("exposure-time-from", "1/30")],
            "Hand-held with the Tidewell 85 mm, 1/30 and slower",
        ),
        ([("exposure-time-to", "1/250"), ("exposure-time-from", "1/30")], "1/250 to 1/30"),
        ([("iso-from", "1600"), ("f-number-to", "2.8")], "f/2.8 and wider, ISO 1600 and higher"),
        ([("camera-support", "tripod"), ("body", "M1"), ("pace", "-")], "On a tripod on the M1, subject pace unknown"),
        ([("from", "2026-03-01"), ("to", "2026-02-01")], "From 2026-02-01 to 2026-03-01"),
        ([("to", "2026-02-01")], "Sessions until 2026-02-01"),
        ([("stops-below-rule", "2"), ("light", "8")], "Stated light EV 8, 2 stops below the rule"),
        ([("ev100-to", "8"), ("month", "2026-03")], "Settings for EV 8 and darker, in 2026-03"),
    ],
)
def test_a_filter_is_said_in_words(pairs: list[tuple[str, str]], words: str) -> None:
    assert filter_in_words(read_filter(pairs)) == words


def test_every_setting_has_its_place_in_a_sentence() -> None:
    assert sorted(ORDER) == sorted((*SCALES, *WORDS))
    assert set(BEYOND) == set(SCALES)


@pytest.mark.parametrize(
    ("pairs", "problem", "next_step"),
    [
        ([("lense", "x")], "Frames cannot be chosen by 'lense'.", "Choose by: "),
        ([("iso", "400"), ("iso", "800")], "'iso' is said 2 times.", "Say it once."),
        (
            [("iso", "400"), ("iso-to", "800")],
            "iso is given as one value and as a range.",
            "Leave iso or its ends out.",
        ),
        ([("exposure-time-from", "fast")], "exposure-time: 'fast' is no exposure time.", "Write it as a fraction or "),
        ([("exposure-time", "#99999")], "exposure-time: '#99999' is no exposure time.", "Write it as a fraction or "),
        ([("f-number", "0")], "f-number: '0' is no f-number.", "Write it like f/5.6 or 5.6."),
        ([("iso", "1e9")], "iso: '1e9' is no ISO speed.", "Write it like 400 or ISO 400."),
        ([("stops-below-rule-to", "2.5")], "stops-below-rule: '2.5' is no whole number of stops.", "Write it like 2,"),
        ([("month", "2026-13")], "month: '2026-13' is no month.", "Write it like 2026-03."),
        ([("camera-support", "gimbal")], "'gimbal' is no camera-support.", "Use one of: hand-held, monopod, "),
        ([("pace", HOSTILE)], f"{HOSTILE!r} is no pace.", "Use one of: still, slow, "),
        ([("from", "yesterday")], "'yesterday' is no day.", "Write it like 2026-03-01."),
        (
            [("light-kind", "x" * 100)],
            f"{'x' * 60 + '…'!r} is no light-kind.",
            "Use one of: snow, night, stage, other.",
        ),
    ],
)
def test_what_cannot_be_chosen_is_refused(pairs: list[tuple[str, str]], problem: str, next_step: str) -> None:
    with pytest.raises(JournalError) as caught:
        read_filter(pairs)
    assert caught.value.problem == problem
    assert caught.value.next_step.startswith(next_step)


def test_gear_that_the_journal_does_not_know_is_refused(journal: OpenJournal) -> None:
    with pytest.raises(JournalError) as caught:
        Counting(journal.choices()).refuse_unknown_gear(read_filter([("body", "M9")]))
    assert (caught.value.problem, caught.value.next_step) == ("There is no body 'M9' in this journal.", "Known: M1.")


@pytest.mark.parametrize(
    ("words", "kind"), [("", None), ("  ", None), (None, None), ("fresh snow", "snow"), ("hazy sun", "other")]
)
def test_described_light_has_a_kind(words: str | None, kind: str | None) -> None:
    assert light_kind_word(words) == kind


def test_a_label_stands_for_its_key() -> None:
    assert (key_label("iso", 12), key_label("lens", "x"), key_label("iso", None)) == ("ISO 400", "x", None)
