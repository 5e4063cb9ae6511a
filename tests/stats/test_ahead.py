"""The worth of a service ahead of its time, against closed forms and a slow simulation [CALC]."""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
import pytest

from fleet.stats.ahead import Due, due_at_cost, price_of_time, worth_ahead
from fleet.stats.worth import worth_record_days

DAYS = np.arange(0.0, 1001.0)


def linear(per_day: float, count: int = 1) -> np.ndarray:
    """P(u) = k u: a trip of cost C pays at T = sqrt(2 C / k), p* = k T."""
    return np.tile(per_day * DAYS, (count, 1))


def test_due_at_cost_of_a_probability_that_grows_by_the_day() -> None:
    due = due_at_cost(linear(0.0005), DAYS, np.array([2.5]))

    assert due.cycle_days[0] == pytest.approx(100.0, rel=1e-3)  # sqrt(5 / 0.0005)
    assert due.p[0] == pytest.approx(0.05, rel=1e-3)


def test_due_at_cost_of_an_exponential_law() -> None:
    # P = 1 - exp(-a u): cost = T (1 - exp(-a T)) - T + (1 - exp(-a T)) / a
    #                         = (1 - exp(-a T)) / a - T exp(-a T); a = 0.01, T = 50: 9.0204
    unfit = 1.0 - np.exp(-0.01 * DAYS)[np.newaxis, :]

    due = due_at_cost(unfit, DAYS, np.array([9.0204]))

    assert due.cycle_days[0] == pytest.approx(50.0, abs=0.05)
    assert due.p[0] == pytest.approx(1 - exp(-0.5), abs=1e-3)


def test_due_at_a_cost_never_reached_is_the_horizon() -> None:
    due = due_at_cost(linear(0.0005), DAYS, np.array([1e9]))

    assert (due.cycle_days[0], due.p[0]) == (1000.0, 0.5)
    assert due.cost[0] == pytest.approx(250.0)  # k H^2 / 2


def test_price_of_time_uses_the_time_up() -> None:
    # 4 gauges, 60 min each, 2.4 min a day: one service in 100 days each, so 60 x price = 2.5
    price = price_of_time(linear(0.0005, 4), DAYS, minutes=np.full(4, 60.0), minutes_a_day=2.4)

    assert price == pytest.approx(2.5 / 60.0, rel=0.01)


def test_price_of_time_that_is_never_short_is_next_to_nothing() -> None:
    price = price_of_time(linear(0.0005, 4), DAYS, minutes=np.full(4, 60.0), minutes_a_day=1e6)

    assert price == pytest.approx(1e-7, rel=0.01)


def test_worth_ahead_meets_the_worth_of_the_ranking_when_due_and_exceeds_it_before() -> None:
    cost = np.array([2.5])
    due = due_at_cost(linear(0.0005), DAYS, cost)
    gained = []
    for age in (100, 70, 40):
        ahead = 0.0005 * (age + DAYS)[np.newaxis, :]
        worth, days = worth_ahead(ahead, DAYS, due, again_days=due.cycle_days)
        index = worth_record_days(ahead[:, 0], linear(0.0005), days=DAYS, importance=np.ones(1))
        # k age^2 / 2, and k (T^2 - (T - age)^2) / 2 less nothing: C - k (T - age)^2 / 2
        assert index[0] == pytest.approx(0.0005 * age**2 / 2, rel=1e-3)
        assert worth[0] == pytest.approx(2.5 - 0.0005 * (100 - age) ** 2 / 2, abs=0.01)
        assert days[0] == pytest.approx(100 - age, abs=1.0)
        gained.append(worth[0] - index[0])

    assert gained == pytest.approx([0.0, 1.05, 1.2], abs=0.02)  # (p* - p) x age


def test_worth_ahead_of_a_gauge_past_its_due_day_rises_along_the_tangent_of_the_ranking() -> None:
    # P = k u: the index k age^2 / 2 has at T the tangent C + T k (age - T), on which this goes on
    due = due_at_cost(linear(0.0005), DAYS, np.array([40.0]))  # T = sqrt(80 / 0.0005) = 400
    gained = []
    for age in (399, 401, 450, 600):
        ahead = 0.0005 * (age + DAYS)[np.newaxis, :]
        worth, days = worth_ahead(ahead, DAYS, due, again_days=due.cycle_days)
        gained.append((worth[0], days[0]))

    assert [days for _, days in gained] == [1.0, 0.0, 0.0, 0.0]
    assert [worth for worth, _ in gained] == pytest.approx([40.0, 40.2, 50.0, 80.0], abs=0.01)


def test_passing_over_a_due_gauge_costs_what_it_loses_until_its_next_turn() -> None:
    # Unfit for certain: a trip of C now and then every T, or the same from its next turn on.
    # What is lost and paid in D days more than the long run loses and pays anyway is the worth.
    k, cost, wait = 0.0005, 2.5, 30.0
    cycle = sqrt(2 * cost / k)
    rate = (k * cycle**2 / 2 + cost) / cycle
    due = due_at_cost(linear(k), DAYS, np.array([cost]))

    worth, _ = worth_ahead(np.ones((1, DAYS.size)), DAYS, due, again_days=np.array([wait]))

    passed_over = 1.0 * wait + cost - rate * wait  # less what D days of the renewed gauge cost
    assert worth[0] == pytest.approx(passed_over, rel=1e-3)


def test_worth_ahead_of_a_gauge_never_due_has_no_day() -> None:
    due = Due(np.array([0.5]), np.array([1000.0]), np.array([250.0]))

    flat = np.full((1, DAYS.size), 0.1)

    worth, days = worth_ahead(flat, DAYS, due, again_days=due.cycle_days)

    assert days[0] == np.inf
    assert worth[0] == 0.0


def test_going_ahead_at_its_worth_is_as_good_as_waiting() -> None:
    # P = k u, trips of cost C: one early service at age a for a price x, then trips at T again.
    # Record lost and paid over a long time must not depend on whether it is taken.
    k, cost, age = 0.0005, 2.5, 60.0
    cycle = sqrt(2 * cost / k)
    rate = (k * cycle**2 / 2 + cost) / cycle  # lost and paid a day in the long run
    ahead = k * (age + DAYS)[np.newaxis, :]
    due = due_at_cost(linear(k), DAYS, np.array([cost]))
    price = worth_ahead(ahead, DAYS, due, again_days=due.cycle_days)[0][0]

    waiting = k * (cycle**2 - age**2) / 2 + cost - rate * (cycle - age)

    assert price == pytest.approx(waiting, abs=0.01)
