"""The cheapest addition against the clock run over every place there is, on drawn days."""

from __future__ import annotations

import random

import pytest

from fleet.domain.plan import Load, Place, RestRule
from fleet.planning.crew import solo_crews
from fleet.planning.insertion import cheapest_addition, usable_windows
from fleet.planning.timeline import Route, Visit, time_route
from tests.planning.test_quick_week import made_week


def every_addition(candidate, routes, travel):
    """Give (cost, route) of every place, in the order of routes, windows and places."""
    for route in routes:
        if not route.crew.serves(candidate):
            continue
        before = time_route(route, travel)
        spent = before.length_min if route.visits else 0
        for window in usable_windows(candidate, route.crew):
            for place in range(len(route.visits) + 1):
                visits = (*route.visits[:place], Visit(candidate, window), *route.visits[place:])
                longer = Route(route.crew, visits)
                timing = time_route(longer, travel)
                load = timing.over_load
                more = timing.driving_min - before.driving_min
                cost = (load.water_ml, load.spares, timing.over_min, more)
                yield (*cost, timing.length_min - spent), longer


def drawn(seed):
    """Draw a week, days of 0 to 6 stops that may not hold, and sites that are left."""
    from dataclasses import replace

    dice = random.Random(seed)
    week = made_week(seed, sites=60)
    home = Place("S000", 10.1, 20.1)
    rules = (None, None, RestRule(15, after_driving_min=90, after_duty_min=150))
    members = [
        replace(
            member,
            rest_rule=dice.choice(rules),
            capacity=dice.choice((None, Load(water_ml=9000, spares=2))),
            end=dice.choice((member.end, home)),
        )
        for member in week.technician_days
    ]
    sites = [
        replace(site, load=Load(dice.randrange(4000), dice.randrange(2)))
        for site in week.candidates
    ]
    left = dice.sample(sites, 25)
    rest = [site for site in sites if site not in left]
    routes = []
    for crew in solo_crews(members):
        able = [s for s in rest if crew.serves(s) and usable_windows(s, crew)]
        stops = dice.sample(able, min(len(able), dice.randrange(7)))
        visits = tuple(Visit(stop, dice.choice(usable_windows(stop, crew))) for stop in stops)
        routes.append(Route(crew, visits))
    return week.travel, routes, left


@pytest.mark.parametrize("seed", range(12))
def test_cheapest_addition_is_the_first_of_the_cheapest_there_are(seed):
    travel, routes, left = drawn(seed)

    for candidate in left:
        every = list(every_addition(candidate, routes, travel))
        found = cheapest_addition(candidate, routes, travel)
        if not every:
            assert found is None
            continue
        cost, longer = min(every, key=lambda entry: entry[0])
        assert found.route == longer
        assert (found.timing.over_min, found.extra_driving_min, found.extra_min) == cost[2:]
        fitting = cheapest_addition(candidate, routes, travel, fitting=True)
        assert fitting == (found if not any(cost[:3]) else None)
