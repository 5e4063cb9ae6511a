"""Every column and the whole sentence of each question's row, on hand-made records.

Days, counts and errors are worked out by hand [CALC]; 38 tips of 40 expected are -5 %.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.domain.audit.attendance import AttemptRow, DisconnectedRow, attempts, left_disconnected
from fleet.domain.audit.due import DueTerms, NeverVerifiedRow, never_verified, overdue
from fleet.domain.audit.evidence import Ask, CertificateSpan, DeviceUse, SkillSpan
from fleet.domain.audit.made_good import MadeGood
from fleet.domain.audit.pattern import (
    AdjustedRow,
    TooPerfectRow,
    adjusted_every_time,
    too_perfect,
)
from fleet.domain.audit.row import GaugePlace, PhaseFigures, VisitSeen
from fleet.domain.audit.share import share_counts
from fleet.domain.audit.tolerance import MissingPhaseRow, missing_phase
from fleet.domain.audit.traceability import (
    DeviceRow,
    UnqualifiedRow,
    device_out_of_date,
    unqualified,
)
from fleet.domain.code import NotDoneReason, PolicyScope, VisitOutcome
from fleet.domain.history import CheckRecord
from fleet.domain.policy import PolicyBook, PolicyRow
from tests.domain.audit.ground import NEW_TERMS, audited, book, evidence
from tests.factories import make_check

AS_OF = date(2025, 6, 2)
DAY = date(2025, 3, 25)
CREW = ("T01", "T02")
PLACE = GaugePlace("S01", "Quellmoor", "NORTH", "main", "00417", "TB05")
SEEN = VisitSeen("V20250325", DAY, "T01 T02", "done")
OPEN = MadeGood(None, None)
TERMS = "network from 2025-01-01: new terms"


def failed(day: date, reason: NotDoneReason | None = None) -> CheckRecord:
    return make_check(
        day,
        visit_ref=f"F{day:%Y%m%d}",
        outcome=VisitOutcome.NOT_DONE,
        checked=False,
        serial="",
        technicians=CREW,
        not_done_reason=reason,
    )


def monthly(count: int, **changes: object) -> list[CheckRecord]:
    first = date(2024, 1, 1)
    return [make_check(first + timedelta(days=30 * k), **changes) for k in range(count)]  # type: ignore[arg-type]


def test_row_of_a_gauge_never_verified() -> None:
    looked = make_check(date(2024, 6, 1), cleaned=False)

    rows = never_verified(evidence(audited(looked, failed(date(2025, 5, 1)))), Ask(AS_OF))

    assert rows == [
        NeverVerifiedRow(
            place=PLACE,
            installed_on=date(2023, 6, 1),
            days_installed=732,
            due=DueTerms(date(2023, 6, 1), 180, date(2023, 11, 28), 552),
            checks=1,
            last_visit_ref="F20250501",
            last_visit_on=date(2025, 5, 1),
            failed_attempts=1,
            policy_basis=TERMS,
            sentence="Installed on 2023-06-01, 732 days ago; no test run as found or as left is on "
            "record since then, in 1 check. 1 attempt since then failed.",
        )
    ]


def test_two_checks_without_a_run_are_told_in_the_plural() -> None:
    looked = [make_check(date(2024, month, 1), cleaned=False) for month in (6, 7)]

    [row] = never_verified(evidence(audited(*looked)), Ask(AS_OF))

    assert row.sentence.endswith("since then, in 2 checks.")


def test_row_of_a_gauge_left_disconnected() -> None:
    denied = make_check(DAY, found=(40, 40), restoration_proven=False, technicians=CREW)

    assert left_disconnected(evidence(audited(denied)), Ask(AS_OF)) == [
        DisconnectedRow(
            place=PLACE,
            visit=SEEN,
            isolated=True,
            tested=True,
            restoration="not_proven",
            days_open=69,
            made_good=OPEN,
            sentence="Visit V20250325 says that it was not proven that tips reach the logger "
            "again. Not made good since.",
        )
    ]


@pytest.mark.parametrize(
    ("runs", "tested"),
    [({"found": (40,)}, True), ({"left": (40,)}, True), ({}, False)],
    ids=["as found", "as left", "none"],
)
def test_gauge_counts_as_tested_by_runs_in_either_phase(
    runs: dict[str, object], tested: bool
) -> None:
    check = make_check(DAY, restoration_proven=False, **runs)  # type: ignore[arg-type]

    [row] = left_disconnected(evidence(audited(check)), Ask(AS_OF))

    assert row.tested is tested


def test_row_of_a_failed_attempt_without_a_reason() -> None:
    assert attempts(evidence(audited(failed(date(2025, 5, 1)))), Ask(AS_OF)) == [
        AttemptRow(
            place=PLACE,
            visit=VisitSeen("F20250501", date(2025, 5, 1), "T01 T02", "not_done"),
            purpose="routine",
            not_done_reason=None,
            reached=False,
            days_open=32,
            made_good=OPEN,
            sentence="On 2025-05-01 the gauge was not reached (no reason given). Not made good "
            "since.",
        )
    ]


def test_failed_attempt_on_the_first_and_the_last_day_counts() -> None:
    on = [date(2025, 1, 1), AS_OF]
    ground = evidence(audited(*(failed(day, NotDoneReason.WEATHER) for day in on)))

    rows = attempts(ground, Ask(AS_OF, since=date(2025, 1, 1)))

    assert [row.visit.visited_on for row in rows] == on


def test_row_of_a_device_out_of_date_names_the_certificate_that_ended_last() -> None:
    check = make_check(DAY, left=(40, 40), technicians=CREW)
    ground = evidence(
        audited(check),
        device_uses=(DeviceUse("V20250325", "00417", "D03", "volumetric", "K-D03", 4, 2),),
        certificates=(
            CertificateSpan("D03", "D03/0", date(2022, 1, 1), date(2022, 12, 31)),
            CertificateSpan("D03", "D03/1", date(2023, 1, 1), date(2025, 3, 24)),
        ),
    )

    assert device_out_of_date(ground, Ask(AS_OF)) == [
        DeviceRow(
            place=PLACE,
            visit=SEEN,
            device_code="D03",
            device_kind="volumetric",
            device_serial="K-D03",
            runs=4,
            readings=2,
            certificate_number="D03/1",
            certificate_until=date(2025, 3, 24),
            days_out_of_date=1,
            next_certificate_from=None,
            sentence="D03 was used on 2025-03-25 (runs 4, switch readings 2), 1 day after its "
            "certificate D03/1 ended on 2025-03-24.",
        )
    ]


def test_devices_out_of_date_are_listed_by_place_then_day_then_device() -> None:
    later = date(2025, 4, 1)
    ground = evidence(
        audited(make_check(DAY, left=(40,), site_code="S02", visit_ref="W1"), site_code="S02"),
        audited(make_check(DAY, left=(40,)), make_check(later, left=(40,))),
        device_uses=tuple(
            DeviceUse(ref, "00417", device, "volumetric", "K", 1, 0)
            for ref in ("W1", "V20250401", "V20250325")
            for device in ("D03", "D02")
        ),
    )

    rows = device_out_of_date(ground, Ask(AS_OF, since=date(2025, 1, 1)))

    assert [(r.place.site_code, r.visit.visited_on.month, r.device_code) for r in rows] == [
        ("S01", 3, "D02"),
        ("S01", 3, "D03"),
        ("S01", 4, "D02"),
        ("S01", 4, "D03"),
        ("S02", 3, "D02"),
        ("S02", 3, "D03"),
    ]


@pytest.mark.parametrize(
    ("skills", "held_until", "ending"),
    [
        ((), None, "held it (T01 T02)."),
        (
            (SkillSpan("T01", "mast", date(2020, 1, 1), date(2025, 3, 24)),),
            date(2025, 3, 24),
            "held it (T01 T02); it was last held until 2025-03-24.",
        ),
    ],
    ids=["never", "until the day before"],
)
def test_row_of_an_unqualified_visit(
    skills: tuple[SkillSpan, ...], held_until: date | None, ending: str
) -> None:
    check = make_check(DAY, left=(40, 40), technicians=CREW)
    ground = evidence(audited(check, required_skill="mast"), skills=skills)

    words = f"The site asks for 'mast'; on 2025-03-25 nobody there {ending}"
    assert unqualified(ground, Ask(AS_OF)) == [
        UnqualifiedRow(PLACE, SEEN, "mast", held_until, words)
    ]


def test_row_of_results_too_perfect() -> None:
    checks = monthly(4, found=(40, 40), technicians=CREW)

    assert too_perfect(evidence(audited(*checks)), Ask(AS_OF)) == [
        TooPerfectRow(
            about="gauge",
            technicians="T01 T02",
            depot_code="NORTH",
            site_code="S01",
            position="main",
            serial="00417",
            runs=8,
            checks=4,
            gauges=1,
            first_on=date(2024, 1, 1),
            last_on=date(2024, 3, 31),
            last_visit_ref="V20240331",
            furthest_tips=0.0,
            others_runs=0,
            others_nearest_percent=None,
            chance=None,
            sentence="All 8 runs as found of gauge 00417, in 4 checks, lie within half a tip of "
            "the expected count. A pointer, not a proof: look at the original forms.",
        )
    ]


def test_too_perfect_technician_has_no_place_and_every_depot() -> None:
    gauges = [
        audited(
            *monthly(5, found=(40, 40), serial=f"{k}"),
            serial=f"{k}",
            site_code=f"S0{k}",
            depot_code=depot,
        )
        for k, depot in enumerate(("SOUTH", "NORTH"))
    ]

    rows = too_perfect(evidence(*gauges), Ask(AS_OF))

    (row,) = [row for row in rows if row.about == "technician"]
    assert (row.technicians, row.depot_code) == ("T01", "NORTH SOUTH")
    assert (row.site_code, row.position, row.serial) == (None, None, None)
    assert (row.runs, row.checks, row.gauges) == (20, 10, 2)
    assert (row.first_on, row.last_on) == (date(2024, 1, 1), date(2024, 4, 30))


def test_row_of_a_gauge_adjusted_every_time() -> None:
    checks = monthly(4, found=(38, 38), left=(40, 40), adjusted=True)

    assert adjusted_every_time(evidence(audited(*checks)), Ask(AS_OF)) == [
        AdjustedRow(
            place=PLACE,
            adjusted_in_a_row=4,
            services=4,
            adjusted=4,
            first_on=date(2024, 1, 1),
            last_on=date(2024, 3, 31),
            visit_refs="V20240101 V20240131 V20240301 V20240331",
            as_found_errors_percent="-5.0, -5.0, -5.0, -5.0",
            sentence="Adjusted at each of its last 4 services, 2024-01-01 to 2024-03-31; errors as "
            "found in percent: -5.0, -5.0, -5.0, -5.0. A gauge that never holds its adjustment may "
            "be unstable (a pointer, not a proof).",
        )
    ]


def test_gauges_adjusted_every_time_are_listed_with_the_longest_row_first() -> None:
    def gauge(serial: str, site: str, count: int, **more: object):  # type: ignore[no-untyped-def]
        checks = monthly(count, left=(40,), adjusted=True, serial=serial, site_code=site)
        return audited(*checks, serial=serial, site_code=site, **more)

    ground = evidence(
        gauge("3", "S03", 3), gauge("2", "S02", 3), gauge("4", "S04", 5), gauge("1", "S02", 3,
        position="annex"),
    )  # fmt: skip

    rows = adjusted_every_time(ground, Ask(AS_OF))

    assert [row.place.serial for row in rows] == ["4", "1", "2", "3"]


def test_instrument_since_removed_is_listed_only_for_a_span_of_time() -> None:
    checks = monthly(3, left=(40,), adjusted=True)
    gone = evidence(audited(*checks, removed_on=date(2024, 6, 1)))

    assert adjusted_every_time(gone, Ask(AS_OF)) == []
    assert len(adjusted_every_time(gone, Ask(AS_OF, since=date(2024, 1, 1)))) == 1


def test_row_of_a_phase_that_was_not_measured() -> None:
    check = make_check(DAY, left=(40, 40), technicians=CREW)

    assert missing_phase(evidence(audited(check)), Ask(AS_OF)) == [
        MissingPhaseRow(
            place=PLACE,
            visit=SEEN,
            not_done_reason=None,
            figures=PhaseFigures("as_found", "not_measured", 0, *[None] * 6),
            runs_asked=2,
            policy_basis=TERMS,
            sentence="No run as found, where the policy asks for 2: not measured is not passed. "
            "The gauge was cleaned or adjusted, so its state before is lost.",
        )
    ]


def test_phases_that_were_not_measured_are_listed_as_found_first() -> None:
    rows = missing_phase(evidence(audited(make_check(DAY))), Ask(AS_OF))

    assert [row.figures.phase for row in rows] == ["as_found", "as_left"]
    assert "so its state before is lost" not in rows[1].sentence


def test_share_counts_gauges_since_removed_only_for_a_span_of_time() -> None:
    gone = evidence(
        audited(make_check(DAY, found=(40, 40), left=(40, 40)), removed_on=date(2025, 4, 1))
    )

    assert share_counts(gone, Ask(AS_OF)) != share_counts(gone, Ask(AS_OF, since=date(2025, 1, 1)))


def test_span_of_one_day_may_be_asked_and_a_span_backwards_may_not() -> None:
    assert Ask(AS_OF, since=AS_OF).since == AS_OF
    with pytest.raises(ValueError, match="since 2025-06-03 is after as of 2025-06-02"):
        Ask(AS_OF, since=date(2025, 6, 3))


def test_policy_of_a_type_and_of_a_site_is_asked_for_each_gauge() -> None:
    """180 days for the network, 400 for type TB02, 90 at site S07; serviced 120 days ago."""
    wide = book()
    rows = [
        PolicyRow(PolicyScope.TYPE, "TB02", date(2025, 1, 1), replace(NEW_TERMS,
                  service_interval_days=400), "type"),
        PolicyRow(PolicyScope.SITE, "S07", date(2025, 1, 1), replace(NEW_TERMS,
                  service_interval_days=90), "site"),
    ]  # fmt: skip
    network = PolicyRow(PolicyScope.NETWORK, "", date(2024, 1, 1), NEW_TERMS, "network")
    policies = PolicyBook([network, *rows])
    serviced = AS_OF - timedelta(days=200)
    gauges = [
        audited(make_check(serviced, left=(40,), serial=serial, site_code=site), serial=serial,
                site_code=site, type_code=kind)
        for serial, site, kind in (("1", "S01", "TB05"), ("2", "S01", "TB02"), ("3", "S07", "TB05"))
    ]  # fmt: skip

    found = overdue(evidence(*gauges, policies=policies), Ask(AS_OF))
    plain = overdue(evidence(*gauges, policies=wide), Ask(AS_OF))

    assert [(row.place.serial, row.due.days_overdue) for row in found] == [("3", 110), ("1", 20)]
    assert [(row.place.serial, row.due.days_overdue) for row in plain] == [
        ("1", 20),
        ("2", 20),
        ("3", 20),
    ]


def test_late_gauges_of_a_depot_are_counted_one_by_one() -> None:
    """Two of three are late, one of them by a single day (181 days against 180)."""
    days = (181, 300, 20)
    ground = evidence(
        *(
            audited(
                make_check(AS_OF - timedelta(days=age), left=(40, 40), serial=f"{age}"),
                serial=f"{age}",
                installed_on=date(2023, 6, 1),
            )
            for age in days
        ),
        policies=book(),
    )

    counts = share_counts(ground, Ask(AS_OF))

    (in_date,) = [c for c in counts if c.depot_code == "NORTH" and c.measure.value == "in_date"]
    assert (in_date.hits, in_date.n) == (1, 3)


def test_single_run_asked_for_is_missed_where_there_is_none() -> None:
    ground = evidence(
        audited(make_check(DAY, found=(40,))),
        policies=book(minimum_as_found_runs=0, minimum_as_left_runs=1),
    )

    rows = missing_phase(ground, Ask(AS_OF))

    assert [(row.figures.phase, row.runs_asked) for row in rows] == [("as_left", 1)]
