"""The Weibull law of interval-censored lives against reference libraries.

- Deep-groove bearings, 23 lives in million turns (Lieblein and Zelen 1956, values from memory of
  the much-printed table): surpyval 0.25 publishes the MLE 81.8746, 2.10185 of its data set
  bearing_failures, which scipy's weibull_min confirms. A life is given here as +-0.005.
- Turbine wheels, 432 inspected once (Nelson 1982, counts from memory): each cracked before, or not
  yet at, its inspection. surpyval 0.25 on Python 3.11:
      surpyval.Weibull.fit(xl=..., xr=..., n=...).params  ->  4677.7225, 2.17578
  with xl 0 and xr the hours for the cracked, xl the hours and xr infinity for the rest.
- Drawn samples: scipy.stats.weibull_min.fit on CensoredData, floc=0.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import CensoredData, weibull_min

from fleet.errors import TooFewPointsError
from fleet.stats.weibull import WeibullFit, age_at_reliability, fit_weibull

BEARINGS = (
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80,
    68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
)  # fmt: skip

WHEELS = (
    (400, 39, 0), (1000, 53, 4), (1400, 33, 2), (1800, 73, 7), (2200, 30, 5), (2600, 39, 9),
    (3000, 42, 9), (3400, 13, 6), (3800, 34, 22), (4200, 40, 21), (4600, 36, 21),
)  # fmt: skip
"""Hours at inspection, wheels inspected, wheels found cracked."""


def wheels():
    low = [np.repeat([0.0, hours], [cracked, n - cracked]) for hours, n, cracked in WHEELS]
    high = [np.repeat([hours, np.inf], [cracked, n - cracked]) for hours, n, cracked in WHEELS]
    return np.concatenate(low), np.concatenate(high)


def drawn(n: int, *, scale: float, shape: float, seed: int):
    """Give the checks of lives that are looked at once, and again if then still fit."""
    rng = np.random.default_rng(seed)
    life, first = scale * rng.weibull(shape, n), rng.uniform(50, 400, n)
    second = first + rng.uniform(50, 400, n)
    low = np.where(life < first, 0.0, np.where(life < second, first, second))
    high = np.where(life < first, first, np.where(life < second, second, np.inf))
    return low, high


def test_fit_weibull_matches_surpyval_on_bearing_failures():
    lives = np.array(BEARINGS)

    fit = fit_weibull(lives - 0.005, lives + 0.005)

    assert fit.scale_days == pytest.approx(81.8746, abs=2e-4)
    assert fit.shape == pytest.approx(2.10185, abs=2e-5)
    assert (fit.failures, fit.spells) == (23, 23)


def test_fit_weibull_matches_surpyval_on_inspected_turbine_wheels():
    fit = fit_weibull(*wheels())

    assert fit.scale_days == pytest.approx(4677.7225, rel=1e-5)
    assert fit.shape == pytest.approx(2.17578, rel=1e-5)
    assert (fit.failures, fit.spells) == (106, 432)


@pytest.mark.parametrize(("shape", "seed"), [(0.8, 5), (1.4, 3), (3.0, 8)])
def test_fit_weibull_matches_scipy_on_censored_data(shape, seed):
    low, high = drawn(150, scale=300.0, shape=shape, seed=seed)
    ended = np.isfinite(high)
    data = CensoredData(interval=np.c_[low, high][ended], right=low[~ended])

    fit = fit_weibull(low, high)

    expected_shape, _, expected_scale = weibull_min.fit(data, 1.0, scale=300.0, floc=0)
    assert fit.scale_days == pytest.approx(expected_scale, rel=1e-4)
    assert fit.shape == pytest.approx(expected_shape, rel=1e-4)
    law = weibull_min(fit.shape, scale=fit.scale_days)
    expected = np.log(law.cdf(high) - law.cdf(low)).sum()
    assert fit.log_likelihood == pytest.approx(expected, rel=1e-9)


def test_age_at_reliability_is_where_scipys_survival_meets_the_target():
    fit = fit_weibull(*wheels())

    age = age_at_reliability(fit, 0.9)

    law = weibull_min(fit.shape, scale=fit.scale_days)
    assert law.sf(age.days) == pytest.approx(0.9, abs=1e-9)
    assert age.low_days < age.days < age.high_days
    assert age.low_days * age.high_days == pytest.approx(age.days**2)


def test_interval_of_the_age_holds_the_truth_about_as_often_as_it_says():
    true_age = 300.0 * (-np.log(0.9)) ** (1 / 1.5)
    held = 0
    for seed in range(120):
        fit = fit_weibull(*drawn(80, scale=300.0, shape=1.5, seed=seed))
        age = age_at_reliability(fit, 0.9)
        held += age.low_days <= true_age <= age.high_days

    assert 0.90 <= held / 120 <= 0.99  # 95 % nominal; two standard errors are 4 points


def test_spread_of_a_known_law_is_that_of_first_principles():
    # at target exp(-1) the age is the scale itself: its spread is that of ln scale alone
    fit = WeibullFit(200.0, 2.0, 0.0, np.diag([0.01, 0.5]), 10, 20)

    age = age_at_reliability(fit, float(np.exp(-1)))

    assert age.days == pytest.approx(200.0)
    assert age.high_days == pytest.approx(200.0 * np.exp(1.959964 * 0.1))


def test_longer_unit_of_time_changes_the_scale_alone():
    low, high = drawn(100, scale=300.0, shape=1.4, seed=3)

    days, weeks = fit_weibull(low, high), fit_weibull(low / 7, high / 7)

    assert weeks.scale_days == pytest.approx(days.scale_days / 7, rel=1e-5)
    assert weeks.shape == pytest.approx(days.shape, rel=1e-5)


def test_too_few_failures_are_not_enough_evidence():
    low, high = np.full(40, 180.0), np.full(40, np.inf)
    high[:4] = 360.0

    with pytest.raises(TooFewPointsError, match="4 of 40 services ended unfit; at least 5 of 20"):
        fit_weibull(low, high)


def test_too_few_spells_are_not_enough_evidence():
    low, high = drawn(19, scale=300.0, shape=1.4, seed=3)

    with pytest.raises(TooFewPointsError, match="of 19 services"):
        fit_weibull(low, high)


def test_ages_all_alike_do_not_tell_the_shape():
    low = np.where(np.arange(40) < 8, 0.0, 180.0)
    high = np.where(np.arange(40) < 8, 180.0, np.inf)

    with pytest.raises(TooFewPointsError, match="do not tell the shape"):
        fit_weibull(low, high)


@pytest.mark.parametrize(("low", "high"), [(10.0, 10.0), (-1.0, 5.0), (20.0, 10.0)])
def test_a_spell_without_length_is_refused(low, high):
    lows, highs = drawn(30, scale=300.0, shape=1.4, seed=3)
    lows[0], highs[0] = low, high

    with pytest.raises(ValueError, match="0 <= low < high"):
        fit_weibull(lows, highs)


def test_lives_parted_cleanly_by_age_do_not_tell_the_shape():
    fit, unfit = np.arange(60.0, 180.0, 3.0), np.arange(180.0, 360.0, 15.0)
    low = np.concatenate([fit, np.zeros(unfit.size)])
    high = np.concatenate([np.full(fit.size, np.inf), unfit])

    with pytest.raises(TooFewPointsError, match="do not tell the shape"):
        fit_weibull(low, high)


def test_spread_of_the_age_joins_both_parameters_and_what_they_share():
    fit = WeibullFit(200.0, 2.0, 0.0, np.array([[0.01, 0.004], [0.004, 0.02]]), 10, 20)

    age = age_at_reliability(fit, 0.9)

    # d ln t = d ln scale + 1.125184 d ln shape, as ln(-ln 0.9) = -2.250367: variance 0.0443223
    assert age.high_days / age.days == pytest.approx(1.5108, abs=1e-4)
