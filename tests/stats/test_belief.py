"""What is believed after services, against the ranking and the posterior of the same records."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.stats.belief import Belief, copy_arrays, learn_rate
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.forecast import Gauges, since_well
from fleet.stats.future import Found
from fleet.stats.gauge_array import lay_out, stand_states
from fleet.stats.growth import Growth
from fleet.stats.pooled_change import Changes, GrowthFit, posterior_growth
from fleet.stats.ranking import rank_states
from tests.stats.fleet_factory import AS_OF, POLICY, make_fleet


def laid_out(gauges: int = 12) -> tuple[Gauges, list, object]:
    states = make_fleet(gauges, seed=3)
    model = fit_fleet(states)
    standings = stand_states(states, [POLICY] * gauges, model=model, as_of=AS_OF)
    return lay_out(standings), states, model


def belief(gauges: Gauges) -> Belief:
    count = gauges.blocked.size
    known = np.ones(count, dtype=bool)
    return Belief(
        gauges,
        level_known=known,
        ohm_known=known,
        level_variance=np.full(count, 0.04),
        dice=np.random.default_rng(5),
    )


def found_at(
    gauges: Gauges, *, level: float, blocked: bool = False, knocked: bool = False
) -> Found:
    count = gauges.blocked.size
    ones = np.ones(count)
    return Found(
        level=level * ones,
        log_ohm=gauges.resistance.start.copy(),
        struck={
            "blockage": np.full(count, blocked),
            "deaths": np.zeros(count, dtype=bool),
            "knock": np.full(count, knocked),
        },
        level_left=0.3 * ones,
        log_ohm_left=gauges.resistance.start.copy(),
        replaced=np.zeros(count, dtype=bool),
    )


def test_worth_is_that_of_the_ranking() -> None:
    gauges, states, model = laid_out()
    rows = rank_states(states, [POLICY] * len(states), model, as_of=AS_OF)
    ranked = {row.state.gauge.site_code: row.worth_record_days for row in rows}
    importance = np.array([state.gauge.importance for state in states])

    worth = belief(gauges).worth(np.arange(366.0), importance)

    assert worth == pytest.approx([ranked[s.gauge.site_code] for s in states], rel=1e-4, abs=2e-3)


def test_worth_by_the_week_is_near_that_by_the_day() -> None:
    gauges, _, _ = laid_out(60)
    importance = np.ones(60)
    by_day = belief(gauges).worth(np.arange(366.0), importance)

    by_week = belief(gauges).worth(np.append(np.arange(0.0, 365.0, 7.0), 365.0), importance)

    assert by_week == pytest.approx(by_day, rel=0.02, abs=0.05)


def test_learned_rate_is_that_of_the_posterior_with_the_change_among_its_records() -> None:
    fit = GrowthFit(mean=-1.0, mean_sd=0.0, between_sd=1.5, walk_sd=1.2)
    one = np.array([0.6])
    before = Changes(one, np.array([-1.5]), np.array([0.3]), np.array([0]), 1)
    both = Changes(
        np.array([0.6, 0.4]), np.array([-1.5, 0.4]), np.array([0.3, 0.25]), np.array([0, 0]), 1
    )
    first, second = posterior_growth(before, fit), posterior_growth(both, fit)
    growth = Growth(
        start=np.zeros(1),
        start_variance=np.array([0.1]),
        rate=first.mean.copy(),
        rate_variance=first.variance.copy(),
        walk_variance=np.array([1.44]),
        low=np.array([-5.0]),
        high=np.array([5.0]),
    )

    learn_rate(
        growth,
        np.array([0]),
        change=np.array([0.4]),
        years=np.array([0.4]),
        noise=np.array([0.15]),  # with the 0.1 of the start: 0.25
    )

    assert growth.rate[0] == pytest.approx(second.mean[0], rel=1e-12)
    assert growth.rate_variance[0] == pytest.approx(second.variance[0], rel=1e-12)


def test_record_starts_levels_anew_and_counts_what_was_watched() -> None:
    gauges, _, _ = laid_out()
    kept = belief(gauges)
    ages = gauges.blockage.age_days
    index = np.arange(ages.size)

    kept.record(index, found_at(gauges, level=-2.0))

    now = kept.gauges
    assert (now.drift_age_days == 0).all()
    assert now.drift.start == pytest.approx(0.3, abs=4 * 0.2)
    assert now.drift.start_variance == pytest.approx(0.04)
    years = gauges.blockage.hazard.scale_years + since_well(gauges.blockage)[0]
    assert now.blockage.hazard.scale_years == pytest.approx(years)
    assert (now.blockage.hazard.shape == gauges.blockage.hazard.shape).all()
    assert (now.drift.rate_variance[ages > 0] < gauges.drift.rate_variance[ages > 0]).all()


def test_blockage_found_counts_half_its_spell_and_gives_no_level_as_found() -> None:
    gauges, _, _ = laid_out()
    kept = belief(gauges)
    ages = gauges.blockage.age_days

    kept.record(np.arange(ages.size), found_at(gauges, level=-90.0, blocked=True))

    now = kept.gauges
    assert (now.blockage.hazard.shape == gauges.blockage.hazard.shape + 1).all()
    half = gauges.blockage.hazard.scale_years + since_well(gauges.blockage)[0] / 2
    assert now.blockage.hazard.scale_years == pytest.approx(half)
    assert (now.drift.rate == gauges.drift.rate).all()
    assert not now.blocked.any()


def test_knock_found_is_counted_and_says_nothing_of_the_drift() -> None:
    gauges, _, _ = laid_out()
    kept = belief(gauges)
    index = np.arange(gauges.blocked.size)

    kept.record(index, found_at(gauges, level=12.0, knocked=True))

    assert (kept.gauges.knock.hazard.shape == gauges.knock.hazard.shape + 1).all()
    assert (kept.gauges.drift.rate == gauges.drift.rate).all()


def test_switch_that_is_kept_keeps_its_age_and_a_way_that_is_cleaned_does_not() -> None:
    gauges, _, _ = laid_out()
    kept = belief(gauges)
    kept.pass_days(10)

    kept.record(np.arange(gauges.blocked.size), found_at(gauges, level=0.0))

    assert (kept.gauges.deaths.new_days == gauges.deaths.new_days + 10).all()
    assert (kept.gauges.deaths.age_days == 0).all()
    assert (kept.gauges.blockage.new_days == 0).all()
    assert (kept.gauges.blockage.today == gauges.blockage.today + 10).all()


def test_what_people_notice_is_known() -> None:
    gauges, _, _ = laid_out()
    kept = belief(gauges)
    first = np.arange(gauges.blocked.size) == 0
    before = kept.worth(np.arange(366.0), np.ones(first.size))

    kept.hear("blockage", first)

    after = kept.worth(np.arange(366.0), np.ones(first.size))
    assert after[0] > before[0]
    assert (after[1:] == before[1:]).all()


def test_belief_leaves_the_arrays_it_was_given_alone() -> None:
    gauges, _, _ = laid_out()
    before = copy_arrays(gauges)
    kept = belief(gauges)

    kept.pass_days(30)
    kept.record(np.array([1, 4]), _part(found_at(gauges, level=-2.0), np.array([1, 4])))

    assert (gauges.drift.rate == before.drift.rate).all()
    assert (gauges.drift_age_days == before.drift_age_days).all()
    assert (gauges.blockage.hazard.scale_years == before.blockage.hazard.scale_years).all()
    assert kept.gauges.drift_age_days[0] == before.drift_age_days[0] + 30
    assert kept.gauges.drift_age_days[1] == 0


def _part(found: Found, index: np.ndarray) -> Found:
    return Found(
        found.level[index],
        found.log_ohm[index],
        {name: struck[index] for name, struck in found.struck.items()},
        found.level_left[index],
        found.log_ohm_left[index],
        found.replaced[index],
    )
