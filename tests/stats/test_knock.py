"""Sudden changes of level: simulated changes of which the truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.stats.fleet_model import DRIFT_PRIOR
from fleet.stats.hazard import HazardFit
from fleet.stats.knock import KnockFit, count_knocks, fit_knock
from fleet.stats.pooled_change import Changes, GrowthFit, fit_change


def draw_changes(gauges: int, *, seed: int, per_year: float, size_sd: float = 9.0):
    rng = np.random.default_rng(seed)
    unit = np.repeat(np.arange(gauges), 5)
    years = rng.uniform(0.3, 1.0, unit.size)
    variance = np.full(unit.size, 0.5)
    rate = rng.normal(-2.0, 1.0, gauges)[unit]
    slow = rate * years + rng.normal(0, np.sqrt(1.44 * years + variance))
    knocked = rng.random(unit.size) < -np.expm1(-per_year * years)
    amount = slow + knocked * rng.normal(0, size_sd, unit.size)
    return Changes(years, amount, variance, unit, gauges), knocked


def test_rate_and_size_of_sudden_changes_are_recovered_but_for_the_small_ones():
    changes, knocked = draw_changes(600, seed=1, per_year=0.08)

    fit = fit_knock(changes, fit_change(changes, DRIFT_PRIOR))

    # a third of them, below about 4 %, cannot be told from drift and do no harm
    true_rate = knocked.sum() / changes.years.sum()
    assert 0.6 * true_rate < fit.hazard.per_year < 1.1 * true_rate
    assert fit.size_sd == pytest.approx(9.0, rel=0.2)


def test_sudden_changes_leave_the_drift_as_it_is():
    with_them, _ = draw_changes(600, seed=2, per_year=0.08)
    without, _ = draw_changes(600, seed=2, per_year=0.0)

    found, bare = fit_change(with_them, DRIFT_PRIOR), fit_change(without, DRIFT_PRIOR)

    assert found.mean == pytest.approx(bare.mean, abs=0.15)
    assert found.walk_sd == pytest.approx(bare.walk_sd, rel=0.25)


def test_probabilities_of_sudden_changes_come_true():
    changes, knocked = draw_changes(1500, seed=3, per_year=0.1)
    drift = fit_change(changes, DRIFT_PRIOR)

    events, years = count_knocks(changes, drift, fit_knock(changes, drift))

    true = np.bincount(changes.unit[knocked], minlength=1500)
    assert 0.75 * true.sum() < events.sum() < 1.1 * true.sum()
    assert np.corrcoef(events, true)[0, 1] > 0.75
    assert np.all((years > 0) & (years < 5.0))


def test_drift_alone_counts_next_to_nothing():
    changes, _ = draw_changes(600, seed=4, per_year=0.0)
    drift = fit_change(changes, DRIFT_PRIOR)

    fit = fit_knock(changes, drift)

    assert fit.hazard.per_year < 0.01
    assert count_knocks(changes, drift, fit)[0].max() < 0.5


def test_no_changes_give_the_prior():
    none = Changes(*(np.zeros(0),) * 3, np.zeros(0, dtype=np.int64), 3)
    drift = fit_change(none, DRIFT_PRIOR)

    fit = fit_knock(none, drift)

    assert fit.hazard.per_year == pytest.approx(0.05)
    assert fit.size_sd == 8.0
    assert [part.tolist() for part in count_knocks(none, drift, fit)] == [[0.0] * 3, [0.0] * 3]


def test_half_of_the_time_to_a_sure_sudden_change_is_watched():
    changes = Changes(
        years=np.array([1.0, 1.0, 1.0]),
        amount=np.array([0.0, 0.0, 25.0]),
        variance=np.full(3, 0.5),
        unit=np.array([0, 1, 1]),
        units=2,
    )
    drift = GrowthFit(mean=0.0, mean_sd=0.1, between_sd=1.0, walk_sd=1.0)

    events, years = count_knocks(changes, drift, KnockFit(HazardFit(1.0, 20.0), 8.0))

    # 25 % is over ten standard deviations from drift alone, and three of a sudden change
    assert events == pytest.approx([0.0, 1.0], abs=0.03)
    assert years == pytest.approx([1.0, 1.5], abs=0.03)
