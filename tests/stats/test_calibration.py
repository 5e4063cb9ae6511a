"""Probabilities come true: worlds drawn from the forecast's own law (tests/stats/model_world.py).

Bar (own): forecasts of 10, 30, 50, 70 and 90 % come true within 5 points. The draws are seeded;
with some 500 forecasts at each, 5 points are more than two standard errors.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.stats.model_world import CAUSES, World, draw_world

SIZES = (0.1, 0.3, 0.5, 0.7, 0.9)
LEAST = 300
"""Fewer forecasts of a size are too few to judge to 5 points: two standard errors are 5.8."""


@pytest.fixture(scope="module")
def world() -> World:
    return draw_world(3000, seed=1)


def misses(world: World, cause: str) -> dict[float, tuple[int, float]]:
    """Give how many forecasts were about a size, and how much oftener they came true than said."""
    p, true = world.probability[cause], world.truth[cause]
    near = {size: np.abs(p - size) <= 0.1 for size in SIZES}
    return {
        size: (int(chosen.sum()), float(true[chosen].mean() - p[chosen].mean()))
        for size, chosen in near.items()
        if chosen.sum() >= LEAST
    }


def test_forecasts_of_being_unfit_come_true_within_five_points(world):
    found = misses(world, "unfit")

    assert set(found) == set(SIZES)
    assert {size: miss for size, (_, miss) in found.items() if abs(miss) > 0.05} == {}


@pytest.mark.parametrize("cause", CAUSES)
def test_forecasts_of_each_cause_add_up_to_what_came_true(world, cause):
    p, true = world.probability[cause], world.truth[cause]

    assert float(p.mean()) == pytest.approx(float(true.mean()), abs=0.03)


def test_forecasts_tell_more_than_the_base_rate(world):
    p, true = world.probability["unfit"], world.truth["unfit"]
    share = true.mean()

    brier = float(np.mean((p - true) ** 2))

    assert brier < 0.75 * share * (1 - share)


@pytest.mark.parametrize("records", [0, 1, 2])
def test_forecasts_of_gauges_with_few_records_add_up_to_what_came_true(world, records):
    """At some 300 gauges two standard errors are 5 points."""
    few = world.records == records
    p, true = world.probability["unfit"][few], world.truth["unfit"][few]

    assert few.sum() >= 250
    assert float(p.mean()) == pytest.approx(float(true.mean()), abs=0.05)


@pytest.mark.parametrize("cause", CAUSES)
def test_low_forecasts_come_true_as_seldom_as_said(world, cause):
    """Forecasts under 10 %, taken together, within two standard errors and a point."""
    p, true = world.probability[cause], world.truth[cause]
    low = p < 0.1

    assert low.sum() >= 250
    said, came = float(p[low].mean()), float(true[low].mean())
    error = np.sqrt(said * (1 - said) / low.sum())
    assert came == pytest.approx(said, abs=0.01 + 2 * error)


@pytest.mark.long
def test_forecasts_of_many_worlds_come_true_within_the_bar():
    """Over 16 worlds, four at a time: unfit -2.4 to +1.4 points, drift -4.2 to +0.6 points.

    High forecasts of drift are 1 to 4 points too high since large changes may count as sudden
    ones, of which these worlds have none; one standard error is about 1 point.
    """
    worlds = [draw_world(4000, seed=seed) for seed in (11, 12, 13, 14)]
    joined = World(
        {c: np.concatenate([w.probability[c] for w in worlds]) for c in CAUSES},
        {c: np.concatenate([w.truth[c] for w in worlds]) for c in CAUSES},
        np.concatenate([w.records for w in worlds]),
    )

    assert set(misses(joined, "unfit")) == set(SIZES)
    for cause, bar in (("unfit", 0.03), ("drift", 0.05)):
        found = misses(joined, cause)
        assert {size: miss for size, (_, miss) in found.items() if abs(miss) > bar} == {}
