"""Forecasts against simulated paths and hand-worked probabilities (tables of the normal law)."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.stats.clock import PLAIN, Clock
from fleet.stats.forecast import Causes, Gauges, Sudden, after_service, as_it_stands
from fleet.stats.growth import (
    Growth,
    Season,
    growth_years,
    known_years,
    out_of_limits,
    predict,
    worst_since_known,
)
from fleet.stats.hazard import HazardPosterior
from fleet.stats.worth import driver_shares, worth_record_days


def growth(**changes):
    fields = {
        "start": 0.0,
        "start_variance": 0.25,
        "rate": -2.0,
        "rate_variance": 1.0,
        "walk_variance": 0.5,
        "low": -5.0,
        "high": 5.0,
    }
    return Growth(**{name: np.array([value]) for name, value in {**fields, **changes}.items()})


def sudden(shape, scale_years, *, age_days=100, new_days=None, clock=PLAIN):
    return Sudden(
        hazard=HazardPosterior(np.array([shape]), np.array([scale_years])),
        age_days=np.array([age_days]),
        new_days=np.array([age_days if new_days is None else new_days]),
        clocks=((clock, np.array([0])),),
        today=np.array([738000]),
    )


def gauges(**changes):
    fields = {
        "drift": growth(),
        "drift_age_days": np.array([100]),
        "fresh_level": np.array([0.0]),
        "fresh_level_variance": np.array([0.5]),
        "resistance": growth(start=-1.0, rate=0.3, low=-np.inf, high=1.6, rate_variance=0.01),
        "resistance_age_days": np.array([100]),
        "new_switch": np.array([-1.5]),
        "new_switch_variance": np.array([0.2]),
        "knock": sudden(1.0, 20.0),
        "knock_sd": np.array([8.0]),
        "blockage": sudden(1.0, 4.0),
        "deaths": sudden(1.0, 30.0),
        "blocked": np.array([False]),
        "dead": np.array([False]),
        "disconnected": np.array([False]),
    }
    return Gauges(**{**fields, **changes})


@pytest.mark.parametrize(("limit", "outside"), [(1.0, 0.3173), (1.96, 0.0500), (2.5758, 0.0100)])
def test_out_of_limits_agrees_with_tables_of_the_normal_law(limit, outside):
    still = growth(start_variance=4.0, low=-2.0 * limit, high=2.0 * limit)

    assert out_of_limits(still, np.zeros(1))[0] == pytest.approx(outside, abs=5e-5)


def test_out_of_limits_agrees_with_simulated_paths():
    rng = np.random.default_rng(1)
    years, n = 1.5, 400_000
    end = (
        rng.normal(0.0, 0.5, n)
        + rng.normal(-2.0, 1.0, n) * years
        + rng.normal(0.0, np.sqrt(0.5 * years), n)
    )

    found = out_of_limits(growth(), np.array([years]))[0]
    mean, sd = predict(growth(), np.array([years]))

    assert found == pytest.approx(np.mean(np.abs(end) > 5), abs=0.002)
    assert (mean[0], sd[0]) == (
        pytest.approx(end.mean(), abs=0.01),
        pytest.approx(end.std(), rel=0.01),
    )


def test_out_of_limits_holds_for_a_level_known_exactly():
    exact = growth(start_variance=0.0)

    assert out_of_limits(exact, np.zeros(1)).tolist() == [0.0]


def test_worst_since_known_is_the_highest_of_any_day():
    wandering = growth(start=-5.2, rate=4.0, start_variance=0.3)
    day_by_day = [out_of_limits(wandering, np.array([day / 365.25]))[0] for day in range(301)]

    found = worst_since_known(wandering, np.array([300]))[0]

    assert found == max(day_by_day)
    assert day_by_day[300] < 0.5 < found
    assert worst_since_known(wandering, np.array([0]))[0] == day_by_day[0]


def test_worst_since_known_finds_the_day_among_all_of_wide_laws():
    """With one limit to the last bit; with two, both tails may turn together between two days."""
    dice = np.random.default_rng(17)
    count = 400
    tolerance = np.exp(dice.uniform(0.0, 2.5, count))
    laws = {
        "start": dice.normal(0, 4, count),
        "start_variance": np.exp(dice.uniform(-4.5, 1.5, count)),
        "rate": dice.normal(0, 4, count),
        "rate_variance": np.exp(dice.uniform(-4.5, 2.0, count)),
        "walk_variance": np.exp(dice.uniform(-4.0, 2.0, count)),
        "high": tolerance,
    }
    age = dice.integers(0, 1500, count)
    day = np.arange(1501)

    def daily(law):
        many = Growth(*(np.repeat(column[:, None], 1501, axis=1).ravel() for column in law))
        each = out_of_limits(many, np.tile(day, count) / 365.25).reshape(count, 1501)
        return np.where(day <= age[:, None], each, 0.0).max(axis=1)

    one = Growth(**laws, low=np.full(count, -np.inf))
    both = Growth(**laws, low=-tolerance)

    assert (worst_since_known(one, age) == daily(_columns(one))).all()
    assert worst_since_known(both, age) == pytest.approx(daily(_columns(both)), abs=1e-3)
    inner = (worst_since_known(both, age) > out_of_limits(both, age / 365.25)).sum()
    assert inner > 40


def test_worst_since_known_finds_the_day_among_all_by_season():
    """To the last bit with one limit; swings up to the widest that is ever fitted."""
    dice = np.random.default_rng(18)
    count = 400
    swing, turn = dice.uniform(0.0, 0.95, count), dice.uniform(0.0, 2.0 * np.pi, count)
    season = Season(
        swing * np.cos(turn), swing * np.sin(turn), dice.integers(738000, 739000, count)
    )
    law = Growth(
        start=dice.normal(0, 4, count),
        start_variance=np.exp(dice.uniform(-4.5, 1.5, count)),
        rate=dice.normal(0, 4, count),
        rate_variance=np.exp(dice.uniform(-4.5, 2.0, count)),
        walk_variance=np.exp(dice.uniform(-4.0, 2.0, count)),
        low=np.full(count, -np.inf),
        high=np.exp(dice.uniform(0.0, 2.5, count)),
        season=season,
    )
    age = dice.integers(0, 1500, count)
    back = np.arange(-1500.0, 1.0)

    each = out_of_limits(law, growth_years(law, age, np.broadcast_to(back, (count, 1501))))
    daily = np.where(back >= -age[:, np.newaxis], each, 0.0).max(axis=1)

    assert (worst_since_known(law, age) == daily).all()
    assert (daily > out_of_limits(law, known_years(law, age))).sum() > 40


def test_growth_without_a_season_is_the_same_beside_one_that_has_one():
    plain, none = growth(), np.zeros(1)
    beside = replace(plain, season=Season(none, none, np.array([738000])))
    ahead = np.arange(0.0, 800.0, 7.0)

    for age in (np.array([0]), np.array([333])):
        there = growth_years(beside, age, ahead)
        assert (there == growth_years(plain, age, ahead)).all()
        assert worst_since_known(beside, age) == worst_since_known(plain, age)


def test_worst_since_known_keeps_gauges_apart():
    both = Growth(
        *(
            np.array([a[0], b[0]])
            for a, b in zip(_columns(growth()), _columns(growth(start=-4.0)), strict=True)
        )
    )

    found = worst_since_known(both, np.array([50, 3]))

    assert found[0] == worst_since_known(growth(), np.array([50]))[0]
    assert found[1] == worst_since_known(growth(start=-4.0), np.array([3]))[0]


def _columns(one):
    return (
        one.start,
        one.start_variance,
        one.rate,
        one.rate_variance,
        one.walk_variance,
        one.low,
        one.high,
    )


def test_as_it_stands_ages_each_cause_by_its_own_clock():
    now = as_it_stands(gauges(), np.array([0.0, 265.25]))

    # 1 - (4 / (4 + u)) with u = 100 days and a year
    assert now.blockage[0] == pytest.approx([1 - 4 / (4 + 100 / 365.25), 0.2])
    assert now.deaths[0] == pytest.approx([1 - 30 / (30 + 100 / 365.25), 1 / 31])
    assert now.drift[0, 1] == pytest.approx(out_of_limits(growth(), np.ones(1))[0])
    assert now.disconnection.tolist() == [[0.0, 0.0]]


def test_after_service_starts_all_clocks_anew():
    fresh = after_service(gauges(), np.array([0.0, 365.25]))

    assert fresh.blockage[0] == pytest.approx([0.0, 0.2])
    assert fresh.deaths[0] == pytest.approx([0.0, 1 / 31])
    # 1 - 20 / 21 came, and Normal(0, 0.5 + 64) lies outside +-5 in 0.53355 of cases (normal law)
    assert fresh.knock[0] == pytest.approx([0.0, 0.53355 / 21], abs=1e-6)
    assert fresh.drift[0, 0] == pytest.approx(1.5e-12, abs=1e-11)
    renewed = growth(start_variance=0.5)
    assert fresh.drift[0, 1] == pytest.approx(out_of_limits(renewed, np.ones(1))[0])


def test_after_service_keeps_the_resistance_of_a_switch_that_works():
    """Given that it works now, the kept switch fails by the growth still to come."""
    before = as_it_stands(gauges(), np.array([0.0, 365.25]))
    fresh = after_service(gauges(), np.array([0.0, 365.25]))

    worn_now, worn_then = before.resistance[0]
    failing = 1 - (1 - worn_now) * (1 - before.deaths[0, 0])
    new = growth(
        start=-1.5, start_variance=0.2, rate=0.3, low=-np.inf, high=1.6, rate_variance=0.01
    )
    new_worn = out_of_limits(new, np.ones(1))[0]
    expected = (1 - failing) * (worn_then - worn_now) / (1 - worn_now) + failing * new_worn
    assert fresh.resistance[0, 1] == pytest.approx(expected)
    assert fresh.resistance[0, 0] < worn_now


def test_after_service_mends_every_known_fault():
    broken = gauges(blocked=np.array([True]), dead=np.array([True]), disconnected=np.array([True]))

    assert as_it_stands(broken, np.zeros(1)).unfit()[0, 0] == pytest.approx(1.0, abs=2e-9)
    fresh = after_service(broken, np.array([0.0, 365.25]))
    assert fresh.unfit()[0, 0] < 1e-6
    assert fresh.disconnection[0].tolist() == [0.0, 0.0]
    new = growth(
        start=-1.5, start_variance=0.2, rate=0.3, low=-np.inf, high=1.6, rate_variance=0.01
    )
    assert fresh.resistance[0, 1] == pytest.approx(out_of_limits(new, np.ones(1))[0], rel=1e-6)


def causes(drift=0.0, blockage=0.0, resistance=0.0, deaths=0.0, disconnection=0.0, knock=0.0):
    values = (drift, knock, blockage, resistance, deaths, disconnection)
    return Causes(*(np.array([[value]]) for value in values))


def test_sudden_cause_that_wears_in_counts_from_when_it_was_new():
    """k 2, a 1, b 4; new two years ago, seen well one ago: 2^2 - 1^2 = 3 now, 3^2 - 1 next."""
    aged = sudden(1.0, 4.0, age_days=365, new_days=730, clock=Clock(wear=2.0))
    year = 365.0 / 365.25

    now = as_it_stands(gauges(blockage=aged), np.array([0.0, 365.0]))
    fresh = after_service(gauges(blockage=aged), np.array([0.0, 365.0]))

    spent = np.array([3.0, 8.0]) * year**2
    assert now.blockage[0] == pytest.approx(spent / (4 + spent))
    assert fresh.blockage[0] == pytest.approx([0.0, year**2 / (4 + year**2)])


def test_switch_that_works_keeps_its_age_over_a_service():
    aged = sudden(1.0, 400.0, age_days=10, new_days=3650, clock=Clock(wear=2.0))

    fresh = after_service(gauges(deaths=aged), np.array([365.0]))

    spent = (4015.0 / 365.25) ** 2 - (3650.0 / 365.25) ** 2
    assert fresh.deaths[0, 0] == pytest.approx(spent / (400 + spent), rel=0.01)


def test_nobody_calling_speaks_for_a_gauge_where_people_call():
    """Odds of 1 - 4 / 5 times (1 - exp(-2)) / 2, for a year and two notices a year."""
    watched = sudden(1.0, 4.0, age_days=0, clock=Clock(noticed=2.0))

    now = as_it_stands(gauges(blockage=watched), np.array([365.25]))

    odds = 0.25 * 0.432332
    assert now.blockage[0, 0] == pytest.approx(odds / (1 + odds), abs=1e-6)


def test_sudden_change_of_level_joins_the_drift_to_being_out_of_tolerance():
    joined = causes(drift=0.5, knock=0.2)

    assert joined.tolerance[0, 0] == pytest.approx(0.6)
    assert joined.unfit()[0, 0] == pytest.approx(0.6)


def test_causes_join_as_independent():
    joined = causes(0.5, 0.2, 0.1, 0.1, 0.0)

    assert joined.switch[0, 0] == pytest.approx(0.19)
    assert joined.unfit()[0, 0] == pytest.approx(1 - 0.5 * 0.8 * 0.81)


def test_causes_stay_below_one():
    assert causes(1.0, 1.0, 1.0, 1.0, 1.0).unfit()[0, 0] == 1 - 1e-9


def test_worth_is_the_area_between_now_and_a_fresh_gauge():
    """p 0.5 against P(u) = u / 100: a triangle of 50 days times 0.5, halved; times the weight."""
    days = np.arange(101.0)

    found = worth_record_days(
        np.array([0.5, 0.0]),
        np.vstack([days / 100, days / 100]),
        days=days,
        importance=np.array([2.0, 2.0]),
    )

    assert found == pytest.approx([2 * 12.5, 0.0])


def test_driver_shares_are_parts_of_the_hazard_and_of_the_compliance():
    p = 1 - np.exp(-np.array([0.3, 0.1, 0.06, 0.04, 0.0]))

    plain = driver_shares(causes(*p), worth=np.array([10.0]), compliance=np.array([0.0]))
    priced = driver_shares(causes(*p), worth=np.array([10.0]), compliance=np.array([30.0]))

    assert [plain.age[0], plain.drift[0], plain.switch[0]] == pytest.approx([0.2, 0.6, 0.2])
    assert [priced.age[0], priced.drift[0], priced.switch[0]] == pytest.approx([0.8, 0.15, 0.05])


def test_driver_shares_of_a_gauge_without_a_cause_are_all_age():
    found = driver_shares(causes(), worth=np.array([0.0]), compliance=np.array([0.0]))

    assert (found.age[0], found.drift[0], found.switch[0]) == (1.0, 0.0, 0.0)
