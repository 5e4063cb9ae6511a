"""Drift by season: found where it is, not found where it is not, and counted alike everywhere.

Changes are drawn from the law itself with a season put in by adding up days; the figures are
invented.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fleet.stats.belief import Belief
from fleet.stats.clock import PLAIN, Clock
from fleet.stats.drift_season import fit_season
from fleet.stats.fleet_model import DRIFT_PRIOR
from fleet.stats.growth import Growth, Season, growth_years, worst_since_known
from fleet.stats.pooled_change import Changes, fit_change, posterior_growth
from tests.hand_outlook import one_cause_gauges

FIRST = date(2020, 1, 1).toordinal()
SWING, PEAK = 0.7, 300.0


def days_that_count(swing: float) -> np.ndarray:
    """Give how much each of ten years' days counts, by adding up."""
    day = np.arange(3653)
    return 1.0 + swing * np.cos(2.0 * np.pi * (day - PEAK) / 365.25)


def draw_changes(dice: np.random.Generator, *, swing: float, units: int = 150) -> Changes:
    """Give five changes a gauge over spells of 60 to 300 days."""
    spells = dice.integers(60, 300, (units, 5))
    ends = dice.integers(0, 365, (units, 1)) + np.cumsum(spells + 1, axis=1)
    counted = np.concatenate([[0.0], np.cumsum(days_that_count(swing))])
    years = (counted[ends] - counted[ends - spells]) / 365.25
    rate = dice.normal(-3.0, 2.0, (units, 1))
    amount = dice.normal(rate * years, np.sqrt(0.5**2 * years + 0.8**2))
    return Changes(
        years=spells.ravel() / 365.25,
        amount=amount.ravel(),
        variance=np.full(spells.size, 0.8**2),
        unit=np.repeat(np.arange(units), 5),
        units=units,
        found_day=(FIRST + ends).ravel().astype(np.float64),
    )


def test_season_is_found_where_there_is_one():
    clocks = [
        fit_season(draw_changes(np.random.default_rng(seed), swing=SWING), DRIFT_PRIOR)
        for seed in range(6)
    ]

    assert [clock.swing for clock in clocks] == pytest.approx([SWING] * 6, abs=0.2)
    assert [clock.peak_day for clock in clocks] == pytest.approx([PEAK] * 6, abs=20.0)
    assert np.mean([clock.swing for clock in clocks]) == pytest.approx(SWING, abs=0.08)


def test_season_is_seldom_found_where_there_is_none():
    """At a level of 1 % more than two of 40 are a chance of 1 in 100."""
    clocks = [
        fit_season(draw_changes(np.random.default_rng(seed), swing=0.0), DRIFT_PRIOR)
        for seed in range(100, 140)
    ]

    assert sum(clock.swing > 0.0 for clock in clocks) <= 2


def test_few_changes_tell_no_season():
    few = draw_changes(np.random.default_rng(1), swing=SWING, units=5)

    assert fit_season(few, DRIFT_PRIOR) == PLAIN


def test_rates_are_learned_better_by_season():
    changes = draw_changes(np.random.default_rng(2), swing=SWING)
    clock = fit_season(changes, DRIFT_PRIOR)

    flat, seasonal = fit_change(changes, DRIFT_PRIOR), fit_change(changes, DRIFT_PRIOR, clock)

    assert seasonal.walk_sd < 0.75 * flat.walk_sd
    assert seasonal.mean == pytest.approx(-3.0, abs=0.6)
    variance = [posterior_growth(changes, fit).variance.mean() for fit in (flat, seasonal)]
    assert variance[1] < variance[0]


def make_growth(clock: Clock) -> Growth:
    count = np.ones(3)
    season = Season(clock.cosine * count, clock.sine * count, np.full(3, FIRST + 1000))
    return Growth(
        start=0.0 * count,
        start_variance=0.25 * count,
        rate=-3.0 * count,
        rate_variance=0.5 * count,
        walk_variance=0.5 * count,
        low=-4.0 * count,
        high=4.0 * count,
        season=season,
    )


def autumn() -> Clock:
    angle = 2.0 * np.pi * (FIRST + PEAK - 730120.0) / 365.25
    return Clock(cosine=SWING * np.cos(angle), sine=SWING * np.sin(angle))


def test_years_of_growth_are_the_days_that_count_added_up():
    growth, age_days = make_growth(autumn()), np.array([0, 150, 700])

    years = growth_years(growth, age_days, np.array([0.0, 40.0, 400.0]))

    counted = days_that_count(SWING)
    for row, age in zip(years, age_days, strict=True):
        for got, ahead in zip(row, (0, 40, 400), strict=True):
            # the middle of each day, so the sum is the integral to within a day's slope
            expected = counted[1000 - age : 1000 + ahead].sum() / 365.25
            assert got == pytest.approx(expected, abs=0.003)


def test_worst_day_since_known_counts_by_season():
    growth, age_days = make_growth(autumn()), np.array([0, 150, 700])

    worst = worst_since_known(growth, age_days)

    plain = worst_since_known(make_growth(PLAIN), age_days)
    assert worst[0] == plain[0]
    assert worst[1] != pytest.approx(plain[1], rel=0.05)
    years = growth_years(growth, age_days, np.zeros(1))[:, 0]
    alike = worst_since_known(make_growth(PLAIN), np.round(years * 365.25).astype(np.int64))
    assert worst == pytest.approx(alike, rel=0.02, abs=1e-6)


def test_beliefs_grow_older_by_season_too():
    gauges = one_cause_gauges(3, 0.5, age_days=10)
    season = Season(np.full(3, 0.5), np.zeros(3), gauges.blockage.today.copy())
    given = type(gauges)(
        **{
            **{name: getattr(gauges, name) for name in gauges.__dataclass_fields__},
            "drift": Growth(
                *(getattr(gauges.drift, n) for n in list(Growth.__dataclass_fields__)[:-1]), season
            ),
        }
    )
    known = np.ones(3, dtype=bool)
    belief = Belief(
        given,
        level_known=known,
        ohm_known=known,
        level_variance=np.ones(3),
        dice=np.random.default_rng(1),
    )
    whole = growth_years(given.drift, given.drift_age_days, np.array([30.0]))

    belief.pass_days(30)

    kept = belief.gauges
    assert growth_years(kept.drift, kept.drift_age_days, np.zeros(1)) == pytest.approx(whole)
    assert (given.drift.season.today == season.today).all()
