"""Rounds of many depots side by side on the small network: the same plans, failures told apart."""

from __future__ import annotations

import os
import signal
from dataclasses import replace

import pytest
from sqlalchemy import select

from fleet.errors import InputError, NotFoundError
from fleet.planning.distance import great_circle_travel
from fleet.services import plan_rounds as module
from fleet.services.plan_round import plan_round
from fleet.services.plan_rounds import FailedRound, RoundsOrder, chosen_depots, plan_rounds
from fleet.services.ranking import rank_network
from fleet.services.round_request import request_for
from fleet.services.round_view import list_rounds, rounds_frame
from fleet.store.journal import Wish
from fleet.store.models.ledger import LedgerEntry
from fleet.store.rehearsal import rehearsal
from tests.week_plan import SUNDAY

WISH = Wish("tester", "round plan", "")


def requests(*codes, **changes):
    return [
        replace(request_for(code, SUNDAY, iterations=20), **changes)
        for code in codes or ("NORTH", "SOUTH")
    ]


@pytest.fixture
def run(loaded, clock):
    def plan_all(asked=(), *, wish=WISH, travel=lambda code: great_circle_travel, **changes):
        order = RoundsOrder(asked or requests(), **changes)
        return list(plan_rounds(loaded, order, wish, clock=clock, travel=travel))

    return plan_all


@pytest.fixture
def between(amend, network):
    """Move S01, of NORTH, close to SOUTH."""

    def move():
        network.change("sites", {"site_code": "S01"}, latitude_deg=44.52)
        amend(network.only("sites", site_code="S01"), reason="moved")

    return move


def entries(sessions):
    with sessions() as session:
        found = session.execute(select(LedgerEntry.action).order_by(LedgerEntry.id)).scalars()
        return [action for action in found if action == "round plan"]


def told(made):
    return [(one.round_ref, repr(one.plan), one.notes, sorted(one.costs)) for one in made]


@pytest.mark.parametrize(
    "who",
    [
        pytest.param({"processes": 1}, id="one"),
        pytest.param({"processes": 2}, id="two"),
        pytest.param({"processes": 2, "cluster": "local"}, id="cluster", marks=pytest.mark.long),
    ],
)
def test_plans_are_those_of_each_depot_alone_whoever_works(run, loaded, clock, who):
    dry = replace(WISH, dry_run=True)
    alone = [
        plan_round(loaded, request, dry, clock=clock, travel=great_circle_travel)
        for request in requests()
    ]

    made = run(**who)

    assert told(made) == told(alone)
    assert [one.kept for one in made] == [True, True]
    assert entries(loaded) == ["round plan"] * 2
    assert list_rounds(loaded)["round_ref"].tolist() == ["2025-W23-NORTH", "2025-W23-SOUTH"]


def test_ranking_at_hand_is_not_made_again(run, loaded, monkeypatch):
    ranking = rank_network(loaded, as_of=SUNDAY)
    plain = run(wish=replace(WISH, dry_run=True))
    monkeypatch.setattr(module, "rank_network", None)

    assert told(run(ranking=ranking)) == told(plain)


def test_depot_whose_week_cannot_be_posed_is_told_and_leaves_the_others(run, loaded):
    def travel(code):
        if code == "NORTH":
            raise NotFoundError("No drives for NORTH.")
        return great_circle_travel

    north, south = run(travel=travel)

    assert north == FailedRound("NORTH", "No drives for NORTH.")
    assert (south.round_ref, south.kept) == ("2025-W23-SOUTH", True)
    assert entries(loaded) == ["round plan"]


def solver_that_fails(problem, **_):
    if problem.technician_days[0].start.key == "depot:NORTH":
        raise ArithmeticError("no pivot")
    return module.solve(problem)


def solver_that_dies(problem, **_):
    if problem.technician_days[0].start.key == "depot:NORTH":
        os.kill(os.getpid(), signal.SIGKILL)
    from fleet.planning.solver import solve

    return solve(problem)


def test_depot_whose_solver_raises_is_told_with_the_kind_of_error(run, loaded, monkeypatch):
    from fleet.planning.solver import solve

    monkeypatch.setattr(
        module,
        "solve",
        lambda problem: (
            solve(problem)
            if problem.technician_days[0].start.key == "depot:SOUTH"
            else solver_that_fails(problem)
        ),
    )

    north, south = run()

    assert north == FailedRound("NORTH", "ArithmeticError: no pivot")
    assert south.kept
    assert entries(loaded) == ["round plan"]


def test_depot_whose_worker_dies_is_told_and_leaves_the_others(run, loaded, monkeypatch):
    monkeypatch.setattr(module, "solve", solver_that_dies)

    north, south = run(processes=2)

    assert north == FailedRound("NORTH", "the process that worked on it died")
    assert south.kept
    assert entries(loaded) == ["round plan"]


def test_plan_that_the_checker_refuses_is_told_and_not_kept(run, loaded, monkeypatch):
    from fleet.planning.solver import solve

    def too_early(problem):
        plan = solve(problem)
        if problem.technician_days[0].start.key != "depot:NORTH":
            return plan
        first, *rest = plan.days
        return replace(plan, days=(replace(first, leave_min=0), *rest))

    monkeypatch.setattr(module, "solve", too_early)

    north, south = run()

    assert north.depot_code == "NORTH"
    assert north.why.startswith("The plan is refused, ")
    assert south.kept
    assert entries(loaded) == ["round plan"]


def test_a_single_depot_raises_what_goes_wrong(run):
    def travel(code):
        raise InputError([])

    with pytest.raises(InputError):
        run(requests("NORTH"), travel=travel)


def test_shared_sites_are_planned_in_turn_as_one_after_the_other(run, loaded, clock, between):
    between()
    asked = requests(share_sites=True)
    with rehearsal(loaded) as tried:
        one_by_one = [
            plan_round(tried, request, WISH, clock=clock, travel=great_circle_travel)
            for request in asked
        ]

    made = run(asked, processes=2)

    assert told(made) == told(one_by_one)
    assert "S01" in {stop.site_code for day in made[1].plan.days for stop in day.stops}


def test_site_in_another_round_is_planned_in_its_turn(run, loaded, clock, between):
    """South has a site of North from a shared week; planned again without sharing it goes back."""
    between()
    run(requests("SOUTH", share_sites=True))
    with rehearsal(loaded) as tried:
        one_by_one = [
            plan_round(tried, request, WISH, clock=clock, travel=great_circle_travel)
            for request in requests("SOUTH", "NORTH")
        ]

    made = run(requests("SOUTH", "NORTH"), processes=2)

    assert told(made) == told(one_by_one)
    assert "S01" in {stop.site_code for day in made[1].plan.days for stop in day.stops}


def test_dry_run_keeps_nothing(run, loaded):
    made = run(wish=replace(WISH, dry_run=True), processes=2)

    assert [one.kept for one in made] == [False, False]
    assert entries(loaded) == []


def test_depots_are_chosen_once_each_or_all(loaded):
    assert chosen_depots(loaded, ("SOUTH", "NORTH", "SOUTH")) == ["SOUTH", "NORTH"]
    assert chosen_depots(loaded, ()) == ["NORTH", "SOUTH"]
    with pytest.raises(NotFoundError, match=r"no depot 'WEST'\. Depots: NORTH, SOUTH"):
        chosen_depots(loaded, ("NORTH", "WEST"))


def test_rounds_of_several_depots_make_one_table(run):
    frame = rounds_frame(run())

    assert frame.columns[:2].tolist() == ["round_ref", "day"]
    assert set(frame["round_ref"]) == {"2025-W23-NORTH", "2025-W23-SOUTH"}
    assert rounds_frame([]).columns.tolist() == frame.columns.tolist()
