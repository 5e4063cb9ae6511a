"""What is learned of wear and season: against reference libraries, and against known truths.

Interval-censored lives: scipy.stats.weibull_min on CensoredData, and surpyval (a library).
"""

from __future__ import annotations

import numpy as np
import pytest
import surpyval
from scipy.stats import CensoredData, weibull_min

from fleet.stats.clock import PLAIN, Clock
from fleet.stats.clock_fit import fit_clock, fit_watches
from fleet.stats.hazard import HazardPrior
from fleet.stats.watch_count import count_watches
from tests.stats.watch_world import draw_watches

PRIOR = HazardPrior(per_year=0.2)


@pytest.mark.parametrize(("wear", "seed"), [(1.0, 2), (1.6, 3), (2.4, 4)])
def test_wear_is_near_the_shape_that_scipy_and_surpyval_find(wear, seed):
    """Without differences between units; the prior pulls a little toward 1."""
    seen = draw_watches(400, seed=seed, clock=Clock(wear=wear), shape=500.0, per_year=0.5)
    years = (seen.seen_day - seen.new_day) / 365.25
    struck = seen.struck
    lives = CensoredData(
        interval=np.c_[np.zeros(struck.sum()), years[struck]], right=years[~struck]
    )
    ends = np.where(struck, years, np.inf)

    clock = fit_clock(seen, PRIOR)

    by_scipy = weibull_min.fit(lives, 1.0, floc=0)[0]
    by_surpyval = surpyval.Weibull.fit(xl=np.where(struck, 0.0, years), xr=ends).params[1]
    assert by_scipy == pytest.approx(by_surpyval, rel=1e-3)
    assert clock.wear == pytest.approx(by_scipy, rel=0.1)


def test_wear_is_told_apart_from_differences_between_units():
    seen = draw_watches(1500, seed=5, clock=Clock(wear=2.0), shape=0.8)

    clock = fit_clock(seen, PRIOR)
    fit = fit_watches(seen, clock, PRIOR)

    assert clock.wear == pytest.approx(2.0, rel=0.12)
    assert fit.per_year == pytest.approx(0.6, rel=0.15)
    assert fit.shape == pytest.approx(0.8, rel=0.3)


def test_few_events_strike_at_any_age_alike():
    seen = draw_watches(10, seed=6, clock=Clock(wear=3.0), per_year=0.2)

    assert 0 < seen.struck.sum() < 10
    assert fit_clock(seen, PRIOR) == PLAIN


def test_beginnings_are_learned_with_how_often_they_come():
    seen = draw_watches(800, seed=7, clock=Clock(begun=4.0))

    clock = fit_clock(seen, PRIOR)

    assert clock.begun == pytest.approx(4.0, rel=0.15)
    assert clock.wear == pytest.approx(1.0, abs=0.1)


def test_season_is_found_where_there_is_one():
    true = Clock(cosine=-0.5, sine=0.6)
    seen = draw_watches(1500, seed=8, clock=true, apart_days=(60, 180))

    clock = fit_clock(seen, PRIOR)

    assert (clock.cosine, clock.sine) == pytest.approx((-0.5, 0.6), abs=0.2)


def test_season_is_seldom_found_where_there_is_none():
    """At a level of 1 %, two or more false ones of 40 have a chance of 6 %."""
    found = [
        fit_clock(draw_watches(150, seed=seed, clock=PLAIN), PRIOR).swing > 0
        for seed in range(100, 140)
    ]

    assert sum(found) <= 2


def test_fit_counts_plain_years_and_what_struck():
    seen = draw_watches(50, seed=9, clock=PLAIN)

    fit = fit_watches(seen, Clock(wear=1.5), PRIOR)

    years = (seen.seen_day - seen.well_day) / 365.25
    assert fit.events == seen.struck.sum()
    assert fit.exposure_years == pytest.approx(np.where(seen.struck, years / 2, years).sum())
    assert fit.clock == Clock(wear=1.5)
    assert count_watches(seen, fit.clock).exposure.sum() != pytest.approx(fit.exposure_years)
