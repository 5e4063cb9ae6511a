"""Drawn futures against the forecasts, closed forms and the posterior that they are drawn from.

Shares of 20,000 drawn gauges: three standard errors of a share are at most 0.011. [CALC] marks
figures worked by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fleet.stats.clock import Clock
from fleet.stats.forecast import Gauges, Sudden, after_service, as_it_stands
from fleet.stats.future import Future, SharedDoubt, SharedGrowth
from fleet.stats.growth import Growth, Season
from fleet.stats.hazard import HazardPosterior
from fleet.stats.pooled_change import Changes, GrowthFit, posterior_growth
from fleet.stats.strike import SharedRate

GAUGES = 20_000
NEAR = 0.012


def growth(**changes: float) -> Growth:
    fields = {
        "start": 0.0,
        "start_variance": 0.25,
        "rate": -2.0,
        "rate_variance": 1.0,
        "walk_variance": 0.5,
        "low": -4.0,
        "high": np.inf,
    }
    return Growth(**{name: np.full(GAUGES, value) for name, value in {**fields, **changes}.items()})


TODAY = date(2026, 11, 23)


def seasonal() -> Growth:
    """Give a growth that is fastest in autumn."""
    ones = np.ones(GAUGES)
    today = np.full(GAUGES, TODAY.toordinal())
    return replace(growth(), season=Season(0.3 * ones, -0.6 * ones, today))


def sudden(
    shape: float, scale_years: float, age_days: int = 100, *, new_days: int = 200, **clock: float
) -> Sudden:
    law = HazardPosterior(np.full(GAUGES, shape), np.full(GAUGES, scale_years))
    return Sudden(
        hazard=law,
        age_days=np.full(GAUGES, age_days),
        new_days=np.full(GAUGES, max(age_days, new_days)),
        clocks=((Clock(**clock), np.arange(GAUGES)),),
        today=np.full(GAUGES, TODAY.toordinal()),
    )


def gauges(**changes: object) -> Gauges:
    """Give gauges that hardly ever fail but for what is changed."""
    none = np.zeros(GAUGES, dtype=bool)
    fields = {
        "drift": growth(rate=0.0, rate_variance=1e-6, walk_variance=1e-6, low=-50.0),
        "drift_age_days": np.full(GAUGES, 100),
        "fresh_level": np.full(GAUGES, 0.5),
        "fresh_level_variance": np.full(GAUGES, 0.16),
        "resistance": growth(start=-1.0, rate=0.0, rate_variance=1e-6, low=-np.inf, high=50.0),
        "resistance_age_days": np.full(GAUGES, 100),
        "new_switch": np.full(GAUGES, -1.5),
        "new_switch_variance": np.full(GAUGES, 0.04),
        "knock": sudden(1.0, 1e9),
        "knock_sd": np.full(GAUGES, 8.0),
        "blockage": sudden(1.0, 1e9),
        "deaths": sudden(1.0, 1e9),
        "blocked": none,
        "dead": none,
        "disconnected": none,
    }
    return Gauges(**{**fields, **changes})


def doubt(*, mean_sd: float = 0.0, between_sd: float = 1.0, log_sd: float = 0.0) -> SharedDoubt:
    one = np.zeros(GAUGES, dtype=np.int64)
    shared = SharedGrowth(one, np.full(GAUGES, mean_sd), np.full(GAUGES, between_sd))
    rates = SharedRate(one, np.full(GAUGES, 4.0), np.full(GAUGES, log_sd))
    small = SharedGrowth(one, np.zeros(GAUGES), np.full(GAUGES, 1e-3))
    return SharedDoubt(shared, small, {"blockage": rates, "deaths": rates, "knock": rates})


def future(given: Gauges, known: SharedDoubt | None = None, seed: int = 1) -> Future:
    return Future(given, known or doubt(), np.random.default_rng(seed))


@pytest.mark.parametrize(
    "cause",
    [
        {"drift": growth()},
        {"drift": seasonal()},
        {"resistance": growth(start=-1.0, rate=1.0, walk_variance=0.1, low=-np.inf, high=0.5)},
        {"blockage": sudden(1.2, 2.0)},
        {"deaths": sudden(0.7, 1.5)},
        {"knock": sudden(1.2, 1.5)},
        {"blockage": sudden(1.2, 2.0, wear=1.7)},
        {"blockage": sudden(1.2, 2.0, cosine=0.6, sine=-0.4)},
        {"disconnected": np.arange(GAUGES) % 4 == 0},
        {"blocked": np.arange(GAUGES) % 5 == 0},
    ],
)
def test_future_has_the_forecast_share_unfit(cause: dict[str, object]) -> None:
    given = gauges(**cause)
    between = doubt(between_sd=0.03) if "resistance" in cause else doubt()
    if "resistance" in cause:
        wide = replace(between.drift, between_sd=np.ones(GAUGES))
        between = SharedDoubt(between.drift, wide, between.sudden)
    drawn = future(given, between)
    forecast = as_it_stands(given, np.array([0.0, 60.0, 365.0])).unfit().mean(axis=0)

    seen = []
    for days in (0, 60, 305):
        drawn.pass_days(days)
        seen.append(drawn.unfit().mean())

    assert seen == pytest.approx(forecast, abs=NEAR)


def test_what_people_would_have_noticed_has_not_struck_at_first() -> None:
    given = gauges(deaths=sudden(2.0, 2.0, noticed=3.0))
    forecast = as_it_stands(given, np.zeros(1)).unfit().mean()

    drawn = future(given)

    assert drawn.unfit().mean() == pytest.approx(forecast, abs=NEAR)
    assert not drawn.noticed("deaths").any()


def test_what_strikes_later_is_noticed_at_the_rate_of_its_clock() -> None:
    # rate 1 a year, noticed 3 a year, after a year: struck and not noticed with probability
    # (exp(-1) - exp(-3)) / 2 = 0.1590, not struck 0.3679, so 0.302 of those not noticed [CALC]
    drawn = future(gauges(deaths=sudden(1e9, 1e9, age_days=0, noticed=3.0)))

    for _ in range(73):
        drawn.pass_days(5)

    known = drawn.noticed("deaths")
    assert drawn.unfit()[known].all()
    assert drawn.unfit()[~known].mean() == pytest.approx(0.302, abs=0.02)
    assert known.mean() == pytest.approx(1.0 - 0.1590 - 0.3679, abs=0.02)


def test_future_after_a_service_has_the_forecast_of_fresh_gauges() -> None:
    given = gauges(
        drift=growth(),
        blockage=sudden(1.2, 2.0),
        blocked=np.ones(GAUGES, dtype=bool),
        disconnected=np.ones(GAUGES, dtype=bool),
    )
    drawn = future(given)
    drawn.service(np.arange(GAUGES))
    forecast = after_service(given, np.array([0.0, 100.0, 300.0])).unfit().mean(axis=0)

    seen = [drawn.unfit().mean()]
    for days in (100, 200):
        drawn.pass_days(days)
        seen.append(drawn.unfit().mean())

    assert seen == pytest.approx(forecast, abs=NEAR)


def test_service_replaces_worn_and_dead_switches_and_keeps_others() -> None:
    dead = np.arange(GAUGES) == 0
    worn = np.where(np.arange(GAUGES) == 1, 9.0, -1.0)
    given = gauges(
        dead=dead,
        resistance=replace(growth(rate=0.0, rate_variance=1e-9, low=-np.inf, high=2.0), start=worn),
    )
    drawn = future(given)

    found = drawn.service(np.array([0, 1, 2]))

    assert found.struck["deaths"].tolist() == [True, False, False]
    assert found.log_ohm_left[:2] == pytest.approx([-1.5, -1.5], abs=0.9)  # new: sd 0.2
    assert found.log_ohm_left[2] == found.log_ohm[2]
    assert not drawn.unfit().any()


def test_rates_have_the_spread_of_the_posterior_and_share_the_doubt_of_their_kind() -> None:
    # one change of 2 over a year, tau 1, sigma^2 + v 3: shrink = 1 / (1 + 1/3) = 0.75 [CALC];
    # variance 0.75 + 0.5625 x 0.36 = 0.9525, of which 0.2025 is shared by the kind
    fit = GrowthFit(mean=0.0, mean_sd=0.6, between_sd=1.0, walk_sd=1.0)
    one = np.array([1.0])
    seen = Changes(one, 2.0 * one, 2.0 * one, np.array([0]), 1)
    posterior = posterior_growth(seen, fit)
    assert posterior.variance[0] == pytest.approx(0.9525)
    given = gauges(
        drift=growth(
            start_variance=0.0, rate=0.0, rate_variance=0.9525, walk_variance=0.0, low=-np.inf
        ),
        drift_age_days=np.zeros(GAUGES, dtype=np.int64),
    )

    means, spreads = [], []
    for seed in range(60):
        drawn = future(given, doubt(mean_sd=0.6), seed)
        drawn.pass_days(36525)  # a century: the level is 100 times the rate
        level = drawn.service(np.arange(GAUGES)).level / 100.0
        means.append(level.mean())
        spreads.append(level.var())

    assert np.mean(spreads) == pytest.approx(0.75, rel=0.01)
    assert np.var(means) == pytest.approx(0.2025, rel=0.6)  # 60 draws: +-3 x 18 %


def test_shared_doubt_of_a_rate_keeps_the_mean_rate() -> None:
    given = gauges(blockage=sudden(1.0, 4.0, age_days=0))  # nothing of its own: 1/4 a year
    rates = []
    for seed in range(400):
        drawn = Future(_few(given), _few_doubt(doubt(log_sd=0.5)), np.random.default_rng(seed))
        rates.append(drawn._sudden["blockage"].rate.mean())

    assert np.mean(rates) == pytest.approx(0.25, rel=0.1)  # 400 draws of sd 53 %: +-8 %
    assert np.std(np.log(rates)) == pytest.approx(0.5, rel=0.15)


def test_chance_is_the_same_whatever_is_visited() -> None:
    given = gauges(drift=growth(), blockage=sudden(1.2, 2.0))
    idle, busy = future(given), future(given)

    idle.service(np.zeros(0, dtype=np.int64))
    busy.service(np.arange(100))
    idle.pass_days(200)
    busy.pass_days(200)

    assert (idle.unfit()[100:] == busy.unfit()[100:]).all()
    assert (idle.unfit()[:100] != busy.unfit()[:100]).any()


def _few(given: Gauges, count: int = 500) -> Gauges:
    def cut(part: object) -> object:
        if isinstance(part, np.ndarray):
            return part[:count]
        if isinstance(part, tuple):
            return tuple((clock, rows[:count]) for clock, rows in part)
        if part is None:
            return None
        names = part.__dataclass_fields__
        return type(part)(**{name: cut(getattr(part, name)) for name in names})

    return cut(given)


def _few_doubt(known: SharedDoubt, count: int = 500) -> SharedDoubt:
    drift = SharedGrowth(
        *(getattr(known.drift, n)[:count] for n in ("kind", "mean_sd", "between_sd"))
    )
    rates = {
        name: SharedRate(*(getattr(rate, n)[:count] for n in ("kind", "scale_years", "log_sd")))
        for name, rate in known.sudden.items()
    }
    return SharedDoubt(drift, drift, rates)
