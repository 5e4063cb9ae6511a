"""The evidence of a fleet, gathered in shares: the same in any order and by any share."""

import random

import numpy as np

from fleet.stats.fleet_evidence import EvidenceGatherer
from fleet.stats.fleet_model import fit_evidence, fit_fleet
from tests.stats.fleet_factory import make_fleet

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
        seen = part.deaths.seen_day[part.deaths.unit == unit].tolist()
        watches = [w for w in state.switch_watches if w.well_on < w.seen_on]
        assert seen == [watch.seen_on.toordinal() for watch in watches]
    assert part.type_code.tolist() == [FLEET[place].gauge.type_code for place in places]
