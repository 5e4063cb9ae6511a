"""What passing by saves, worked on the small network: raised worths, the plan, its sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from fleet.domain.plan import DayPlan, Plan, PlannedStop
from fleet.planning.distance import great_circle_travel
from fleet.services.plan_round import plan_round
from fleet.services.ranking import RankFilter, rank_gauges
from fleet.services.round_problem import WeekProblem, week_problem
from fleet.services.round_request import request_for
from fleet.services.take_along import (
    TURN_NOTE,
    Along,
    along_sentences,
    own_worth,
    weigh_against_turn,
)
from fleet.stats.forecast import after_service
from fleet.stats.gauge_array import lay_out, stand_rows
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot
from tests.factories import TODAY

WISH = Wish("tester", "round plan", "weekly round", dry_run=True)
EVERY_DAY = np.arange(0.0, 1096.0)


@pytest.fixture
def week(loaded) -> WeekProblem:
    """The northern depot's week with one hour of one technician, so that time is short."""
    request = request_for("NORTH", TODAY, iterations=50)
    with loaded() as session:
        ranked = rank_gauges(session, as_of=TODAY, keep=RankFilter(depot_code="NORTH"))
        kept = depot(session, "NORTH")
        posed = week_problem(session, kept, ranked, request, travel=great_circle_travel)
    first = posed.problem.technician_days[0]
    short = replace(first, ends_min=first.starts_min + 60, break_min=0)
    return replace(posed, problem=replace(posed.problem, technician_days=(short,)))


def test_sites_are_raised_by_what_is_told(week: WeekProblem) -> None:
    raised, gains = weigh_against_turn(week, as_of=TODAY)

    before = {c.place.key: c.worth for c in week.problem.candidates}
    after = {c.place.key: c.worth for c in raised.problem.candidates}
    assert gains
    for code, worth in after.items():
        assert worth == pytest.approx(before[code] + gains[code].record_days)
    assert any(along.later_than(TODAY) for along in gains.values())
    assert raised.problem.technician_days == week.problem.technician_days


def test_due_sites_are_worth_the_ranking_until_their_next_turn(week: WeekProblem) -> None:
    """C + T (p - p*) is the integral of p - P(u) to T; every T goes back to one price of time."""
    (member,) = week.problem.technician_days
    longer = replace(member, ends_min=member.starts_min + 240)
    problem = replace(week.problem, technician_days=(longer,))
    raised, gains = weigh_against_turn(replace(week, problem=problem), as_of=TODAY)

    prices = []
    for candidate in raised.problem.candidates:
        code = candidate.place.key
        gauge, *others = week.work[code].gauges
        if gains[code].later_than(TODAY) or others:
            continue
        fresh = after_service(lay_out(stand_rows([gauge.forecast])), EVERY_DAY).unfit()[0]
        lost = cumulative_trapezoid(fresh, EVERY_DAY, initial=0.0)
        until = gauge.forecast.p * EVERY_DAY - lost  # the worth, counted to each day
        cycle = int(np.searchsorted(until[fresh <= gauge.forecast.p], candidate.worth))
        cost = fresh[cycle] * cycle - lost[cycle]
        prices.append(cost / (candidate.service_min + gains[code].drive_min))

    assert len(prices) > 1
    assert prices == pytest.approx([prices[0]] * len(prices), rel=0.05)


def test_ample_crews_make_no_site_wait(week: WeekProblem) -> None:
    member = replace(week.problem.technician_days[0], ends_min=1440)
    days = tuple(replace(member, day=member.day + timedelta(n)) for n in range(7))
    ample = replace(week, problem=replace(week.problem, technician_days=days))

    posed, gains = weigh_against_turn(ample, as_of=TODAY)
    _, short = weigh_against_turn(week, as_of=TODAY)

    assert not any(along.later_than(TODAY) for along in gains.values())
    assert any(along.later_than(TODAY) for along in short.values())
    hours = {code: along.drive_min / 60.0 for code, along in gains.items()}
    price = week.problem.settings.drive_price_days_per_h
    assert all(c.worth >= price * hours[c.place.key] for c in posed.problem.candidates)


def test_week_without_crew_is_left_as_it_is(week: WeekProblem) -> None:
    idle = replace(week, problem=replace(week.problem, technician_days=()))

    assert weigh_against_turn(idle, as_of=TODAY) == (idle, {})


def test_plan_counts_its_own_worth_and_tells_what_it_takes_along(week: WeekProblem) -> None:
    first, second = (c.place.key for c in week.problem.candidates[:2])
    drive = week.problem.travel.drive_min
    start = week.problem.technician_days[0].start.key
    stop = PlannedStop(first, 1, 1.0, 0, 0, 0)
    member = week.problem.technician_days[0]
    day = DayPlan((member.technician_code,), member.day, 0, (stop,), 1, 1.0, 0)
    plan = Plan((day,), (), 12.0, "by hand")
    detour = drive(start, first) + drive(first, start)
    gains = {
        first: Along(2.5, date(2025, 7, 1), detour + 25.0),
        second: Along(1.0, date(2025, 7, 1), 99.0),
    }

    assert own_worth(plan, gains).worth == pytest.approx(9.5)
    assert along_sentences(week, plan, gains) == [
        f"{first} is taken along: falls due on 2025-07-01, saves about 25 min later."
    ]
    dearer = {first: Along(2.5, date(2025, 7, 1), detour - 1.0)}
    assert along_sentences(week, plan, dearer) == []
    due = {first: Along(2.5, member.day, detour + 25.0)}
    assert along_sentences(week, plan, due) == []


def test_round_is_planned_either_way(loaded, clock) -> None:
    request = request_for("NORTH", TODAY, iterations=50)

    plain = plan_round(loaded, request, WISH, clock=clock)
    ahead = plan_round(loaded, replace(request, take_along=True), WISH, clock=clock)

    assert plain.along == ()
    assert TURN_NOTE in ahead.notes
    assert TURN_NOTE not in plain.notes
    worths = {c.place.key: c.worth for c in plain.week.problem.candidates}
    stops = [stop.site_code for day in ahead.plan.days for stop in day.stops]
    assert ahead.plan.worth == pytest.approx(sum(worths[code] for code in stops))
