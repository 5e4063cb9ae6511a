"""What each technician carries: a sheet each, cards that agree with the records, one version.

Card figures by hand from tests/small_network.py (first principles): 800 mL at 20 mL a tip are 40
tips, 400 mL at 4 mL are 100. The band 37-43 of 40 is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.domain.code import NotDoneReason
from fleet.domain.sheet import MapLine
from fleet.errors import NotFoundError
from fleet.services.round_life import close_round, issue_round
from fleet.services.route_sheet import Printing, route_sheets, write_sheets
from fleet.store.journal import Wish
from tests.factories import NOW, ZONE, InputFolder
from tests.hand_round import keep_round
from tests.small_network import small_network
from tests.week_plan import MON, TUE, WED, plan

REF = "2025-W23-NORTH"


def sheets(sessions, ref=REF, **how):
    with sessions() as session:
        return route_sheets(session, ref, **how)


def cards_of(made):
    """Give serial -> (stop, card) over all sheets."""
    return {
        card.serial: (stop, card)
        for sheet in made
        for day in sheet.days
        for stop in day.stops
        for card in stop.cards
    }


@pytest.fixture
def north(loaded, clock):
    clock.move(hours=1)
    plan(loaded, clock)
    return loaded


@pytest.fixture
def south(loaded, clock):
    plan(loaded, clock, "SOUTH")
    return {s: c for s, c in cards_of(sheets(loaded, "2025-W23-SOUTH")).items()}


def test_there_is_a_sheet_for_each_technician_in_order(loaded, clock):
    keep_round(loaded, clock)  # T01 on Tuesday, T02 on Wednesday

    first, second = sheets(loaded)

    assert (first.crew_code, first.crew_names) == ("T01", ("Aldis Quimper-Voss",))
    assert (second.crew_code, second.crew_names) == ("T02", ("Мирана Толвек",))
    assert [(d.day, [s.site_code for s in d.stops]) for d in first.days] == [(TUE, ["S02", "S01"])]
    assert [(d.day, [s.site_code for s in d.stops]) for d in second.days] == [(WED, ["S03"])]


def test_day_of_two_stands_on_both_sheets(north):
    first, second = sheets(north)

    assert (first.crew_code, second.crew_code) == ("T01", "T02")
    shared = [day for day in first.days if len(day.crew) == 2]
    assert shared
    assert [day for day in second.days if len(day.crew) == 2] == shared
    assert shared[0].crew == ("Aldis Quimper-Voss", "Мирана Толвек")
    assert "S03" in {stop.site_code for stop in shared[0].stops}


def test_head_of_a_sheet_tells_round_days_and_evidence(north):
    sheet = sheets(north)[0]

    assert (sheet.round_ref, sheet.version, sheet.status) == (REF, 1, "planned")
    assert (sheet.depot_code, sheet.depot_name, sheet.time_zone) == ("NORTH", "Vellmora", ZONE)
    assert (sheet.first_day, sheet.last_day) == (MON, date(2025, 6, 8))
    assert sheet.evidence_as_of == date(2025, 6, 1)
    assert sheet.made_at == NOW + timedelta(hours=1)
    assert sheet.cautions
    assert sheet.loading


def test_notes_say_how_the_plan_was_made_and_say_it_once(north):
    notes = sheets(north)[0].plan_notes

    assert notes[0] == (
        "Ranked on the records up to 2025-06-01; worth counts the good record of the next 365 days."
    )
    assert notes[1] == (
        "Driving: Great-circle distance x 1.30 at 60 km/h (a default, not learned)."
    )
    assert notes[2].startswith("Planned by tester with PyVRP ")
    assert notes[2].count("20 iterations") == 1
    assert notes[2].endswith(
        "driving at 0.1 record-days an hour; a site that buys less than that for the driving it "
        "costs is left out."
    )


def test_day_adds_up_drives_and_tells_light_and_clock(north):
    for day in sheets(north)[0].days:
        legs = [stop.drive_min for stop in day.stops]
        assert day.driving_min == sum(legs) + day.back_drive_min
        assert day.driving_km == pytest.approx(
            sum(stop.drive_km for stop in day.stops) + day.back_drive_km
        )
        assert day.leave_at.strftime("%Y-%m-%d %H:%M") == f"{day.day} {day.leave}"
        assert day.back_at.strftime("%H:%M") == day.back
        assert day.leave_at.utcoffset() == timedelta(hours=1)
        assert len(day.stop_times) == len(day.stops)
        for stop, (starts, leaves) in zip(day.stops, day.stop_times, strict=True):
            assert (starts.strftime("%H:%M"), leaves.strftime("%H:%M")) == (stop.start, stop.depart)
            assert (leaves - starts) == timedelta(minutes=stop.service_min)
        assert day.sunrise < day.stops[0].start < day.sunset
        assert day.rest_min == 30


def test_instants_follow_the_depots_summer_time(loaded, clock, amend, network):
    # an hour behind UTC in winter; clocks go forward on the last Sunday of March
    network.change("depots", {"depot_code": "SOUTH"}, time_zone="Atlantic/Azores")
    amend(network.only("depots", depot_code="SOUTH"), reason="zone")

    plan(loaded, clock, "SOUTH", as_of=date(2025, 3, 23))
    plan(loaded, clock, "SOUTH")

    march, june = (sheets(loaded, ref)[0].days[0] for ref in ("2025-W13-SOUTH", "2025-W23-SOUTH"))
    assert march.leave_at.utcoffset() == timedelta(hours=-1)
    assert june.leave_at.utcoffset() == timedelta(0)


def test_stop_tells_what_a_visitor_must_know(south):
    by_site = {stop.site_code: stop for stop, _ in south.values()}

    ring = by_site["S05"]
    assert (ring.site_name, ring.ring_first, ring.contact) == ("麻野台", True, "gate, 09-17 h")
    assert by_site["S06"].hazards == "bull in the field"
    assert by_site["S06"].must_visit
    assert by_site["S04"].access_rules == ("Mon Wed 09:00-15:00",)
    assert (ring.elevation_m, ring.access_minutes, ring.persons, ring.skill) == (120, 10, 1, None)


def test_card_of_a_half_millimetre_gauge_agrees_with_the_arithmetic(north):
    _, card = cards_of(sheets(north))["00418"]

    assert card.gauge_key == "S02|main|00418"
    assert (card.type_code, card.type_description) == ("TB05", "0.5 mm bucket")
    assert (card.bucket_mm, card.orifice_area_cm2, card.area_basis) == (0.5, 400.0, "nominal")
    assert (card.tip_ml, card.test_volume_ml) == (20.0, 800.0)
    assert (card.expected_tips, card.one_tip_percent) == (40.0, 2.5)
    assert card.as_found_band == (37, 43)
    assert card.as_left_band == (39, 41)  # 3 % of 40 is 38.8 to 41.2, whole tips inward
    assert (card.minimum_as_found_runs, card.minimum_as_left_runs) == (2, 2)
    assert card.tolerance_text.startswith(
        "As found 37 to 43 tips of the nominal volume, as left within 3 %"
    )
    assert (card.closed_field_limit_ohm, card.loop_ohm) == (5.0, 0.8)
    assert (card.age_days, card.interval_days) == (201, 180)  # 2024-11-12 to 2025-06-01
    assert card.last_service_on == date(2024, 11, 12)
    assert card.siphon is False


def test_card_of_a_fifth_millimetre_gauge_agrees_with_the_arithmetic(north):
    _, card = cards_of(sheets(north))["00523"]

    assert (card.tip_ml, card.expected_tips, card.one_tip_percent) == (4.0, 100.0, 1.0)
    assert (card.as_found_band, card.as_left_band) == ((95, 105), (97, 103))
    assert card.siphon is True


def test_card_shows_the_last_results_newest_first_by_the_policy_of_their_day(north):
    _, card = cards_of(sheets(north))["00418"]

    lines = [
        (p.visit_ref, str(p.phase), p.runs, p.tips, p.expected_tips, p.error_percent, p.verdict)
        for p in card.phases
    ]
    # 36 of 40 lies below the band of 37 to 43; 2 x 40 + 79 of 80 within it
    assert lines == [
        ("V005", "as_found", 2, 72, 80.0, -10.0, "failed"),
        ("V005", "as_left", 2, 80, 80.0, 0.0, "passed"),
        ("V004", "as_found", 2, 79, 80.0, -1.25, "passed"),
        ("V004", "as_left", 2, 80, 80.0, 0.0, "passed"),
    ]


def test_result_is_judged_by_the_tolerance_that_was_in_force_on_its_day(loaded, clock, amend):
    # 7.5 % until 2024-12-31, 5 % from 2025-01-01: 94 of 100 passed then and would not today
    where = {"visit_ref": "V005", "serial": "00523", "phase": "as_found"}
    network = small_network().change("tip_runs", where, tips="94")
    amend(network.only("tip_runs", visit_ref="V005"), reason="typed wrongly")
    plan(loaded, clock)

    _, card = cards_of(sheets(loaded))["00523"]

    line = next(line for line in card.phases if line.visit_ref == "V005")
    assert (line.error_percent, line.verdict) == (-6.0, "passed")


def test_card_shows_switch_findings_and_what_waits(north, south):
    _, weak = cards_of(sheets(north))["00420"]
    _, lost = south["A-031"]

    (reading,) = weak.switches
    assert (reading.closed_ohm, reading.verdict) == (3.5, "passed, weak")
    assert weak.open_follow_ups == (
        "next visit (since 2025-03-11): switch at 3.5 ohm, take a spare Needs: reed switch.",
    )
    assert "Mend: switch at 3.5 ohm, take a spare" in weak.tasks
    assert weak.bring == ("spare switch", "reed switch")
    assert [text[:24] for text in lost.findings] == [
        "2025-05-07 vegetation: f",
        "2025-02-05 funnel: found",
    ]
    assert lost.open_follow_ups[0].startswith("urgent (since 2025-05-07): Visit V015 does not")


def test_card_never_tested_says_so_without_results(south):
    _, card = south["A-033"]

    assert (card.last_service_on, card.age_days) == (None, 243)  # installed 2024-10-01
    assert (card.phases, card.switches) == ((), ())


def test_card_shows_three_visits_at_most(loaded, clock, amend):
    more = InputFolder()
    for number, day in enumerate(("2025-03-01", "2025-04-01"), start=90):
        more.visit(f"V{number}", "S01", day)
        more.check(f"V{number}", "00417", found=(40, 40), left=(40, 40))
    amend(more)
    plan(loaded, clock)

    _, card = cards_of(sheets(loaded))["00417"]

    assert [line.visit_ref for line in card.phases][::2] == ["V91", "V90", "V003"]


def test_reasons_on_a_card_are_those_of_the_plan(loaded, clock):
    planned = plan(loaded, clock)
    _, card = cards_of(sheets(loaded))["00418"]

    gauge = planned.week.work["S02"].gauges[0]
    assert card.worth_record_days == pytest.approx(gauge.total_record_days)
    assert card.unfit_percent == pytest.approx(100.0 * gauge.unfit_probability)
    assert [d.sentence for d in card.drivers] == [d.sentence for d in gauge.drivers]
    assert sum(d.share_percent for d in card.drivers) == pytest.approx(100.0, abs=0.002)


def test_left_out_sites_are_told_with_worth_and_reason(loaded, clock, amend):
    amend(
        InputFolder().add(
            "holds",
            site_code="S01",
            kind="not_this_week",
            first_day="2025-06-02",
            last_day="2025-06-08",
            reason="owner away",
        )
    )
    plan(loaded, clock)

    (line,) = sheets(loaded)[0].left_out

    assert (line.site_code, line.site_name) == ("S01", "Quellmoor")
    assert line.reason == "Held from 2025-06-02 to 2025-06-08 (owner away)."
    assert line.worth_record_days > 0


def test_same_version_gives_the_same_sheets_whatever_is_amended_later(north, clock, amend):
    first = sheets(north)
    clock.move(hours=1)

    amend(_everything_changed(), reason="all over again")

    assert sheets(north, number=1) == first
    plan(north, clock)
    assert sheets(north, number=1) == first
    second = sheets(north)
    assert second[0].version == 2
    assert second[0].depot_name == "Ulvane"
    assert cards_of(second)["00418"][1] != cards_of(first)["00418"][1]


def _everything_changed():
    """Give other values for nearly all that a sheet shows."""
    network = small_network()
    network.change("depots", {"depot_code": "NORTH"}, name="Ulvane")
    network.change("technicians", {"technician_code": "T01"}, name="Ennet Halvard")
    network.change("sites", {"site_code": "S02"}, name="Sarrow Lock", hazards="deep water")
    network.change("gauge_types", {"type_code": "TB05"}, description="half a millimetre")
    network.change("policies", {"valid_from": "2025-01-01"}, as_left_tolerance_percent="4")
    network.change("tip_runs", {"visit_ref": "V005", "phase": "as_left"}, tips="41")
    network.change("follow_ups", {"follow_up_ref": "F001"}, description="switch is nearly dead")
    network.finding("V005", 1, "filter", "dirty", "cleaned", "good", serial="00418")
    network.add("access_rules", site_code="S02", rule_number=1, weekdays="mon thu", opens="08:00")
    return network


def test_sheet_says_when_its_round_is_issued_and_nothing_else_changes(north, clock):
    first = sheets(north)

    issue_round(north, REF, Wish("tester", "round issue", ""), clock=clock)

    assert [sheet.status for sheet in sheets(north)] == ["issued", "issued"]
    assert [replace(sheet, status="planned") for sheet in sheets(north)] == [
        replace(sheet, status="planned") for sheet in first
    ]
    wish = Wish("tester", "round close", "")
    close_round(north, REF, wish, clock=clock, rest=NotDoneReason.WEATHER)
    assert sheets(north)[0].status == "closed"


def test_base_map_goes_along(north):
    line = MapLine("coast", ((-34.8, 44.8), (-34.6, 45.2)))

    assert sheets(north, map_lines=(line,))[0].map_lines == (line,)


def test_round_without_stops_has_no_sheet_and_writes_nothing(loaded, clock, amend, tmp_path):
    absent = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "course"}
    amend(InputFolder().add("absences", technician_code="T03", **absent))
    plan(loaded, clock, "SOUTH")

    assert sheets(loaded, "2025-W23-SOUTH") == []
    assert write_sheets(loaded, "2025-W23-SOUTH", tmp_path / "out") == ()


def test_unknown_round_or_version_is_told(north):
    with pytest.raises(NotFoundError, match=r"no round '2025-W99-NORTH'\. List them with"):
        sheets(north, "2025-W99-NORTH")
    with pytest.raises(NotFoundError, match="no round '2025-W23-NORTH' version 9"):
        sheets(north, number=9)


def test_files_are_written_for_each_technician(north, tmp_path):
    paths = write_sheets(north, REF, tmp_path / "out", printing=Printing("letter"))

    assert {path.suffix for path in paths} == {".pdf", ".html", ".gpx", ".ics", ".geojson"}
    assert {path.name.split(".")[0] for path in paths} == {
        f"{REF}-T01",
        f"{REF}-T02",
        f"{REF}_week",
    }
    assert all(path.stat().st_size > 0 for path in paths)
