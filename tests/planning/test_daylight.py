"""Daylight against an almanac rule that everyone can check, and at the edges of the earth.

At an equinox the sun is up for a little over 12 hours everywhere (refraction and the sun's
disc add 7 to 14 minutes at middle latitudes): first principles.
"""

from datetime import date

import pytest

from fleet.planning.daylight import Daylight, daylight

EQUINOX = date(2026, 3, 20)


@pytest.mark.parametrize("latitude", [0.0, 45.0, -45.0])
def test_equinox_day_lasts_a_little_over_twelve_hours(latitude):
    light = daylight(latitude, 0.0, day=EQUINOX, time_zone="UTC")

    assert 720 <= light.set_min - light.rise_min <= 736


def test_solar_noon_at_greenwich_is_near_clock_noon():
    light = daylight(51.5, 0.0, day=EQUINOX, time_zone="UTC")

    # The equation of time on 20 March is about -7.5 minutes (almanacs): noon at 12:07.
    assert (light.rise_min + light.set_min) / 2 == pytest.approx(727.5, abs=2)


def test_polar_summer_has_no_limit():
    light = daylight(78.0, 15.0, day=date(2026, 6, 21), time_zone="UTC")

    assert light == Daylight(0, 1440, polar=True)


def test_clock_of_the_depot_is_used():
    utc = daylight(45.0, 0.0, day=EQUINOX, time_zone="UTC")
    west = daylight(45.0, 0.0, day=EQUINOX, time_zone="Etc/GMT+2")

    assert utc.rise_min - west.rise_min == 120
