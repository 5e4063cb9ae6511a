"""The evidence of a fleet, gathered in shares: the same in any order and by any share."""

import random
from dataclasses import replace
from datetime import timedelta

import numpy as np

from fleet.domain.state import Change
from fleet.stats.clock import season_years
from fleet.stats.fleet_evidence import EvidenceGatherer
from fleet.stats.fleet_model import fit_evidence, fit_fleet
from tests.stats.fleet_factory import AS_OF, AUTUMN, make_fleet

FLEET = make_fleet(70, seed=31, visits=8, types=3)


def gathered(states, share: int):
    gatherer = EvidenceGatherer()
    for start in range(0, len(states), share):
        gatherer.add(states[start : start + share])
    return gatherer.whole()


def test_model_is_the_same_to_the_last_bit_by_any_share_and_order() -> None:
    shuffled = random.Random(5).sample(FLEET, len(FLEET))

    assert fit_evidence(gathered(shuffled, 9)) == fit_evidence(gathered(FLEET, 70))
    assert fit_evidence(gathered(FLEET, 1)) == fit_fleet(FLEET)


def drift_by_season(state, dice):
    """Give a state five changes that were drawn by the law with a season in it."""
    rate, changes = dice.normal(-3.0, 1.0), []
    for spell, ago in zip(dice.integers(60, 300, 5), dice.integers(0, 1500, 5), strict=True):
        found_on = AS_OF - timedelta(int(ago))
        ends = np.array([0.0, float(spell)]) + found_on.toordinal() - float(spell)
        years = float(np.diff(season_years(AUTUMN, ends))[0])
        amount = dice.normal(rate * years, (0.5**2 * years + 0.5**2) ** 0.5)
        changes.append(Change(float(spell) / 365.25, amount, 0.25, "V", found_on))
    return replace(state, drift=tuple(changes))


def test_season_of_drift_is_found_the_same_by_any_share_and_order() -> None:
    dice = np.random.default_rng(8)
    fleet = [drift_by_season(state, dice) for state in FLEET]

    model = fit_fleet(fleet)

    clock = model.network.drift.clock
    assert abs(clock.swing - AUTUMN.swing) < 0.2
    assert abs(clock.peak_day - AUTUMN.peak_day) < 20.0
    assert {kind.drift.clock for kind in model.types.values()} == {clock}
    assert model.network.resistance.clock.swing == 0.0
    shuffled = random.Random(6).sample(fleet, len(fleet))
    assert fit_evidence(gathered(shuffled, 9)) == model


def test_nothing_gathered_gives_the_priors() -> None:
    assert fit_evidence(EvidenceGatherer().whole()) == fit_fleet([])


def test_some_gauges_keep_what_is_theirs() -> None:
    whole = gathered(FLEET, 70)
    places = np.array([5, 2, 60])

    part = whole.take(places)

    assert part.drift.units == part.blockage.units == 3
    for unit, place in enumerate(places):
        state = FLEET[place]
        amounts = part.drift.amount[part.drift.unit == unit].tolist()
        assert amounts == [change.amount for change in state.drift]
        found = part.drift.found_day[part.drift.unit == unit].tolist()
        assert found == [change.found_on.toordinal() for change in state.drift]
        seen = part.deaths.seen_day[part.deaths.unit == unit].tolist()
        watches = [w for w in state.switch_watches if w.well_on < w.seen_on]
        assert seen == [watch.seen_on.toordinal() for watch in watches]
    assert part.type_code.tolist() == [FLEET[place].gauge.type_code for place in places]
