"""Prizes and the cost of driving in the solver's whole numbers [CALC]."""

from __future__ import annotations

from fleet.domain.plan import Window
from fleet.planning.crew import solo_crews
from fleet.planning.price import set_prices
from fleet.planning.timeline import Route, Visit


def test_record_day_is_worth_the_hours_of_driving_that_the_price_says(problem, site, member):
    week = problem([site("A", worth=1.0)], [member()], {"A": 1}, drive_price_days_per_h=0.1)

    prices = set_prices(week)

    # 1 record-day at 0.1 an hour is 10 h = 600 min of driving
    assert prices.prizes["A"] == 600 * prices.per_min


def test_must_visit_is_worth_more_than_all_others_and_all_driving(problem, site, member):
    sites = [site("A", worth=900.0), site("B", worth=900.0), site("M", worth=0.0, must_visit=True)]

    prices = set_prices(problem(sites, [member()], {"A": 1, "B": 1, "M": 1}))

    others = prices.prizes["A"] + prices.prizes["B"]
    assert prices.prizes["M"] > others + 300 * prices.per_min


def test_without_a_price_the_least_worth_is_more_than_all_driving(problem, site, member):
    sites = [site("A", worth=0.001), site("B", worth=900.0), site("ZERO", worth=0.0)]
    members = [member("T01"), member("T02")]

    prices = set_prices(
        problem(sites, members, {"A": 1, "B": 1, "ZERO": 1}, drive_price_days_per_h=0.0)
    )

    assert prices.prizes["A"] > 600 * prices.per_min
    assert prices.prizes["ZERO"] == 0


def test_score_is_what_is_collected_less_the_price_of_driving(problem, site, member):
    week = problem([site("A", worth=1.0)], [member()], {"A": 30}, drive_price_days_per_h=0.5)
    prices = set_prices(week)
    (crew,) = solo_crews(week.technician_days)
    route = Route(crew, (Visit(week.candidates[0], Window(0, 1440)),))

    # 1 record-day is 120 min of driving; 60 are driven
    assert prices.score([route], week.travel) == 60 * prices.per_min
