"""The forecast ahead of gauges: as they stand where nobody watches, lower where somebody does."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.stats.fleet_model import fit_fleet
from fleet.stats.forecast import as_it_stands
from fleet.stats.gauge_array import lay_out, stand_states
from fleet.stats.rain_ahead import again_days, unfit_ahead
from fleet.stats.rain_weigh import SPELLS_TO_TELL_KNOCK
from tests.stats.fleet_factory import AS_OF, POLICY, make_fleet
from tests.stats.test_rain_weigh import make_span

DAYS = np.arange(0.0, 1096.0, 7.0)


@pytest.fixture(scope="module")
def gauges():
    states = make_fleet(20, seed=5)
    standings = stand_states(states, [POLICY] * 20, model=fit_fleet(states), as_of=AS_OF)
    return lay_out(standings)


def test_gauges_that_nobody_watches_are_forecast_as_they_stand(gauges):
    plain = as_it_stands(gauges, DAYS).unfit()

    ahead = unfit_ahead(gauges, plain[:, 0], [None] * 20, days=DAYS)

    assert ahead == pytest.approx(plain, abs=1e-9)


def test_watched_gauges_start_where_they_are_and_rise_more_slowly(gauges):
    now = as_it_stands(gauges, np.zeros(1)).unfit()[:, 0]

    blind = unfit_ahead(gauges, now, [None] * 20, days=DAYS)
    watched = unfit_ahead(gauges, now, [make_span(i) for i in range(20)], days=DAYS)

    assert watched[:, 0] == pytest.approx(now, abs=1e-9)
    assert (np.diff(watched, axis=1) >= -1e-12).all()
    assert (watched[:, 26] < blind[:, 26] - 0.01).all()


def test_a_gauge_held_to_be_unfit_stays_so(gauges):
    ahead = unfit_ahead(gauges, np.full(20, 0.999), [None] * 20, days=DAYS)

    assert (ahead >= 0.999 - 1e-12).all()


def test_a_passed_over_gauge_waits_a_cycle_or_until_its_rain_has_told():
    span = make_span(0)
    told = SPELLS_TO_TELL_KNOCK * span.days_per_spell

    waits = again_days(np.array([400.0, 400.0, 1.0]), [None, span, span])

    assert waits == pytest.approx([400.0, told, 1.0])
    assert 1.0 < told < 400.0
