"""What stops cost and what they stand in the way of. Minutes by hand [CALC]: one straight road."""

from __future__ import annotations

import pytest

from fleet.domain.plan import Window
from fleet.planning.crew import possible_crews
from fleet.planning.leftout import why_left_out
from fleet.planning.marginal import StopCost, cheapest_exchange, plan_routes, stop_costs
from fleet.planning.price import set_prices
from fleet.planning.solver import solve
from fleet.planning.timeline import Route, Visit


def _route(week, *codes, crew=0):
    crews = possible_crews(week.technician_days, week.candidates)
    by_code = {candidate.place.key: candidate for candidate in week.candidates}
    return Route(crews[crew], tuple(Visit(by_code[code], Window(0, 1440)) for code in codes))


def _costs(week):
    return stop_costs(week, plan_routes(week, solve(week).days))


def test_stop_costs_its_work_and_its_detour(problem, site, member):
    sites = [site("A", service_min=50), site("B", service_min=70)]
    week = problem(sites, [member()], {"A": 30, "B": -20})

    costs = _costs(week)

    # 100 of driving, 120 of work; without A 40 and 70 are left, without B 60 and 50
    assert costs == {"A": StopCost(110, 60), "B": StopCost(110, 40)}


def test_stop_on_the_way_costs_its_work_alone(problem, site, member):
    week = problem([site("A"), site("B")], [member()], {"A": 30, "B": 60})

    assert _costs(week)["A"] == StopCost(60, 0)


def test_stop_that_is_alone_costs_the_whole_day(problem, site, member):
    week = problem([site("A")], [member()], {"A": 30})

    assert _costs(week) == {"A": StopCost(120, 60)}


def test_plan_gives_its_routes_back(problem, site, member, monday):
    windows = {monday: (Window(480, 600), Window(700, 900))}
    week = problem([site("A", windows=windows), site("B")], [member()], {"A": 150, "B": 30})
    plan = solve(week)

    (route,) = plan_routes(week, plan.days)

    assert [visit.key for visit in route.visits] == [s.site_code for s in plan.days[0].stops]
    (start,) = [stop.start_min for stop in plan.days[0].stops if stop.site_code == "A"]
    (window,) = [visit.window for visit in route.visits if visit.key == "A"]
    assert window.opens_min <= start <= window.closes_min - 60


def test_exchange_names_the_stop_of_least_worth_that_makes_room(problem, site, member):
    sites = [
        site("A", worth=4.0, service_min=100),
        site("B", worth=5.0, service_min=200),
        site("C", worth=9.0, service_min=120),
        site("X", worth=3.0, service_min=150),
    ]
    week = problem(sites, [member()], {"A": 10, "B": 20, "C": 10, "X": 30})

    exchange = cheapest_exchange(sites[3], [_route(week, "A", "B", "C")], week.travel)

    # 420 min of work and 40 of driving of 480; without A 470 + 60 are too long, without B 370 + 60
    assert (exchange.dropped.place.key, exchange.extra_driving_min) == ("B", 20)


def test_exchange_drops_no_must_visit_for_a_wish(problem, site, member):
    sites = [site("A", must_visit=True, service_min=400), site("X", service_min=400)]
    week = problem(sites, [member()], {"A": 10, "X": 10})

    assert cheapest_exchange(sites[1], [_route(week, "A")], week.travel) is None


@pytest.mark.parametrize(
    ("place", "words"),
    [(10, "with equal driving"), (30, "with 40 min more driving"), (5, "with 10 min less driving")],
)
def test_left_out_site_is_told_in_whose_place_it_would_fit(problem, site, member, place, words):
    sites = [site("A", worth=4.5, service_min=400), site("X", worth=4.125, service_min=400)]
    week = problem(sites, [member()], {"A": 10, "X": place})
    crews = possible_crews(week.technician_days, week.candidates)

    left = why_left_out(sites[1], [_route(week, "A")], crews, problem=week, prices=set_prices(week))

    assert left.detail.endswith(
        "; would fit in place of A on Mon 2024-03-04 with T01, worth 4.50 record-days against "
        f"4.12, {words}"
    )
