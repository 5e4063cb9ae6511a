"""The integral of the worth on few days, against the same by the day and by the quarter of one.

Over gauges of very wide laws: rates of drift to 15 % a year against tolerances from 1 %, hazards
from one in two centuries to three a year, wear from 0.4 to 2.7, seasons, quick and slow notice.
"""

from dataclasses import replace

import numpy as np
import pytest

from fleet.stats.clock import Clock
from fleet.stats.forecast import Gauges, Sudden, after_service, as_it_stands
from fleet.stats.growth import Growth, Season
from fleet.stats.hazard import HazardPosterior
from fleet.stats.worth import worth_record_days
from fleet.stats.worth_rule import NODES, integrate_gain, worth_days

HORIZON = 365
DAILY = np.arange(HORIZON + 1.0)


def draw_wide(count: int, *, seed: int) -> Gauges:
    dice = np.random.default_rng(seed)

    def between(low: float, high: float) -> np.ndarray:
        return np.exp(dice.uniform(np.log(low), np.log(high), count))

    def sudden() -> Sudden:
        age = dice.integers(0, 2000, count)
        shape = between(0.3, 20.0)
        clocks = [
            Clock(wear=wear, cosine=swing, sine=-swing, noticed=noticed)
            for wear, swing, noticed in [(0.4, 0.0, 0.0), (1.0, 0.3, 3.0), (1.5, 0.5, 20.0)]
        ]
        places = np.array_split(np.arange(count), len(clocks))
        return Sudden(
            HazardPosterior(shape, shape / between(0.005, 3.0)),
            age,
            age + dice.integers(0, 3000, count),
            tuple(zip(clocks, places, strict=True)),
            np.full(count, 738000),
        )

    tolerance = between(1.0, 15.0)
    drift = Growth(
        start=dice.normal(0, 4, count),
        start_variance=between(0.01, 4.0),
        rate=dice.normal(0, 5, count),
        rate_variance=between(0.01, 9.0),
        walk_variance=between(0.02, 9.0),
        low=-tolerance,
        high=tolerance * between(0.5, 2.0),
    )
    resistance = Growth(
        start=dice.normal(-1, 1.2, count),
        start_variance=between(0.0025, 0.5),
        rate=dice.normal(0.3, 0.4, count),
        rate_variance=between(0.001, 0.1),
        walk_variance=between(0.001, 0.3),
        low=np.full(count, -np.inf),
        high=np.log(between(0.5, 10.0)),
    )
    return Gauges(
        drift=drift,
        drift_age_days=dice.integers(0, 2500, count),
        fresh_level=dice.normal(0, 1, count),
        fresh_level_variance=between(0.0225, 4.0),
        resistance=resistance,
        resistance_age_days=dice.integers(0, 2500, count),
        new_switch=dice.normal(-1.2, 0.6, count),
        new_switch_variance=between(0.005, 1.0),
        knock=sudden(),
        knock_sd=between(2.0, 20.0),
        blockage=sudden(),
        deaths=sudden(),
        blocked=dice.random(count) < 0.05,
        dead=dice.random(count) < 0.05,
        disconnected=dice.random(count) < 0.05,
    )


WIDE = draw_wide(1500, seed=8)
UNFIT = as_it_stands(WIDE, np.zeros(1)).unfit()[:, 0]


def daily_worth(days: np.ndarray = DAILY) -> np.ndarray:
    ones = np.ones(UNFIT.size)
    return worth_record_days(UNFIT, after_service(WIDE, days).unfit(), days=days, importance=ones)


def by_rule(nodes: int = NODES[0]):
    after = after_service(WIDE, worth_days(HORIZON, nodes)).unfit()
    return integrate_gain(UNFIT, after, horizon_days=HORIZON)


def test_rule_stays_by_the_integral_and_by_the_daily_rule_where_it_is_sure() -> None:
    """The daily rule is off itself where a kind wears in within its first day."""
    integral = daily_worth(HORIZON * np.linspace(0.0, 1.0, 1461) ** 2)
    daily = daily_worth()
    allowed = np.maximum(0.001 * integral, 0.02)
    daily_off = np.abs(daily - integral) / allowed

    for nodes in NODES:
        found = by_rule(nodes)
        off = np.abs(found.days - integral)[found.sure] / allowed[found.sure]
        apart = np.abs(found.days - daily)[found.sure] / allowed[found.sure]
        assert found.sure.mean() > 0.75
        assert off.max() < 1.0
        assert np.quantile(off, 0.99) < 0.5
        assert apart[daily_off[found.sure] < 0.1].max() < 1.0


def test_rule_errs_as_seldom_where_drift_goes_by_season() -> None:
    """Of laws this wide one in a thousand breaks the bound, with a season and without."""
    count = 2000
    swing, turn = np.linspace(0.0, 0.95, count), 2.4 * np.arange(count)
    season = Season(swing * np.cos(turn), swing * np.sin(turn), np.full(count, 738000))
    for seed in (8, 10):
        flat = draw_wide(count, seed=seed)
        for wide in (flat, replace(flat, drift=replace(flat.drift, season=season))):
            unfit, ones = as_it_stands(wide, np.zeros(1)).unfit()[:, 0], np.ones(count)
            fine = HORIZON * np.linspace(0.0, 1.0, 487) ** 2
            by_day = after_service(wide, fine).unfit()
            integral = worth_record_days(unfit, by_day, days=fine, importance=ones)
            after = after_service(wide, worth_days(HORIZON)).unfit()
            found = integrate_gain(unfit, after, horizon_days=HORIZON)
            allowed = np.maximum(0.001 * integral, 0.02)
            off = (np.abs(found.days - integral) / allowed)[found.sure]
            assert found.sure.mean() > 0.75
            assert np.quantile(off, 0.99) < 0.3
            assert (off > 1.0).sum() <= 5


def test_rule_of_more_days_is_surer() -> None:
    assert by_rule(NODES[1]).sure.mean() > by_rule(NODES[0]).sure.mean() + 0.05


def test_rule_tells_apart_what_it_cannot_see() -> None:
    steps = np.where(worth_days(HORIZON) < 100.0, 0.1, 0.9)[np.newaxis, :]

    jump = integrate_gain(np.array([0.95]), steps, horizon_days=HORIZON)
    above = integrate_gain(np.array([0.05]), steps, horizon_days=HORIZON)

    assert not jump.sure[0]
    assert (above.days[0], above.sure[0]) == (0.0, True)


@pytest.mark.parametrize("power", [0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("unfit", [0.05, 0.3, 0.9])
def test_rule_gives_integrals_that_are_known(power: float, unfit: float) -> None:
    """P(u) = 0.6 (u / H)^k meets p at H (p / 0.6)^(1 / k): the integral by calculus."""
    after = 0.6 * (worth_days(HORIZON) / HORIZON) ** power
    meets = min(1.0, (unfit / 0.6) ** (1.0 / power))
    known = HORIZON * (unfit * meets - 0.6 * meets ** (power + 1.0) / (power + 1.0))

    found = integrate_gain(np.array([unfit]), after[np.newaxis, :], horizon_days=HORIZON)

    assert found.days[0] == pytest.approx(known, rel=2e-4, abs=2e-3)


@pytest.mark.parametrize("horizon", [1, 2, 3, 7, 20, 21, 40, 200])
def test_short_horizons_are_integrated_too(horizon: int) -> None:
    days = worth_days(horizon)
    after = 0.02 + 0.5 * days / (days + 30.0)

    found = integrate_gain(np.array([0.9]), after[np.newaxis, :], horizon_days=horizon)
    known = 0.88 * horizon - 0.5 * (horizon - 30.0 * np.log1p(horizon / 30.0))

    assert (days[0], days[-1]) == (0.0, horizon)
    assert (np.diff(days) > 0.0).all()
    assert found.days[0] == pytest.approx(known, rel=1e-3)


def test_gain_of_one_gauge_is_the_same_in_any_company() -> None:
    after = after_service(WIDE, worth_days(HORIZON)).unfit()
    together = integrate_gain(UNFIT, after, horizon_days=HORIZON)

    for place in range(0, 1500, 50):
        own = slice(place, place + 1)
        alone = integrate_gain(UNFIT[own], after[own], horizon_days=HORIZON)
        assert (alone.days[0], alone.sure[0]) == (together.days[place], together.sure[place])


def test_nothing_is_gained_where_a_service_is_no_better() -> None:
    fit = replace(WIDE, blocked=np.zeros(1500, dtype=bool))
    after = after_service(fit, worth_days(HORIZON)).unfit()

    assert (integrate_gain(after[:, 0], after, horizon_days=HORIZON).days >= 0.0).all()
    assert (integrate_gain(0.0 * UNFIT, after, horizon_days=HORIZON).days == 0.0).all()
