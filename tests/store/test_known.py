"""Both dates of every question: as of a day, and as the records were known at an instant.

The small network is loaded at 2025-06-02T08:00Z; amendments follow a day later.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.domain.code import NotDoneReason, VisitOutcome
from fleet.store.queries.check import kept_checks
from fleet.store.queries.crew import depots, technicians
from fleet.store.queries.gauge import installed_gauges
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import holds, open_follow_ups, sites
from fleet.store.queries.policy import policy_book
from tests.factories import NOW, TODAY, InputFolder

BEFORE = NOW + timedelta(hours=1)
"""After the load, before the amendment."""


@pytest.fixture
def session(loaded):
    with loaded() as session:
        yield session


def serials(session, day: date, **more) -> list[tuple[str, str]]:
    gauges = installed_gauges(session, as_of=day, **more)
    return [(installed.gauge.site_code, installed.gauge.serial) for installed in gauges]


def check_of(session, ref: str, serial: str, **more):
    (found,) = [
        check.record
        for check in kept_checks(session, as_of=more.pop("as_of", TODAY), **more)
        if (check.record.visit_ref, check.record.serial) == (ref, serial)
    ]
    return found


def test_gauges_stand_as_they_stood_on_the_day(session):
    assert serials(session, date(2023, 5, 31)) == []
    assert ("S03", "00419") in serials(session, date(2024, 9, 9))
    assert ("S03", "00420") in serials(session, date(2024, 9, 10))
    assert ("S03", "00419") not in serials(session, date(2024, 9, 10))
    assert len(serials(session, date(2024, 9, 30))) == 6
    assert serials(session, TODAY) == [
        ("S01", "00417"),
        ("S02", "00418"),
        ("S02", "00523"),
        ("S03", "00420"),
        ("S04", "A-031"),
        ("S05", "A-032"),
        ("S06", "A-033"),
    ]


def test_gauges_are_filtered_by_depot_and_site(session):
    assert [site for site, _ in serials(session, TODAY, depot_code="SOUTH")] == [
        "S04",
        "S05",
        "S06",
    ]
    assert serials(session, TODAY, site_codes=["S02"]) == [("S02", "00418"), ("S02", "00523")]
    assert serials(session, TODAY, site_codes=[]) == []


def test_nothing_is_known_before_it_was_written(session):
    early = NOW - timedelta(microseconds=1)

    assert serials(session, TODAY, known_on=early) == []
    assert kept_checks(session, as_of=TODAY, known_on=early) == []
    assert depots(session, known_on=early) == []
    assert len(serials(session, TODAY, known_on=NOW)) == 7


def test_amended_installation_answers_both_ways(session, amend, network):
    amend(
        network.only("installations", site_code="S01").change(
            "installations", {}, removed_on="2025-04-01"
        ),
        reason="was taken away in April",
    )

    assert ("S01", "00417") not in serials(session, TODAY)
    assert ("S01", "00417") in serials(session, TODAY, known_on=BEFORE)
    assert ("S01", "00417") in serials(session, date(2025, 3, 31))


def test_amended_type_and_instrument_area_answer_both_ways(session, amend, network):
    change = network.only("instruments", serial="00417")
    change.change("instruments", {}, orifice_area_cm2=399.2, area_basis="measured")
    amend(change, reason="measured in the workshop")

    def area(**more):
        return installed_gauges(session, as_of=TODAY, **more)[0].gauge.orifice_area_cm2

    assert area() == 399.2
    assert area(known_on=BEFORE) == 400.0


def test_checks_are_seen_up_to_the_day(session):
    refs = [c.record.visit_ref for c in kept_checks(session, as_of=date(2024, 9, 10))]

    assert refs == ["V001", "V006", "V004", "V004", "V002", "V009", "V011", "V007", "V007"]
    assert len(kept_checks(session, as_of=date(2024, 9, 9))) == 7
    assert len(kept_checks(session, as_of=TODAY)) == 18


def test_checks_of_some_instruments_are_those_of_their_visits(session):
    (second,) = [g for g in installed_gauges(session, as_of=TODAY) if g.gauge.serial == "00523"]

    found = kept_checks(session, as_of=TODAY, about=[second])

    assert [(c.record.visit_ref, c.record.serial) for c in found] == [
        ("V004", "00418"),
        ("V004", "00523"),
        ("V005", "00418"),
        ("V005", "00523"),
    ]
    assert kept_checks(session, as_of=TODAY, about=[]) == []


def test_check_holds_what_was_measured(session):
    check = check_of(session, "V003", "00417")

    assert check.as_found.run_tips == (38, 38)
    assert check.as_found.volume_ml == 1600.0
    assert (check.as_found.runs, check.as_found.emptied_runs) == (2, 1)
    assert check.as_found.volume_u_ml == 1.0  # certificate D01/1: 2 mL with k = 2
    assert check.as_left.run_tips == (40, 40)
    assert check.switch_left.closed_ohm == 0.4
    assert check.switch_found is None
    assert (check.adjusted, check.cleaned, check.isolated) == (True, True, True)
    assert check.restoration_proven is True
    assert check.technicians == ("T01",)


def test_check_tells_blockage_dead_switch_and_unproven_reconnection(session):
    blocked = check_of(session, "V010", "A-031")
    dead = check_of(session, "V013", "A-032")
    unproven = check_of(session, "V015", "A-031")

    assert (blocked.blocked_found, blocked.blocked_left, blocked.as_found) == (True, False, None)
    assert (dead.switch_found.no_closure, dead.switch_found.closed_ohm) == (True, None)
    assert dead.switch_left.closed_ohm == 0.6
    assert (unproven.left_disconnected, unproven.blocked_found) == (True, False)


def test_only_a_blocked_way_of_the_water_is_a_blocked_gauge(session, amend):
    more = InputFolder().visit("V100", "S01", "2025-05-20").check("V100", "00417")
    more.finding("V100", 1, "enclosure", "blocked", "cleared", "good", serial="00417")
    more.visit("V101", "S05", "2025-05-20").check("V101", "A-032")
    more.finding("V101", 1, "drain", "blocked", "none", "blocked")
    amend(more)

    door, drain = check_of(session, "V100", "00417"), check_of(session, "V101", "A-032")
    assert (door.blocked_found, door.blocked_left) == (False, False)
    assert (drain.blocked_found, drain.blocked_left) == (True, True)  # of the site: every gauge


def test_failed_attempt_is_a_record_without_a_gauge(session):
    (attempt,) = [c for c in kept_checks(session, as_of=TODAY) if c.record.visit_ref == "V012"]

    assert (attempt.instrument_id, attempt.record.checked, attempt.record.serial) == (
        None,
        False,
        "",
    )
    assert attempt.record.outcome is VisitOutcome.NOT_DONE
    assert attempt.record.not_done_reason is NotDoneReason.NO_ACCESS


def test_reading_at_the_logger_has_the_cable_taken_off(session, amend, network):
    """S02 main has a loop of 0.8 ohm: 3.0 ohm at the logger are 2.2 ohm at the gauge. [CALC]"""
    more = network.copy()
    more.tables = {}
    more.visit("V100", "S02", "2025-05-30").check("V100", "00418").check("V100", "00523")
    more.reading("V100", "00418", "as_left", value=3.0, measured_at="logger")
    more.reading("V100", "00523", "as_left", value=3.0, measured_at="logger")
    amend(more)

    assert check_of(session, "V100", "00418").switch_left.closed_ohm == pytest.approx(
        2.2, abs=1e-12
    )
    assert check_of(session, "V100", "00523").switch_left.closed_ohm is None


def test_amended_run_answers_both_ways(session, amend, network):
    run = network.only("tip_runs", visit_ref="V003", phase="as_found", run_number=1)
    amend(run.change("tip_runs", {}, tips=36), reason="misread the sheet")

    now, then = (check_of(session, "V003", "00417", known_on=known) for known in (None, BEFORE))
    assert (now.as_found.run_tips, then.as_found.run_tips) == ((36, 38), (38, 38))
    assert now.as_left.run_tips == then.as_left.run_tips == (40, 40)


def test_visit_moved_to_another_day_answers_both_ways(session, amend, network):
    visit = network.only("visits", visit_ref="V008").change(
        "visits", {}, arrived_at="2025-03-13T09:00+01:00", departed_at="2025-03-13T10:30+01:00"
    )
    amend(visit, reason="wrong day on the sheet")

    def seen(day: date, **more) -> bool:
        checks = kept_checks(session, as_of=day, **more)
        return any(check.record.visit_ref == "V008" for check in checks)

    assert not seen(date(2025, 3, 12))
    assert seen(date(2025, 3, 12), known_on=BEFORE)
    assert seen(date(2025, 3, 13))


def test_history_joins_the_instrument_and_its_place(session):
    histories = {h.gauge.serial: h for h in gauge_histories(session, as_of=TODAY)}

    swapped = [(r.visit_ref, r.serial, r.same_instrument) for r in histories["00420"].records]
    assert swapped == [
        ("V006", "00419", False),
        ("V007", "00419", False),
        ("V007", "00420", True),
        ("V008", "00420", True),
    ]
    assert [r.visit_ref for r in histories["A-032"].records] == ["V011", "V012", "V013"]
    assert [r.serial for r in histories["00418"].records] == ["00418", "00418"]


def test_history_follows_an_instrument_to_its_new_place(session, amend, network):
    """00419 goes from the workshop to S01 second: its old checks come along, not its old place."""
    network.add(
        "installations",
        site_code="S01",
        position="second",
        installed_on="2025-05-20",
        serial="00419",
    )
    amend(network.only("installations", serial="00419", site_code="S01"))

    (moved,) = [h for h in gauge_histories(session, as_of=TODAY) if h.gauge.serial == "00419"]
    assert [(r.visit_ref, r.same_instrument, r.same_site) for r in moved.records] == [
        ("V006", True, False),
        ("V007", True, False),
    ]


def test_history_ends_on_the_day_asked_about(session):
    histories = {h.gauge.serial: h for h in gauge_histories(session, as_of=date(2024, 12, 31))}

    assert [r.visit_ref for r in histories["00417"].records] == ["V001", "V002"]
    assert [r.visit_ref for r in histories["A-032"].records] == ["V011"]


def test_policy_of_the_day_and_as_it_was_known(session, amend, network):
    row = network.only("policies", valid_from="2025-01-01").change(
        "policies", {}, service_interval_days=365
    )
    amend(row, reason="decided otherwise")

    def interval(on: date, known_on: datetime | None = None) -> int:
        book = policy_book(session, known_on=known_on)
        return book.in_force(type_code="TB05", site_code="S01", on=on).service_interval_days

    assert interval(date(2024, 12, 31)) == 240
    assert interval(date(2025, 1, 1)) == 365
    assert interval(date(2025, 1, 1), BEFORE) == 180


def test_site_hold_and_follow_up_answer_both_ways(session, amend, network):
    change = network.only("sites", site_code="S01").change("sites", {}, access_minutes=25)
    change.tables |= network.only("follow_ups", follow_up_ref="F001").tables
    change.change("follow_ups", {}, closed_on="2025-06-01", closed_by_visit="V008")
    change.tables |= network.only("holds").change("holds", {}, last_day="2025-06-03").tables
    amend(change, reason="put right")

    assert sites(session)["S01"].access_minutes == 25
    assert sites(session, known_on=BEFORE)["S01"].access_minutes == 10
    later = date(2025, 6, 10)
    assert holds(session, later, later) == []
    assert [h.site_code for h in holds(session, later, later, known_on=BEFORE)] == ["S06"]
    open_now = {f.follow_up_ref for f in open_follow_ups(session, as_of=TODAY)}
    open_then = {f.follow_up_ref for f in open_follow_ups(session, as_of=TODAY, known_on=BEFORE)}
    assert open_now == {"reconnect:V015:A-031"}
    assert open_then == {"F001", "reconnect:V015:A-031"}


def test_follow_up_is_open_between_its_two_days(session):
    def open_on(day: date) -> list[str]:
        return [f.follow_up_ref for f in open_follow_ups(session, as_of=day)]

    assert open_on(date(2024, 6, 3)) == []
    assert open_on(date(2024, 6, 4)) == ["F002"]
    assert open_on(date(2025, 1, 13)) == ["F002"]
    assert open_on(date(2025, 1, 14)) == []


def test_people_answer_both_ways(session, amend, network):
    amend(
        network.only("technicians", technician_code="T02").change(
            "technicians", {}, depot_code="SOUTH"
        ),
        reason="moved",
    )

    assert [t.code for t in technicians(session, "NORTH")] == ["T01"]
    assert [t.code for t in technicians(session, "NORTH", known_on=BEFORE)] == ["T01", "T02"]


def test_instant_of_the_amendment_belongs_to_the_new_version(session, amend, network):
    amend(
        network.only("sites", site_code="S01").change("sites", {}, name="Quellmoor West"),
        reason="x",
    )
    at = datetime(2025, 6, 3, 8, 0, tzinfo=UTC)

    assert sites(session, known_on=at)["S01"].name == "Quellmoor West"
    assert sites(session, known_on=at - timedelta(microseconds=1))["S01"].name == "Quellmoor"
    assert [len(installed_gauges(session, as_of=TODAY, known_on=k)) for k in (at, BEFORE)] == [7, 7]
