"""Rest rules, homes, vehicles and dated access windows, from the input to the sheet.

All limits are invented. NORTH has T01 and T02, S01 to S03; SOUTH has T03, S04 to S06.
"""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.plan import LeftOutReason, Load, RestRule, Window
from fleet.errors import InputError
from fleet.services.crew_days import crew_days
from fleet.services.round_view import show_round
from fleet.services.route_sheet import route_sheets
from fleet.services.verify import verify_records
from fleet.store.queries.crew import depot as kept_depot
from tests.factories import InputFolder
from tests.week_plan import LAST, MON, THU, TUE, WED, plan, pose

NETWORK = {"scope": "network", "valid_from": "2025-01-01", "basis": "own rule"}


def crew(sessions, depot="NORTH"):
    with sessions() as session:
        days, _ = crew_days(session, kept_depot(session, depot), MON, LAST)
    return {(day.technician_code, day.day): day for day in days}


def test_rest_rule_of_the_narrowest_scope_binds_from_its_day_on(loaded, amend):
    rules = InputFolder().add("rest_rules", **NETWORK, after_duty_minutes=300, break_minutes=20)
    north = {"scope": "depot", "scope_code": "NORTH", "basis": "agreement"}
    rules.add(
        "rest_rules", **north, valid_from="2025-06-03", after_driving_minutes=90, break_minutes=15
    )
    own = {"scope": "technician", "scope_code": "T02", "basis": "own wish"}
    rules.add("rest_rules", **own, valid_from="2025-06-05", break_minutes=0)
    amend(rules)

    days = crew(loaded)

    assert days["T01", MON].rest_rule == RestRule(20, None, 300)
    assert days["T01", TUE].rest_rule == RestRule(15, 90, None)
    assert days["T02", MON].rest_rule == RestRule(20, None, 300)
    assert days["T02", THU].rest_rule is None
    assert crew(loaded, "SOUTH")["T03", TUE].rest_rule == RestRule(20, None, 300)


def test_rest_rule_without_an_occasion_or_of_nobody_is_refused(loaded, amend):
    rules = InputFolder().add("rest_rules", **NETWORK, break_minutes=20)
    rules.add(
        "rest_rules",
        scope="technician",
        scope_code="T99",
        valid_from="2025-01-01",
        after_duty_minutes=200,
        break_minutes=20,
        basis="x",
    )

    with pytest.raises(InputError) as caught:
        amend(rules)

    told = str(caught.value)
    assert "after_driving_minutes or after_duty_minutes is required with a break" in told
    assert "neither the files nor the records have it in technicians" in told


def test_day_starts_and_ends_at_home_as_the_records_say(loaded, amend):
    home = {"technician_code": "T01", "latitude_deg": 44.95, "longitude_deg": -34.72}
    amend(
        InputFolder()
        .add(
            "homes",
            **home,
            valid_from="2025-06-03",
            valid_until="2025-06-03",
            starts_here=True,
            ends_here=False,
        )
        .add("homes", **home, valid_from="2025-06-04", starts_here=True, ends_here=True)
    )

    days = crew(loaded)

    ends = {day: (days["T01", day].start.key, days["T01", day].end.key) for day in (MON, TUE, WED)}
    assert ends == {
        MON: ("depot:NORTH", "depot:NORTH"),
        TUE: ("home:T01", "depot:NORTH"),
        WED: ("home:T01", "home:T01"),
    }
    assert days["T01", WED].meets.key == "depot:NORTH"


def test_sheet_tells_whose_home_the_day_starts_from(loaded, clock, amend):
    home = {"technician_code": "T03", "latitude_deg": 44.42, "longitude_deg": -34.72}
    amend(
        InputFolder().add(
            "homes", **home, valid_from="2025-01-01", starts_here=True, ends_here=True
        )
    )

    planned = plan(loaded, clock, "SOUTH")

    with loaded() as session:
        (sheet,) = route_sheets(session, planned.round_ref)
    assert {day.start_name for day in sheet.days} == {"home of Beryn Osk"}
    assert {day.start_latitude_deg for day in sheet.days} == {44.42}


def test_vehicle_counts_between_its_days_and_the_later_one_wins(loaded, amend):
    van = {"technician_code": "T01", "description": "van"}
    amend(
        InputFolder()
        .add("vehicles", **van, valid_from="2025-01-01", water_litres=40, spare_parts=6)
        .add(
            "vehicles",
            **van,
            valid_from="2025-06-04",
            valid_until="2025-06-04",
            water_litres=12.5,
            spare_parts=0,
        )
    )

    days = crew(loaded)

    assert days["T01", TUE].capacity == days["T01", THU].capacity == Load(40_000, 6)
    assert days["T01", WED].capacity == Load(12_500, 0)
    assert days["T02", MON].capacity is None


def test_water_and_spares_of_a_site_come_from_its_tasks(loaded):
    work = pose(loaded).work

    # 4 runs of 800 mL x 1.5 + 1 L; S02 has a second gauge of 400 mL runs; S03 needs a reed switch
    # and, its switch being weak, a spare one
    assert work["S01"].load == Load(5800, 0)
    assert work["S02"].load == Load(5800 + 3400, 0)
    assert work["S03"].load.water_ml == 5800
    assert work["S03"].load.spares == sum(len(job.bring) for job in work["S03"].jobs) == 2


def test_site_that_no_vehicle_can_supply_is_left_out_with_the_reason(loaded, clock, amend):
    folder = InputFolder()
    for code in ("T01", "T02"):
        folder.add(
            "vehicles",
            technician_code=code,
            description="car",
            valid_from="2025-01-01",
            water_litres=8,
            spare_parts=5,
        )
    amend(folder)

    planned = plan(loaded, clock)

    left = {left.site_code: left for left in planned.plan.left_out}
    assert left["S02"].reason is LeftOutReason.NO_CAPACITY
    assert "needs 10 L of water" in left["S02"].detail
    shown = show_round(loaded, planned.round_ref)[2].set_index("site_code")
    assert shown.loc["S02", "reason"] == "no_capacity"


def test_dated_windows_bind_beside_the_rules_and_their_end_is_told(loaded, clock, amend):
    folder = InputFolder()
    for site, day, opens, closes in (
        ("S04", "2025-06-04", "07:00", "11:00"),
        ("S04", "2025-06-04", "13:30", "23:00"),
        ("S04", "2025-06-05", "07:00", "11:00"),
        ("S05", "2025-06-01", "07:00", "11:00"),
    ):
        folder.add("access_windows", site_code=site, day=day, opens=opens, closes=closes)
    amend(folder)

    planned = plan(loaded, clock, "SOUTH")

    windows = {c.place.key: c.windows for c in planned.week.problem.candidates}
    # S04 is open on Mon and Wed from 09:00 to 15:00 by its rule; the tide allows parts of Wednesday
    assert windows["S04"] == {WED: (Window(540, 660), Window(810, 900))}
    assert windows["S05"] == {}
    assert (
        "S05: its list of access windows ended on 2025-06-01; it is closed until more are loaded."
    ) in planned.notes


def test_breaks_are_kept_with_the_plan_and_printed_where_they_lie(loaded, clock, amend):
    amend(InputFolder().add("rest_rules", **NETWORK, after_duty_minutes=120, break_minutes=10))

    planned = plan(loaded, clock, "SOUTH")

    kept, _, _ = show_round(loaded, planned.round_ref)
    made = [(d.rest_at_min, d.rest_min, d.pauses) for d in planned.plan.days]
    assert [(d.rest_at_min, d.rest_min, d.pauses) for d in kept.days] == made
    assert any(day.pauses for day in kept.days)
    with loaded() as session:
        (sheet,) = route_sheets(session, planned.round_ref)
    for day, told in zip(planned.plan.days, sheet.days, strict=True):
        taken = len(day.pauses) + (day.rest_at_min is not None)
        assert len(told.breaks) == taken
        assert all(one.where for one in told.breaks)
    assert verify_records(loaded).faults == ()


def test_hold_that_names_days_keeps_the_site_to_them_without_asking_for_a_visit(
    loaded, clock, amend
):
    amend(
        InputFolder().add(
            "holds",
            site_code="S01",
            kind="these_days",
            first_day=WED.isoformat(),
            last_day=WED.isoformat(),
            reason="gate is open",
        )
    )

    posed = pose(loaded)

    (site,) = [c for c in posed.problem.candidates if c.place.key == "S01"]
    assert list(site.windows) == [WED]
    assert not site.must_visit
    assert "S01" not in posed.must_visit


def test_records_that_change_while_a_plan_is_made_are_not_planned_over(loaded, clock, monkeypatch):
    from fleet.domain.code import HoldKind
    from fleet.errors import ConflictError
    from fleet.services import plan_round as module
    from fleet.services.hold import add_hold, make_hold
    from fleet.store.journal import Wish

    solve = module.solve

    def slow(problem, **how):
        hold = make_hold(
            "S01",
            HoldKind.NOT_THIS_WEEK,
            first_day=date(2025, 6, 2),
            last_day=date(2025, 6, 8),
            technician_code=None,
            reason="owner away",
        )
        add_hold(loaded, hold, Wish("colleague", "hold add", "owner away"), clock=clock)
        return solve(problem, **how)

    monkeypatch.setattr(module, "solve", slow)

    with pytest.raises(ConflictError, match=r"hold add by colleague\. Nothing was written"):
        plan(loaded, clock)
    from fleet.services.round_view import list_rounds

    assert len(list_rounds(loaded)) == 0
