"""Certificates that end, checks that rest on a bad device, spares and rotation.

Days are counted by hand. A bottle that pours 5 % more than it should makes a gauge that counts 40
of 40 tips read 40 / 42 = -4.8 % (first principles).
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.domain.audit.certificate import certificates_due, covered_until
from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.kept import CertificateSpan, DeviceKept, DeviceUse, InstrumentKept
from fleet.domain.audit.rotation import pool, rotation
from fleet.domain.audit.spare import spares
from fleet.domain.audit.taint import tainted_checks
from fleet.domain.code import DeviceKind, InstrumentStatus, Phase
from fleet.domain.history import CheckRecord
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

TODAY = date(2025, 6, 2)
BOTTLE = DeviceKept("D01", DeviceKind.VOLUMETRIC, "bottle", "K-D01")
BOTH = frozenset(Phase)


def span(number: str, first: str, last: str) -> CertificateSpan:
    return CertificateSpan("D01", number, date.fromisoformat(first), date.fromisoformat(last))


def use(record: CheckRecord, device: str = "D01", **more: object) -> DeviceUse:
    fields: dict[str, object] = {"runs": 4, "readings": 0, "run_phases": BOTH, **more}
    return DeviceUse(record.visit_ref, record.serial, device, "volumetric", "K", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("last", "listed"), [("2025-08-01", True), ("2025-08-02", False), ("2025-06-02", True)]
)
def test_a_certificate_is_due_when_it_ends_within_sixty_days(last: str, listed: bool) -> None:
    ground = evidence(devices=(BOTTLE,), certificates=(span("1", "2024-08-01", last),))

    rows = certificates_due(ground, Ask(TODAY))

    assert bool(rows) is listed
    assert [row.in_date_until for row in rows] == ([date.fromisoformat(last)] if listed else [])


def test_a_device_out_of_date_comes_first_with_the_days_since_and_what_used_it() -> None:
    record = make_check(date(2025, 5, 6), found=(40, 40))
    old = make_check(date(2024, 6, 2), found=(40, 40))
    other = DeviceKept("D00", DeviceKind.METER, "meter", "K-D00")
    ground = evidence(
        audited(old, record),
        devices=(other, BOTTLE),
        certificates=(
            span("1", "2024-01-01", "2024-12-31"),
            CertificateSpan("D00", "m", date(2025, 1, 1), date(2025, 6, 30)),
        ),
        device_uses=(use(record), use(old)),
    )

    first, second = certificates_due(ground, Ask(TODAY))

    assert (first.device_code, first.ended_on, first.days_left) == ("D01", date(2024, 12, 31), -153)
    assert (first.used, first.last_used_on, first.last_visit_ref) == (
        1,
        date(2025, 5, 6),
        "V20250506",
    )
    assert (second.device_code, second.days_left) == ("D00", 28)


def test_certificates_that_follow_one_another_are_one_chain() -> None:
    chain = [span("1", "2024-07-01", "2025-06-30"), span("2", "2025-07-01", "2026-06-30")]

    assert covered_until(chain, TODAY) == chain[1]
    assert (
        certificates_due(evidence(devices=(BOTTLE,), certificates=tuple(chain)), Ask(TODAY)) == []
    )


def test_a_gap_of_a_day_breaks_the_chain() -> None:
    chain = [span("1", "2024-07-01", "2025-06-30"), span("2", "2025-07-02", "2026-06-30")]

    assert covered_until(chain, TODAY) == chain[0]


def test_a_device_without_any_certificate_is_listed() -> None:
    [row] = certificates_due(evidence(devices=(BOTTLE,)), Ask(TODAY))

    assert (row.certificate_number, row.days_left, row.used) == (None, None, 0)
    assert "no certificate on record" in row.sentence


OLD = make_check(date(2025, 1, 7), found=(40, 40), left=(40, 40))
NEW = make_check(date(2025, 5, 6), found=(40, 40), left=(40, 40))


def test_a_check_with_the_bad_device_is_to_be_made_again_where_nothing_replaced_it() -> None:
    ground = evidence(audited(OLD), device_uses=(use(OLD),))

    [row] = tainted_checks(ground, Ask(TODAY, codes=("D01",)))

    assert (row.visit.visit_ref, row.check_again) == ("V20250107", "tip test")
    assert (row.rested.as_found_verdict, row.rested.as_left_verdict) == ("passed", "passed")
    assert row.rested.as_found_if_off is None


def test_a_later_check_without_the_device_replaces_it() -> None:
    ground = evidence(audited(OLD, NEW), device_uses=(use(OLD), use(NEW, "D02")))

    [row] = tainted_checks(ground, Ask(TODAY, codes=("D01",)))

    assert (row.verified_since_by, row.check_again) == ("V20250506", None)


def test_a_later_check_with_another_bad_device_replaces_nothing() -> None:
    ground = evidence(audited(OLD, NEW), device_uses=(use(OLD), use(NEW, "D02")))

    first, second = tainted_checks(ground, Ask(TODAY, codes=("D01", "D02")))

    assert (first.check_again, second.check_again) == ("tip test", "tip test")


def test_checks_before_the_day_from_which_the_device_was_bad_are_left_alone() -> None:
    ground = evidence(audited(OLD, NEW), device_uses=(use(OLD), use(NEW)))

    rows = tainted_checks(ground, Ask(TODAY, since=date(2025, 1, 8), codes=("D01",)))

    assert [row.visit.visit_ref for row in rows] == ["V20250506"]


def test_verdicts_are_worked_out_anew_with_what_the_bottle_poured_in_truth() -> None:
    ground = evidence(audited(NEW), device_uses=(use(NEW),))

    [five] = tainted_checks(ground, Ask(TODAY, codes=("D01",), off_by_percent=5.0))
    [two] = tainted_checks(ground, Ask(TODAY, codes=("D01",), off_by_percent=2.0))

    assert (five.rested.as_found_if_off, five.rested.as_left_if_off) == ("passed", "failed")
    assert (two.rested.as_found_if_off, two.rested.as_left_if_off) == ("passed", "passed")
    assert "Was passed as left, would be failed." in five.sentence


def test_a_phase_made_with_two_devices_is_not_worked_out_anew() -> None:
    both = (use(NEW), use(NEW, "D02", run_phases=frozenset({Phase.AS_LEFT})))

    [row] = tainted_checks(
        evidence(audited(NEW), device_uses=both), Ask(TODAY, codes=("D01",), off_by_percent=5.0)
    )

    assert (row.rested.as_found_if_off, row.rested.as_left_if_off) == ("passed", None)


def test_a_meter_leaves_the_switch_to_be_read_again() -> None:
    meter = use(OLD, "D05", runs=0, readings=2, run_phases=frozenset(), reading_phases=BOTH)
    later = use(NEW, "D02")
    ground = evidence(audited(OLD, NEW), device_uses=(meter, later))

    [row] = tainted_checks(ground, Ask(TODAY, codes=("D05",)))

    assert (row.check_again, row.rested.as_left_verdict) == ("switch", None)


def test_a_gauge_since_removed_needs_no_new_check() -> None:
    gone = audited(OLD, removed_on=date(2025, 3, 1))

    [row] = tainted_checks(evidence(gone, device_uses=(use(OLD),)), Ask(TODAY, codes=("D01",)))

    assert row.check_again is None


def kept(serial: str, status: str, code: str = "TB05") -> InstrumentKept:
    return InstrumentKept(serial, code, InstrumentStatus(status))


def test_spares_are_ready_those_in_the_workshop_are_not_and_the_retired_are_left_out() -> None:
    gone = audited(OLD, removed_on=date(2025, 3, 1))
    register = (kept("00417", "workshop"), kept("1", "spare"), kept("2", "retired"))

    rows = spares(evidence(gone, instruments=register), Ask(TODAY))

    assert [(row.serial, row.ready, row.days_away) for row in rows] == [
        ("1", True, None),
        ("00417", False, 93),
    ]
    assert (rows[1].last_site_code, rows[1].last_verdict) == ("S01", "passed")
    assert rows[1].last_visit_ref == "V20250107"


@pytest.mark.parametrize("status", ["spare", "workshop", "retired"])
def test_an_instrument_that_stands_though_the_register_says_otherwise_is_told(status: str) -> None:
    [row] = spares(evidence(audited(), instruments=(kept("00417", status),)), Ask(TODAY))

    assert row.ready is False
    assert "yet it stands at S01 position main" in row.sentence


def test_an_instrument_in_service_that_stands_nowhere_is_told() -> None:
    [row] = spares(evidence(instruments=(kept("00417", "in_service"),)), Ask(TODAY))

    assert "yet it stands nowhere" in row.sentence


@pytest.mark.parametrize(("days", "due"), [(729, False), (730, True), (731, True)])
def test_a_gauge_is_due_on_the_bench_after_two_years_in_the_field(days: int, due: bool) -> None:
    gauge = audited(installed_on=TODAY - timedelta(days=days))

    rows = rotation(evidence(gauge, instruments=(kept("00417", "in_service"),)), Ask(TODAY))

    assert [row.days_over for row in rows] == ([days - 730] if due else [])


@pytest.mark.parametrize(("away", "since"), [(30, "2023-01-01"), (31, "2024-02-01")])
def test_a_quick_move_does_not_make_an_instrument_fresh(away: int, since: str) -> None:
    start = date(2024, 2, 1)
    first = audited(installed_on=date(2023, 1, 1), removed_on=start - timedelta(days=away))
    second = audited(installed_on=start, site_code="S02")

    [row] = rotation(evidence(first, second), Ask(TODAY, days=100))

    assert row.in_field_since == date.fromisoformat(since)


def test_the_pool_tells_how_many_spares_are_short() -> None:
    gauges = [
        audited(installed_on=date(2020, 1, 1), serial=str(number), position=str(number))
        for number in range(3)
    ]
    register = [kept(str(number), "in_service") for number in range(3)]
    register += [kept("s", "spare"), kept("w", "workshop"), kept("t", "spare", "TB02")]

    rows = pool(evidence(*gauges, instruments=tuple(register)), Ask(TODAY))

    figures = [
        (r.type_code, r.standing, r.spare, r.ready, r.workshop, r.rotation_due, r.short)
        for r in rows
    ]
    assert figures == [("TB02", 0, 1, 1, 0, 0, 0), ("TB05", 3, 1, 1, 1, 3, 2)]
