"""Sites between two depots: served from the cheaper side, planned once, and the plan says so.

NORTH lies at 44.90 N, SOUTH at 44.50 N. Here S01, of NORTH, is moved to 44.52 N: 42 km from its own
depot and 2 km north of the other, both in the same degree of longitude but for 0.05 (4 km).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.domain.plan import LeftOutReason
from fleet.errors import ConflictError
from fleet.planning.distance import great_circle_travel
from fleet.services.plan_round import plan_round
from fleet.services.round_request import request_for
from fleet.store.journal import Wish
from tests.week_plan import SUNDAY


@pytest.fixture
def between(loaded, amend, network):
    network.change("sites", {"site_code": "S01"}, latitude_deg=44.52)
    amend(network.only("sites", site_code="S01"), reason="moved")
    return loaded


def plan(sessions, clock, depot, *, share=True, travel=great_circle_travel):
    request = replace(request_for(depot, SUNDAY, iterations=20), share_sites=share)
    wish = Wish("tester", "round plan", "")
    return plan_round(sessions, request, wish, clock=clock, travel=travel)


def stops(planned):
    return {stop.site_code for day in planned.plan.days for stop in day.stops}


def left(planned):
    return {left.site_code: left for left in planned.plan.left_out}


def test_without_sharing_every_depot_keeps_its_own(between, clock):
    assert "S01" in stops(plan(between, clock, "NORTH", share=False))
    assert "S01" not in stops(plan(between, clock, "SOUTH", share=False))


def test_site_is_offered_to_the_nearer_depot_and_planned_there(between, clock):
    north, south = plan(between, clock, "NORTH"), plan(between, clock, "SOUTH")

    assert left(north)["S01"].reason is LeftOutReason.ELSEWHERE
    assert left(north)["S01"].detail == (
        "38 km nearer to SOUTH than to NORTH in a straight line: offered to it, plan it next"
    )
    assert "S01" in stops(south)
    assert (
        "S01 belongs to another depot and is served from here this week: 38 km nearer to SOUTH "
        "than to NORTH in a straight line."
    ) in south.notes


def test_site_in_another_depots_round_is_not_planned_again(between, clock):
    plan(between, clock, "SOUTH")

    for share in (True, False):
        again = plan(between, clock, "NORTH", share=share)
        assert "S01" not in stops(again)
        assert left(again)["S01"].detail.startswith("in round 2025-W23-SOUTH version 1 on ")


def test_site_that_its_own_depot_has_is_no_guest_of_the_other(between, clock):
    plan(between, clock, "NORTH", share=False)

    assert "S01" not in stops(plan(between, clock, "SOUTH"))


def test_what_the_nearer_depot_leaves_out_goes_back(between, clock, amend):
    from tests.factories import InputFolder

    days = {"first_day": "2025-06-02", "last_day": "2025-06-06", "reason": "ford closed"}
    hold = InputFolder().add("holds", site_code="S01", kind="not_this_week", **days)
    amend(hold)
    assert "S01" not in stops(plan(between, clock, "SOUTH"))
    from datetime import date

    from fleet.domain.code import HoldKind
    from fleet.services.hold import lift_hold

    lift_hold(
        between,
        ("S01", HoldKind.NOT_THIS_WEEK, None),
        Wish("tester", "hold lift", "ford open"),
        clock=clock,
        today=date(2025, 6, 1),
    )

    assert "S01" in stops(plan(between, clock, "NORTH"))


def test_site_that_is_hardly_nearer_stays_with_its_own(loaded, clock, amend, network):
    network.change("sites", {"site_code": "S01"}, latitude_deg=44.69)  # 24 km against 21 km
    amend(network.only("sites", site_code="S01"), reason="moved")

    assert "S01" in stops(plan(loaded, clock, "NORTH"))


def test_site_that_another_depot_took_meanwhile_is_refused(between, clock):
    def slow(places):
        plan(between, clock, "SOUTH")
        return great_circle_travel(places)

    with pytest.raises(
        ConflictError, match=r"another depot meanwhile: S01 \(in round 2025-W23-SOUTH version 1"
    ):
        plan(between, clock, "NORTH", share=False, travel=slow)
