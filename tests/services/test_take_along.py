"""What passing by saves, worked on the small network: raised worths, the plan, its sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.domain.plan import DayPlan, Plan, PlannedStop
from fleet.planning.distance import great_circle_travel
from fleet.services.plan_round import plan_round
from fleet.services.ranking import RankFilter, rank_gauges
from fleet.services.round_problem import WeekProblem, week_problem
from fleet.services.round_request import request_for
from fleet.services.take_along import Along, along_sentences, own_worth, value_passing_by
from fleet.stats.fleet_model import FleetModel
from fleet.stats.ranking import rank_states
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot
from tests.factories import TODAY

WISH = Wish("tester", "round plan", "weekly round", dry_run=True)


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
    raised, gains = value_passing_by(week, as_of=TODAY)

    before = {c.place.key: c.worth for c in week.problem.candidates}
    after = {c.place.key: c.worth for c in raised.problem.candidates}
    assert gains
    for code, worth in after.items():
        added = gains[code].record_days if code in gains else 0.0
        assert worth == pytest.approx(before[code] + added)
        assert added >= 0.0
    assert any(along.later_than(TODAY) for along in gains.values())
    assert raised.problem.technician_days == week.problem.technician_days


def test_due_sites_are_worth_what_three_years_of_the_ranking_say(week: WeekProblem) -> None:
    _, gains = value_passing_by(week, as_of=TODAY)

    due = [code for code, along in gains.items() if not along.later_than(TODAY)]
    assert due
    for code in due:
        gauges = week.work[code].gauges
        long = 0.0
        for gauge in gauges:
            model = FleetModel({}, gauge.forecast.model)
            (row,) = rank_states(
                [gauge.state], [gauge.policy], model, as_of=TODAY, horizon_days=1092
            )
            long += row.worth_record_days
        own = sum(gauge.forecast.worth_record_days for gauge in gauges)
        assert own + gains[code].record_days == pytest.approx(long, rel=0.01)


def test_ample_crews_raise_next_to_nothing(week: WeekProblem) -> None:
    member = replace(week.problem.technician_days[0], ends_min=1440)
    days = tuple(replace(member, day=member.day + timedelta(n)) for n in range(7))
    ample = replace(week, problem=replace(week.problem, technician_days=days))

    _, gains = value_passing_by(ample, as_of=TODAY)
    _, short = value_passing_by(week, as_of=TODAY)

    total = sum(along.record_days for along in gains.values())
    assert total < 0.1 * sum(along.record_days for along in short.values())


def test_week_without_crew_is_left_as_it_is(week: WeekProblem) -> None:
    idle = replace(week, problem=replace(week.problem, technician_days=()))

    assert value_passing_by(idle, as_of=TODAY) == (idle, {})


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
    worths = {c.place.key: c.worth for c in plain.week.problem.candidates}
    stops = [stop.site_code for day in ahead.plan.days for stop in day.stops]
    assert ahead.plan.worth == pytest.approx(sum(worths[code] for code in stops))
