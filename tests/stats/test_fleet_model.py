"""What a type's own data are enough for, and what it borrows from the network."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.stats.fleet_evidence import gather_changes
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.hazard import HazardFit
from tests.stats.fleet_factory import make_fleet, with_gauge

PARTS = {"drift", "knock", "resistance", "blockage", "deaths", "as_left", "new_switch"}


def test_fleet_model_fits_each_type_by_its_own_gauges():
    states = make_fleet(60, seed=3, types=2)
    slow = [s for s in states if s.gauge.type_code == "TB0"]
    fast = [
        replace(s, drift=tuple(replace(c, amount=c.amount - 8 * c.years) for c in s.drift))
        for s in states
        if s.gauge.type_code == "TB1"
    ]

    model = fit_fleet([*slow, *fast])

    alone = fit_fleet(slow).of("TB0")
    for part in ("drift", "knock", "resistance", "as_left", "new_switch"):
        assert getattr(model.of("TB0"), part) == getattr(alone, part)
    assert model.of("TB1").drift.mean < model.of("TB0").drift.mean - 5
    assert model.of("TB1").drift.mean < model.network.drift.mean < model.of("TB0").drift.mean
    assert model.of("TB0").borrowed == frozenset()


def test_type_with_few_data_borrows_the_networks_figures_and_says_so():
    many = make_fleet(40, seed=4, types=1)
    few = [with_gauge(state, type_code="RARE") for state in make_fleet(2, seed=5)]

    model = fit_fleet([*many, *few])

    assert model.of("RARE") == replace(model.network, borrowed=frozenset(PARTS))
    assert model.of("TB0").borrowed == frozenset()


def test_type_borrows_only_what_it_lacks():
    states = make_fleet(80, seed=4, types=2)
    without = [replace(s, switch_growth=()) if s.gauge.type_code == "TB1" else s for s in states]

    model = fit_fleet(without)

    assert model.of("TB1").borrowed == {"resistance"}
    assert model.of("TB1").resistance == model.network.resistance
    assert model.of("TB1").drift != model.network.drift


def test_type_never_seen_has_the_networks_model():
    model = fit_fleet(make_fleet(20, seed=6))

    assert model.of("OTHER") == replace(model.network, borrowed=frozenset(PARTS))


def test_fleet_without_records_has_the_priors():
    model = fit_fleet([])

    assert model.types == {}
    assert (model.network.drift.mean, model.network.drift.changes) == (0.0, 0)
    assert model.network.drift.between_sd == pytest.approx(2.0)
    assert model.network.deaths == HazardFit(1.0, pytest.approx(20.0))
    assert model.network.as_left.sd == 1.5


def test_gather_changes_keeps_who_each_change_is_of():
    states = make_fleet(8, seed=7)

    changes = gather_changes(states, lambda state: state.drift)

    counts = [len(state.drift) for state in states]
    assert changes.units == 8
    assert np.bincount(changes.unit, minlength=8).tolist() == counts
    flat = [change for state in states for change in state.drift]
    assert changes.years.tolist() == [change.years for change in flat]
    assert changes.amount.tolist() == [change.amount for change in flat]
    assert changes.variance.tolist() == [change.variance for change in flat]


def test_many_changes_of_few_gauges_are_not_enough():
    many = make_fleet(40, seed=4, types=1)
    few = [
        replace(with_gauge(state, type_code="RARE"), drift=state.drift * 20)
        for state in many
        if state.drift
    ][:3]

    model = fit_fleet([*many, *few])

    assert sum(len(state.drift) for state in few) > 20
    assert "drift" in model.of("RARE").borrowed


def test_types_share_the_networks_clock_and_have_rates_of_their_own():
    states = make_fleet(80, seed=4, types=2)

    model = fit_fleet(states)

    one, other = model.of("TB0").blockage, model.of("TB1").blockage
    assert one.clock == other.clock == model.network.blockage.clock
    assert one.events + other.events == model.network.blockage.events
    assert one.per_year != other.per_year
