"""The week as the planner sees it: candidates, windows, work, holds and their contradictions.

Minutes of work by hand from fleet/domain/job.py's stated parts: 99 for a gauge of 800 mL runs, 71
for one of 400 mL; walking in and out takes 10 at every site of the small network.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.domain.plan import LeftOutReason, SearchSettings, Window
from fleet.errors import ConflictError
from fleet.planning.daylight import daylight
from fleet.services.round_request import request_for
from tests.factories import ZONE, InputFolder
from tests.week_plan import LAST, MON, SUNDAY, THU, TUE, WED, pose

AWAY = {"site_code": "S01", "kind": "not_this_week", "reason": "owner away"}
MUST = {"site_code": "S01", "kind": "must_visit", "reason": "flood warning"}


def candidates(posed):
    return {candidate.place.key: candidate for candidate in posed.problem.candidates}


def held(posed):
    return {left.site_code: left for left in posed.held}


def hold(first, last, **cells):
    return InputFolder().add("holds", first_day=first, last_day=last, **cells)


def test_request_for_no_week_takes_the_one_after_the_evidence():
    request = request_for("NORTH", date(2025, 6, 4))

    assert (request.first_day, request.last_day) == (date(2025, 6, 9), date(2025, 6, 15))
    assert request.settings == SearchSettings()


@pytest.mark.parametrize("day", [MON, WED, LAST])
def test_request_for_any_day_takes_its_whole_week(day):
    request = request_for("NORTH", SUNDAY, day, seed=7, iterations=9, drive_price=0.0)

    assert (request.first_day, request.last_day) == (MON, LAST)
    assert request.settings == SearchSettings(7, 9, 0.0)


def test_request_within_a_running_week_starts_after_the_evidence():
    request = request_for("NORTH", WED, MON)

    assert (request.first_day, request.last_day) == (THU, LAST)


@pytest.mark.parametrize("as_of", [LAST, date(2025, 7, 1)])
def test_request_for_a_week_that_is_over_is_refused(as_of):
    with pytest.raises(ConflictError, match="week of 2025-06-02 has no day after"):
        request_for("NORTH", as_of, TUE)


def test_every_site_of_the_depot_with_a_gauge_is_a_candidate(loaded):
    assert set(candidates(pose(loaded))) == {"S01", "S02", "S03"}
    assert set(candidates(pose(loaded, "SOUTH"))) == {"S04", "S05", "S06"}


def test_worth_of_a_site_is_the_sum_of_its_gauges(loaded):
    posed = pose(loaded)

    work = posed.work["S02"]
    assert [g.state.gauge.serial for g in work.gauges] == ["00418", "00523"]
    assert candidates(posed)["S02"].worth == pytest.approx(
        work.gauges[0].total_record_days + work.gauges[1].total_record_days
    )


def test_service_minutes_follow_from_the_tasks_due(loaded):
    south, north = candidates(pose(loaded, "SOUTH")), candidates(pose(loaded))

    assert south["S05"].service_min == 10 + 71
    assert north["S01"].service_min == 10 + 99
    # 00418 is expected at -9 %: 15 min to adjust; 00523 in 71 min at the same site
    assert north["S02"].service_min == 10 + 99 + 15 + 71
    # follow-up F001 at 00420 waits to be mended: 20 min
    assert north["S03"].service_min == 10 + 99 + 20


def test_follow_up_about_the_whole_site_falls_to_its_first_gauge(loaded, amend):
    row = {"severity": "soon", "raised_on": "2025-05-01", "site_code": "S02"}
    amend(
        InputFolder().add(
            "follow_ups", follow_up_ref="F009", description="fence down", needs="wire", **row
        )
    )

    first, second = pose(loaded).work["S02"].jobs

    assert ("Mend: fence down" in first.tasks, first.bring) == (True, ("wire",))
    assert ("Mend: fence down" in second.tasks, second.bring) == (False, ())


def test_reconnection_to_be_proven_is_a_task_and_nothing_to_load(loaded):
    (job,) = pose(loaded, "SOUTH").work["S04"].jobs

    assert job.tasks[0].startswith("First: see whether tips reach the logger; visit V015")
    assert job.bring == ()
    assert job.minutes == 71


def test_closed_follow_up_asks_for_nothing(loaded):
    (job,) = pose(loaded).work["S01"].jobs

    assert not [task for task in job.tasks if "leg bolt" in task]  # F002 was closed


def test_follow_up_of_an_instrument_goes_with_it_to_its_next_site(loaded, amend, network):
    network.change("installations", {"serial": "00420"}, removed_on="2025-05-20")
    more = network.only("installations", serial="00420")
    for site, serial in (("S01", "00417"),):
        network.change(
            "installations", {"site_code": site, "serial": serial}, removed_on="2025-05-20"
        )
    more.tables["installations"] += network.rows("installations", serial="00417")
    more.add(
        "installations",
        site_code="S01",
        position="main",
        installed_on="2025-05-20",
        serial="00420",
    )
    amend(more, reason="moved")

    (job,) = pose(loaded).work["S01"].jobs

    assert "Mend: switch at 3.5 ohm, take a spare" in job.tasks
    assert job.bring == ("spare switch", "reed switch")


def test_persons_skill_and_position_come_from_the_site(loaded):
    site = candidates(pose(loaded))["S03"]

    assert (site.persons, site.skill) == (2, "mast")
    assert (site.place.latitude_deg, site.place.longitude_deg) == (45.1, -34.7)
    assert (site.must_visit, site.technician_code) == (False, None)


def test_site_without_rules_is_open_while_there_is_daylight(loaded):
    windows = candidates(pose(loaded))["S01"].windows

    assert sorted(windows) == [MON + timedelta(days=n) for n in range(7)]
    light = daylight(44.95, -34.70, day=MON, time_zone=ZONE)
    assert windows[MON] == (Window(light.rise_min, light.set_min),)


def test_access_rules_close_days_and_hours(loaded):
    windows = candidates(pose(loaded, "SOUTH"))["S04"].windows

    assert windows == {MON: (Window(540, 900),), WED: (Window(540, 900),)}  # 09:00 to 15:00


@pytest.mark.parametrize(
    ("zone", "opens", "closes"),
    [
        ("Etc/GMT-2", 540 - 60, 900 - 60),  # an hour ahead of the depot at UTC+1
        ("Etc/GMT+1", 540 + 120, 900 + 120),
    ],
)
def test_access_hours_of_a_site_in_another_time_zone_are_told_on_the_depots_clock(
    loaded, amend, network, zone, opens, closes
):
    network.change("sites", {"site_code": "S04"}, time_zone=zone)
    amend(network.only("sites", site_code="S04"), reason="zone")

    windows = candidates(pose(loaded, "SOUTH"))["S04"].windows

    assert windows[MON] == (Window(opens, closes),)


def test_daylight_cuts_access_short_in_winter(loaded, amend):
    rule = {"site_code": "S01", "rule_number": 1, "opens": "05:00", "closes": "23:00"}
    amend(InputFolder().add("access_rules", **rule))

    posed = pose(loaded, as_of=date(2025, 12, 14))

    day = date(2025, 12, 15)
    (window,) = candidates(posed)["S01"].windows[day]
    light = daylight(44.95, -34.70, day=day, time_zone=ZONE)
    assert (window.opens_min, window.closes_min) == (light.rise_min, light.set_min)
    assert 600 < window.opens_min < window.closes_min < 1260


def test_days_up_to_the_evidence_are_not_planned(loaded):
    posed = pose(loaded, as_of=WED, week=MON)

    assert {day.day for day in posed.problem.technician_days} == {THU}
    assert min(candidates(posed)["S01"].windows) == THU


@pytest.mark.parametrize(
    ("first", "last", "left"),
    [
        ("2025-05-01", "2025-06-02", [1, 2, 3, 4, 5, 6]),
        ("2025-06-01", "2025-06-03", [2, 3, 4, 5, 6]),
        ("2025-06-04", "2025-06-04", [0, 1, 3, 4, 5, 6]),
        ("2025-06-08", "2025-06-30", [0, 1, 2, 3, 4, 5]),
        ("2025-06-09", "2025-06-30", [0, 1, 2, 3, 4, 5, 6]),
        ("2025-05-01", "2025-06-01", [0, 1, 2, 3, 4, 5, 6]),
    ],
)
def test_hold_keeps_a_site_out_on_its_days_alone(loaded, amend, first, last, left):
    amend(hold(first, last, **AWAY))

    windows = candidates(pose(loaded))["S01"].windows

    assert sorted(windows) == [MON + timedelta(days=n) for n in left]


def test_hold_for_the_whole_week_leaves_the_site_out_with_its_reason(loaded, amend):
    amend(hold("2025-06-02", "2025-06-08", **AWAY))

    posed = pose(loaded)

    left = held(posed)["S01"]
    assert "S01" not in candidates(posed)
    assert (left.reason, left.must_visit) == (LeftOutReason.HELD, False)
    assert left.detail == "Held from 2025-06-02 to 2025-06-08 (owner away)."


def test_must_visit_hold_leaves_only_its_days(loaded, amend):
    amend(hold("2025-06-04", "2025-06-05", **MUST))

    posed = pose(loaded)

    site = candidates(posed)["S01"]
    assert site.must_visit
    assert sorted(site.windows) == [WED, THU]
    assert posed.must_visit == {"S01"}


def test_must_visit_hold_is_met_by_a_service_within_it(loaded, amend):
    amend(InputFolder().visit("V100", "S06", "2025-05-31", technicians="T03"))
    more = InputFolder().visit("V101", "S06", "2025-06-02", technicians="T03")
    more.check("V101", "A-033", left=(40, 40))
    amend(more)

    before, after = (pose(loaded, "SOUTH", as_of=day, week=MON) for day in (SUNDAY, MON))

    assert candidates(before)["S06"].must_visit
    assert not candidates(after)["S06"].must_visit


def test_opposed_holds_for_the_whole_week_are_told_together(loaded, amend):
    amend(hold("2025-06-02", "2025-06-08", **AWAY))
    amend(hold("2025-06-02", "2025-06-06", **MUST))

    left = held(pose(loaded))["S01"]

    assert left.must_visit
    assert left.detail == (
        "Held from 2025-06-02 to 2025-06-08 (owner away), but another hold says: must be visited "
        "from 2025-06-02 to 2025-06-06 (flood warning)."
    )


def test_must_visit_on_days_without_access_says_so(loaded, amend):
    more = hold("2025-06-03", "2025-06-03", **{**MUST, "site_code": "S04"})
    amend(more)

    left = held(pose(loaded, "SOUTH"))["S04"]

    assert left.detail == (
        "Must be visited on 2025-06-03 (flood warning): it cannot be entered on any of those days."
    )


def test_technician_hold_fixes_who_goes(loaded, amend):
    fixed = {"site_code": "S01", "kind": "technician", "reason": "knows the owner"}
    amend(hold("2025-06-05", "2025-06-30", technician_code="T02", **fixed))

    posed = pose(loaded)

    assert candidates(posed)["S01"].technician_code == "T02"
    assert not [note for note in posed.notes if "fixed" in note]


def test_two_technician_holds_are_told_and_the_later_one_binds(loaded, amend):
    fixed = {"site_code": "S01", "kind": "technician", "reason": "knows the owner"}
    more = hold("2025-05-01", "2025-06-30", technician_code="T02", **fixed)
    more.add(
        "holds",
        first_day="2025-06-02",
        last_day="2025-06-06",
        technician_code="T01",
        site_code="S01",
        kind="technician",
        reason="training",
    )
    amend(more)

    posed = pose(loaded)

    assert candidates(posed)["S01"].technician_code == "T01"
    assert posed.notes[-1] == (
        "S01 is fixed to T02 from 2025-05-01 to 2025-06-30 (knows the owner) and T01 from "
        "2025-06-02 to 2025-06-06 (training): taken is T01, whose hold begins last."
    )


def test_hold_of_another_depot_does_not_bind(loaded):
    assert pose(loaded).must_visit == frozenset()  # S06's hold is SOUTH's
    assert pose(loaded, "SOUTH").must_visit == {"S06"}
