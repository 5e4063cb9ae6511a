"""What holds and the compliance worth cost: planned with and without, by the same seed."""

from __future__ import annotations

import pytest

from fleet.services.round_request import request_for
from fleet.services.wish_price import price_wishes
from tests.factories import InputFolder
from tests.week_plan import SUNDAY


def prices(sessions, depot="NORTH"):
    said = []
    request = request_for(depot, SUNDAY, iterations=30)
    frame = price_wishes(sessions, request, say=said.append)
    return frame.set_index(["wish", "site_code"]), said


def hold(amend, site, kind, **more):
    row = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "road closed", **more}
    amend(InputFolder().add("holds", site_code=site, kind=kind, **row))


def test_hold_that_keeps_a_site_out_costs_its_record_days(loaded, amend):
    hold(amend, "S02", "not_this_week")

    frame, said = prices(loaded)
    row = frame.loc[("not_this_week", "S02")]

    assert row["cost_record_days"] == pytest.approx(
        row["without_record_days"] - row["with_record_days"], abs=0.011
    )
    assert row["cost_record_days"] > 100.0
    assert row["reason"] == "road closed"
    assert said == [
        "Planning with all wishes ...",
        "Planning without not_this_week of S02 ...",
        "Planning without the compliance worth ...",
    ]


def test_hold_that_changes_nothing_costs_nothing(loaded, amend):
    hold(amend, "S01", "technician", technician_code="T01")

    frame, _ = prices(loaded)

    assert frame.loc[("technician", "S01"), "cost_record_days"] == 0.0


def test_compliance_worth_costs_nothing_where_policy_adds_none(loaded):
    frame, _ = prices(loaded)

    assert list(frame.index) == [("compliance", "")]
    assert frame.loc[("compliance", ""), "cost_record_days"] == 0.0


def test_compliance_worth_that_buys_an_overdue_site_costs_good_record(loaded, amend, network):
    # S02 is 22 days overdue; with 1000 record-days a day it goes first, and with one short day
    # there is room for one site only
    network.change("policies", {"valid_from": "2025-01-01"}, compliance_record_days=1000)
    network.change("technicians", {"technician_code": "T01"}, shift_end="12:30")
    network.change("sites", {"site_code": "S01"}, importance=100)
    network.drop("absences", technician_code="T02")
    network.add(
        "absences", technician_code="T02", first_day="2025-06-02", last_day="2025-06-08", reason="x"
    )
    network.add(
        "absences", technician_code="T01", first_day="2025-06-03", last_day="2025-06-08", reason="x"
    )
    amend(network.only("policies").copy(), reason="strict")
    amend(network.only("technicians", technician_code="T01"), reason="short")
    amend(network.only("sites", site_code="S01"), reason="weighty")
    amend(network.only("absences"), reason="away")

    frame, _ = prices(loaded)

    row = frame.loc[("compliance", "")]
    assert row["cost_record_days"] > 0.0
    assert row["reason"] == "worth of days overdue, by policy"
