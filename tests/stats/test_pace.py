"""The pace of drives, held against drives made here with a known pace.

Sources: [CALC] Theil-Sen on a straight line gives the line; the confidence of the interval is tried
over 60 worlds with meals and errands mixed in (probabilities of our own).
"""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import TooFewPointsError
from fleet.stats.pace import fit_pace

TRUE = 1.31 * 60 / 58
"""1.31 times the straight line at 58 km/h, in min a km: 1.355."""


def drives(rng, count, *, meals=0.0, errands=0.0, start=2.0):
    km = rng.gamma(2.0, 6.0, count) + 2.0
    minutes = (km * TRUE + start) * np.exp(rng.normal(0.0, 0.1, count))
    minutes += np.where(rng.random(count) < meals, 30.0, 0.0)
    minutes += np.where(rng.random(count) < errands, rng.exponential(25.0, count), 0.0)
    return km, np.round(minutes)


def test_pace_of_exact_drives_is_exact():
    km = np.linspace(3, 60, 40)

    fit = fit_pace(km, 2.5 + 1.3 * km)

    assert fit.min_per_km == pytest.approx(1.3)
    assert fit.start_min == pytest.approx(2.5)
    assert fit.legs == 40


def test_interval_holds_the_true_pace_though_one_drive_in_four_had_a_meal():
    rng = np.random.default_rng(3)
    fits = [fit_pace(*drives(rng, 214, meals=0.25, errands=0.1)) for _ in range(60)]

    covered = sum(fit.low <= TRUE <= fit.high for fit in fits)

    assert covered >= 51  # 95 % of 60 is 57; below 51 has a chance under 1 %
    assert np.mean([fit.min_per_km for fit in fits]) == pytest.approx(TRUE, rel=0.01)
    assert 2.0 < np.mean([fit.start_min for fit in fits]) < 5.0


def test_plain_mean_would_be_far_off_where_the_fit_is_not():
    km, minutes = drives(np.random.default_rng(5), 400, meals=0.25, errands=0.1)

    assert minutes.sum() / km.sum() > 1.4 * TRUE
    assert fit_pace(km, minutes).min_per_km == pytest.approx(TRUE, rel=0.05)


def test_start_below_nothing_gives_the_median_pace():
    km = np.linspace(3, 60, 41)
    minutes = km * np.where(np.arange(41) < 20, 1.2, 1.6)  # far drives are slower

    fit = fit_pace(km, minutes)

    assert fit.start_min == 0.0
    assert fit.min_per_km == pytest.approx(1.6)
    assert (fit.low, fit.high) == pytest.approx((1.2, 1.6))


def test_only_the_newest_drives_enter():
    km = np.tile(np.linspace(3, 60, 40), 40)
    minutes = km * np.where(np.arange(1600) < 100, 9.0, 1.3)

    fit = fit_pace(km, minutes)

    assert (fit.legs, fit.min_per_km) == (1500, pytest.approx(1.3))


@pytest.mark.parametrize("km", [np.linspace(3, 60, 29), np.full(50, 7.0), []])
def test_too_few_drives_are_refused(km):
    with pytest.raises(TooFewPointsError, match="a pace needs 30"):
        fit_pace(km, np.asarray(km) * 1.3)
