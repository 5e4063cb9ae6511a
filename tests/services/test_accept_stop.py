"""Stops accepted in part, and what planning again makes of it."""

from __future__ import annotations

import pytest

from fleet.domain.code import StopOutcome
from fleet.errors import ConflictError, NotFoundError
from fleet.services.accept_stop import accept_stops
from fleet.services.round_life import issue_round, update_stop
from fleet.services.round_view import show_round
from fleet.services.stop_result import StopUpdate
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from tests.hand_round import keep_round
from tests.week_plan import TUE, plan

REF = "2025-W23-NORTH"


@pytest.fixture
def kept(loaded, clock):
    keep_round(loaded, clock)
    return loaded


def accept(sessions, clock, *sites, dry_run=False, **how):
    wish = Wish("tester", "round accept", "", dry_run)
    return accept_stops(sessions, REF, sites, wish, clock=clock, **how)[1]


def accepted(sessions):
    _, stops, _ = show_round(sessions, REF)
    return set(stops["site_code"][stops["accepted"]])


def test_named_stops_are_accepted_and_the_same_again_changes_nothing(kept, clock):
    assert accept(kept, clock, "S01", "S03") == ("S01", "S03")
    clock.move(minutes=1)
    assert accept(kept, clock, "S01") == ()
    assert accepted(kept) == {"S01", "S03"}
    assert verify_records(kept).faults == ()


def test_acceptance_is_taken_back_and_given_again(kept, clock):
    accept(kept, clock, "S01", "S02")
    clock.move(minutes=1)

    assert accept(kept, clock, "S01", withdraw=True) == ("S01",)
    assert accepted(kept) == {"S02"}
    clock.move(minutes=1)
    assert accept(kept, clock, "S01") == ("S01",)
    assert verify_records(kept).faults == ()


def test_all_means_every_stop_without_a_result(kept, clock):
    issue_round(kept, REF, Wish("tester", "round issue", ""), clock=clock)
    done = StopUpdate("S02", StopOutcome.DONE)
    update_stop(kept, REF, done, Wish("tester", "round stop", ""), clock=clock)

    assert set(accept(kept, clock)) == {"S01", "S03"}


def test_stop_with_a_result_cannot_be_accepted_by_name(kept, clock):
    issue_round(kept, REF, Wish("tester", "round issue", ""), clock=clock)
    done = StopUpdate("S02", StopOutcome.DONE)
    update_stop(kept, REF, done, Wish("tester", "round stop", ""), clock=clock)

    with pytest.raises(ConflictError, match="with a result already: S02"):
        accept(kept, clock, "S01", "S02")
    assert accepted(kept) == set()


def test_sites_that_are_no_stops_are_all_named(kept, clock):
    with pytest.raises(NotFoundError, match=r"version 1: S04, S99\. Stops: S02, S01, S03"):
        accept(kept, clock, "S04", "S01", "S99")


def test_dry_run_accepts_nothing(kept, clock):
    assert accept(kept, clock, "S01", dry_run=True) == ("S01",)
    assert accepted(kept) == set()


def test_planning_the_week_again_leaves_an_accepted_stop_where_it_is(kept, clock):
    free = plan(kept, clock, dry_run=True)
    assert {day.day for day in free.plan.days if "S01" in str(day.stops)} != {TUE}
    accept(kept, clock, "S01")

    planned = plan(kept, clock)

    (day,) = [day for day in planned.plan.days if "S01" in {s.site_code for s in day.stops}]
    assert (day.day, day.technician_codes) == (TUE, ("T01",))
    assert "S01 is accepted for 2025-06-03 with T01." in planned.notes
    assert accepted(kept) == {"S01"}
