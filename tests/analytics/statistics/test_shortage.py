"""It is the light, not you: stops that the best settings lack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from careers import career

from analytics.statistics.cells import cells_of
from analytics.statistics.habit_catalogue import Scene, scene_of
from analytics.statistics.shortage import lacking_light, missing_stops, shortage


@pytest.fixture(scope="module")
def frames() -> pd.DataFrame:
    return career(61, 60).frames


@pytest.fixture(scope="module")
def scene(frames: pd.DataFrame) -> Scene:
    return scene_of(cells_of(frames))


def test_the_darker_the_light_the_more_is_missing(scene: Scene) -> None:
    darker = replace(scene, cells=replace(scene.cells, ev100=scene.cells.ev100 - 1))
    assert np.isfinite(missing_stops(scene)).any()
    np.testing.assert_allclose(missing_stops(darker), missing_stops(scene) + 1)


def test_a_wider_lens_gives_what_its_aperture_gives(scene: Scene) -> None:
    wider = replace(scene, cells=replace(scene.cells, aperture_stops=scene.cells.aperture_stops - 1))
    np.testing.assert_allclose(missing_stops(wider), missing_stops(scene) - 1)


def test_the_stops_of_the_frames_are_those_of_their_settings(frames: pd.DataFrame, scene: Scene) -> None:
    assert sorted(set(lacking_light(frames).dropna())) == sorted(
        set(missing_stops(scene)[np.isfinite(missing_stops(scene))])
    )


def test_frames_that_lack_light_are_kept_less_often_and_counted(frames: pd.DataFrame) -> None:
    found = shortage(frames.assign(ev100=frames["ev100"] - 2))
    missing = lacking_light(frames.assign(ev100=frames["ev100"] - 2))
    assert found.n_frames == (missing > 1 / 3).sum()
    assert found.stops_low <= found.stops <= found.stops_high
    assert found.keepers_low <= found.keepers <= found.keepers_high
    assert 0 <= found.share_by_hands <= 1
    assert found.is_enough


def test_in_bright_light_nothing_is_missing(frames: pd.DataFrame) -> None:
    found = shortage(frames.assign(ev100=16.0))
    assert (found.n_frames, found.is_enough) == (0, False)


def test_where_light_or_lens_is_unknown_nothing_is_said(frames: pd.DataFrame) -> None:
    assert shortage(frames.assign(ev100=np.nan)).n_frames == 0
    assert shortage(frames.drop(columns="lens")).n_frames == 0
    assert shortage(frames.iloc[:0]).n_frames == 0


def test_flash_brings_its_own_light(frames: pd.DataFrame) -> None:
    assert lacking_light(frames.assign(used_flash=True)).isna().all()
