"""Mean and standard deviation of a level over a kind; expected values by hand."""

import numpy as np
import pytest

from fleet.stats.spread import Spread, fit_spread

PRIOR = Spread(mean=0.0, sd=1.5, values=4)


def test_fit_spread_without_values_is_the_prior():
    assert fit_spread(np.zeros(0), np.zeros(0), prior=PRIOR) == Spread(0.0, 1.5, 0)


def test_fit_spread_weighs_the_prior_as_four_values():
    found = fit_spread(np.array([2.0, 4.0]), np.array([0.5, 0.5]), prior=PRIOR)

    # mean (4 x 0 + 2 + 4) / 6 = 1; variance (4 x 2.25 + 1 + 9 - 1) / 6 = 3
    assert found == Spread(pytest.approx(1.0), pytest.approx(3.0**0.5), 2)


def test_fit_spread_takes_the_measurement_off():
    rng = np.random.default_rng(2)
    values = rng.normal(0.7, 1.2, 4000) + rng.normal(0, 0.9, 4000)

    found = fit_spread(values, np.full(4000, 0.81), prior=PRIOR)

    assert (found.mean, found.sd) == (pytest.approx(0.7, abs=0.08), pytest.approx(1.2, abs=0.06))


def test_fit_spread_is_never_nothing():
    found = fit_spread(np.full(500, 1.0), np.full(500, 2.0), prior=PRIOR)

    assert found.sd == pytest.approx(0.15)


def test_fit_spread_pulls_in_a_gross_outlier():
    values = np.array([-1.0, -0.5, -0.5, 0.0, 0.0, 0.5, 0.5, 1.0, 60.0])

    found = fit_spread(values, np.zeros(9), prior=PRIOR)

    assert found.mean < 0.5
    assert found.sd < 1.7
