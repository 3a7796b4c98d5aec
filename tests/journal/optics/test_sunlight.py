"""The sun's height against its declination, and the names of the light."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from journal.optics.sunlight import sun_elevation_deg, sunlight_name

#: Tilt of the earth's axis [degrees]. Source: IAU 2006 obliquity of the ecliptic, rounded.
OBLIQUITY_DEG = 23.44


@pytest.mark.parametrize("latitude", [0.0, 35.0, 51.48])
def test_at_midsummer_noon_the_sun_stands_at_90_minus_latitude_plus_the_tilt(latitude: float) -> None:
    noon = datetime(2026, 6, 21, 12, 2, tzinfo=UTC)
    assert sun_elevation_deg(latitude, 0.0, noon) == pytest.approx(90 - abs(latitude - OBLIQUITY_DEG), abs=0.1)


def test_the_same_moment_in_another_zone_has_the_same_sun() -> None:
    moment = datetime(2026, 3, 1, 6, 40, tzinfo=UTC)
    elsewhere = moment.astimezone(timezone(timedelta(hours=9)))
    assert sun_elevation_deg(51.5, -0.1, elsewhere) == pytest.approx(sun_elevation_deg(51.5, -0.1, moment))


def test_the_light_is_named_by_its_lower_end() -> None:
    names = [sunlight_name(elevation) for elevation in (6, 5.9, -4, -4.1, -18, -18.1)]
    assert names == ["day", "golden hour", "golden hour", "dusk", "dusk", "night"]
