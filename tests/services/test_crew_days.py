"""Who can drive on which day: weekdays, absences, closures, public holidays, skills of the day.

Public holidays of Portugal (PT) and of its region PT-20 in June 2025 are law: 10 June, and on the
9th (Whit Monday, seven weeks and a day after Easter 2025-04-20) that of the region.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fleet.errors import NotFoundError
from fleet.services.crew_days import crew_days
from fleet.store.queries.crew import depot as kept_depot
from tests.factories import InputFolder
from tests.week_plan import FRI, LAST, MON, THU, TUE, WED


def crew(sessions, depot="NORTH", first=MON, last=LAST):
    with sessions() as session:
        return crew_days(session, kept_depot(session, depot), first, last)


def who_when(days):
    return [(day.day, day.technician_code) for day in days]


def test_weekends_closures_and_absences_are_left_out(loaded):
    days, notes = crew(loaded)

    # Friday 2025-06-06 is closed; T02 is away on Tuesday and Wednesday
    assert who_when(days) == [
        (MON, "T01"),
        (MON, "T02"),
        (TUE, "T01"),
        (WED, "T01"),
        (THU, "T01"),
        (THU, "T02"),
    ]
    assert notes == [
        "2025-06-06 depot closed: stocktaking.",
        "T02 away 2025-06-03 to 2025-06-04.",
    ]


def test_another_depots_closures_and_absences_do_not_count(loaded):
    days, notes = crew(loaded, "SOUTH")

    assert who_when(days) == [(day, "T03") for day in (MON, TUE, WED, THU, FRI)]
    assert notes == []


def test_a_day_carries_the_limits_of_the_shift(loaded):
    day = crew(loaded)[0][0]

    assert (day.starts_min, day.ends_min) == (450, 990)  # 07:30 to 16:30
    assert (day.max_driving_min, day.break_min) == (300, 30)
    assert day.start.key == day.end.key == "depot:NORTH"
    assert (day.start.latitude_deg, day.start.longitude_deg) == (44.9, -34.75)


def test_a_skill_counts_only_while_it_is_valid(loaded, amend, network):
    network.change("skills", {"technician_code": "T01"}, valid_until="2025-06-03")
    amend(network.only("skills", technician_code="T01"), reason="certificate ends")

    days, _ = crew(loaded)

    held = {(day.day, day.technician_code): day.skills for day in days}
    assert held[MON, "T01"] == held[TUE, "T01"] == {"mast"}
    assert held[WED, "T01"] == frozenset()
    assert held[MON, "T02"] == frozenset()  # T02's ran out on 2024-12-31


def test_technician_works_only_on_own_weekdays_and_while_active(loaded, amend, network):
    network.change("technicians", {"technician_code": "T01"}, weekdays="tue sat")
    network.change("technicians", {"technician_code": "T02"}, active_until="2025-06-02")
    amend(network.only("technicians"), reason="new hours")

    days, _ = crew(loaded)

    assert who_when(days) == [(MON, "T02"), (TUE, "T01"), (date(2025, 6, 7), "T01")]


def test_technician_who_starts_within_the_week_counts_from_then_on(loaded, amend, network):
    network.change("technicians", {"technician_code": "T03"}, active_from="2025-06-05")
    amend(network.only("technicians", technician_code="T03"), reason="new contract")

    assert who_when(crew(loaded, "SOUTH")[0]) == [(THU, "T03"), (FRI, "T03")]


@pytest.mark.parametrize(
    ("region", "closed"),
    [("PT", {date(2025, 6, 10)}), ("PT-20", {date(2025, 6, 9), date(2025, 6, 10)})],
)
def test_public_holidays_close_the_depot(loaded, amend, network, region, closed):
    network.change("depots", {"depot_code": "SOUTH"}, holiday_region=region)
    amend(network.only("depots", depot_code="SOUTH"), reason="holiday calendar")
    first, last = date(2025, 6, 9), date(2025, 6, 15)

    days, notes = crew(loaded, "SOUTH", first, last)

    workdays = {date(2025, 6, day) for day in range(9, 14)}
    assert {day.day for day in days} == workdays - closed
    assert [note[:10] for note in notes] == sorted(day.isoformat() for day in closed)
    assert all("depot closed: " in note for note in notes)


def test_names_of_public_holidays_do_not_follow_the_machines_language(
    loaded, amend, network, monkeypatch
):
    network.change("depots", {"depot_code": "SOUTH"}, holiday_region="PT")
    amend(network.only("depots", depot_code="SOUTH"), reason="holiday calendar")
    day = date(2025, 12, 25)
    monkeypatch.setenv("LANGUAGE", "pt_PT")
    monkeypatch.setenv("LANG", "pt_PT.UTF-8")

    _, notes = crew(loaded, "SOUTH", day, day)

    assert notes == ["2025-12-25 depot closed: Christmas Day."]


def test_a_loaded_closure_names_a_public_holiday(loaded, amend, network):
    network.change("depots", {"depot_code": "SOUTH"}, holiday_region="PT")
    more = network.only("depots", depot_code="SOUTH")
    more.add("closures", depot_code="SOUTH", day="2025-06-10", name="holiday and stocktaking")
    amend(more, reason="holiday calendar")

    _, notes = crew(loaded, "SOUTH", date(2025, 6, 10), date(2025, 6, 10))

    assert notes == ["2025-06-10 depot closed: holiday and stocktaking."]


def test_a_kept_region_without_a_calendar_says_what_to_do(loaded):
    with loaded() as session:
        depot = replace(kept_depot(session, "SOUTH"), holiday_region="AQ-X")

        with pytest.raises(NotFoundError, match=r"'AQ-X': give an ISO 3166 code.*or leave"):
            crew_days(session, depot, MON, LAST)


def test_a_depot_without_technicians_is_told_and_has_no_days(loaded, amend):
    place = {"latitude_deg": 44, "longitude_deg": -34, "time_zone": "Etc/GMT-1"}
    amend(InputFolder().add("depots", depot_code="WEST", name="Ulvane", **place))

    assert crew(loaded, "WEST") == ([], ["No technician belongs to depot WEST."])
