"""How time counts: against plain integrals of the season (scipy) and powers of ages."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy.integrate import quad

from fleet.stats.clock import PLAIN, Clock, exposure, season_years


def days(*values):
    return np.array(values, dtype=np.float64)


def test_plain_clock_counts_years():
    found = exposure(PLAIN, days(1000), days(1100), days(1465.25))

    assert found == pytest.approx([1.0])


def test_wear_counts_the_power_of_the_age():
    clock = Clock(wear=2.0)

    found = exposure(clock, days(0, 0), days(0, 365.25), days(365.25, 730.5))

    assert found == pytest.approx([1.0, 3.0])


def test_season_of_many_days_is_that_of_each():
    clock = Clock(cosine=0.5, sine=-0.3)
    many = np.random.default_rng(2).integers(735_000, 735_400, 5000).astype(np.float64)
    some = np.unique(many)[:50]

    found = season_years(clock, many)

    assert (season_years(clock, some) == [found[many == day][0] for day in some]).all()
    halves = season_years(clock, many + 0.5)
    assert (halves[:9] == [season_years(clock, days(day + 0.5))[0] for day in many[:9]]).all()


def test_season_is_the_integral_of_its_days():
    clock = Clock(cosine=0.5, sine=-0.3)

    def weight(day):
        turn = 2 * np.pi * (day - date(2000, 1, 1).toordinal()) / 365.25
        return 1 + 0.5 * np.cos(turn) - 0.3 * np.sin(turn)

    for start, end in ((738_000.0, 738_090.0), (738_000.0, 738_900.0)):
        expected = quad(weight, start, end, limit=200)[0] / 365.25
        found = season_years(clock, days(end)) - season_years(clock, days(start))
        assert found == pytest.approx([expected], rel=1e-9)


def test_season_tells_its_swing_and_its_peak():
    clock = Clock(cosine=0.0, sine=0.6)

    assert clock.swing == pytest.approx(0.6)
    assert clock.peak_day == pytest.approx(91.3, abs=0.05)  # a quarter of 365.25 days


def test_no_time_is_no_exposure_and_a_mistaken_order_none_either():
    clock = Clock(wear=1.7, cosine=0.4)

    assert exposure(clock, days(100), days(200), days(200)) == pytest.approx([0.0])
    assert exposure(clock, days(100), days(300), days(200)) == pytest.approx([0.0])
