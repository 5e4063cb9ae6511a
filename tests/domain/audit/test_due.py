"""Overdue and never verified, on hand-made records; days are counted by hand [CALC]."""

from __future__ import annotations

from datetime import date

from fleet.domain.audit.due import never_verified, overdue
from fleet.domain.audit.evidence import Ask
from fleet.domain.code import NotDoneReason, VisitOutcome
from fleet.domain.history import CheckRecord
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

SERVICED = make_check(date(2025, 1, 14), found=(40, 40), left=(40, 40))


def failed(day: date, **changes: object) -> CheckRecord:
    return make_check(
        day,
        outcome=VisitOutcome.NOT_DONE,
        checked=False,
        serial="",
        not_done_reason=NotDoneReason.NO_ACCESS,
        **changes,
    )


def test_overdue_begins_on_the_day_after_the_due_day() -> None:
    ground = evidence(audited(SERVICED))

    on_the_day = overdue(ground, Ask(date(2025, 7, 13)))
    [row] = overdue(ground, Ask(date(2025, 7, 14)))

    assert on_the_day == []
    assert (row.due.due_on, row.due.days_overdue) == (date(2025, 7, 13), 1)
    assert (row.due.counted_from, row.due.interval_days) == (date(2025, 1, 14), 180)
    assert (row.last_service_ref, row.last_service_by) == ("V20250114", "T01")
    assert row.sentence == (
        "Last serviced on 2025-01-14 (visit V20250114): 180 days of interval ended on "
        "2025-07-13, 1 day before 2025-07-14."
    )


def test_overdue_uses_the_policy_of_the_day_asked_about() -> None:
    ground = evidence(audited(make_check(date(2024, 5, 1), left=(40, 40))))

    before = overdue(ground, Ask(date(2024, 12, 27)))
    [row] = overdue(ground, Ask(date(2024, 12, 28)))
    [newer] = overdue(ground, Ask(date(2025, 1, 1)))

    assert before == []
    assert (row.due.interval_days, row.policy_basis) == (240, "network from 2020-01-01: old terms")
    assert (newer.due.due_on, newer.due.days_overdue) == (date(2024, 10, 28), 65)
    assert newer.policy_basis == "network from 2025-01-01: new terms"


def test_overdue_counts_a_gauge_never_serviced_from_its_installation() -> None:
    ground = evidence(audited(installed_on=date(2025, 1, 14)))

    [row] = overdue(ground, Ask(date(2025, 8, 1)))

    assert (row.due.due_on, row.due.days_overdue) == (date(2025, 7, 13), 19)
    assert (row.last_service_ref, row.last_service_by) == (None, "")
    assert row.sentence.startswith("Never serviced since its installation on 2025-01-14")


def test_overdue_is_not_mended_by_a_failed_visit_and_names_it() -> None:
    ground = evidence(audited(SERVICED, failed(date(2025, 7, 1)), failed(date(2025, 7, 8))))

    [row] = overdue(ground, Ask(date(2025, 8, 1)))

    assert (row.due.days_overdue, row.failed_attempts) == (19, 2)
    assert row.sentence.endswith("2 attempts since then failed.")


def test_overdue_is_not_mended_by_a_check_that_only_looked() -> None:
    looked = make_check(date(2025, 7, 1), cleaned=False)
    cleaned = make_check(date(2025, 7, 1), cleaned=True)

    assert len(overdue(evidence(audited(SERVICED, looked)), Ask(date(2025, 8, 1)))) == 1
    assert overdue(evidence(audited(SERVICED, cleaned)), Ask(date(2025, 8, 1))) == []


def test_overdue_does_not_look_at_gauges_since_removed() -> None:
    gone = audited(SERVICED, removed_on=date(2025, 7, 20))

    assert overdue(evidence(gone), Ask(date(2025, 8, 1))) == []


def test_overdue_lists_the_longest_first_then_by_place() -> None:
    early = make_check(date(2024, 12, 1), left=(40, 40))
    ground = evidence(
        audited(SERVICED, site_code="S02"),
        audited(SERVICED, site_code="S01", position="second"),
        audited(SERVICED, site_code="S01", position="main"),
        audited(early, site_code="S09"),
    )

    rows = overdue(ground, Ask(date(2025, 8, 1)))

    assert [(row.place.site_code, row.place.position) for row in rows] == [
        ("S09", "main"),
        ("S01", "main"),
        ("S01", "second"),
        ("S02", "main"),
    ]


def test_never_verified_lists_gauges_without_any_run_since_installation() -> None:
    untested = make_check(date(2023, 6, 1), cleaned=False)
    ground = evidence(audited(untested, failed(date(2024, 6, 1))))

    [row] = never_verified(ground, Ask(date(2025, 6, 1)))

    assert (row.installed_on, row.days_installed, row.checks) == (date(2023, 6, 1), 731, 1)
    assert (row.failed_attempts, row.last_visit_ref) == (1, "V20240601")
    assert (row.due.due_on, row.due.days_overdue) == (date(2023, 11, 28), 551)
    assert "731 days ago" in row.sentence


def test_never_verified_passes_over_a_gauge_tested_in_either_phase() -> None:
    found = audited(make_check(date(2024, 6, 1), found=(40, 40), cleaned=False))
    left = audited(make_check(date(2023, 6, 1), left=(40, 40)))

    assert never_verified(evidence(found, left), Ask(date(2025, 6, 1))) == []


def test_never_verified_does_not_count_a_test_of_the_instrument_elsewhere() -> None:
    elsewhere = make_check(date(2023, 5, 1), left=(40, 40), same_site=False, site_code="S09")
    other = make_check(date(2024, 5, 1), left=(40, 40), same_instrument=False, serial="00999")

    rows = never_verified(evidence(audited(elsewhere, other)), Ask(date(2025, 6, 1)))

    assert [row.checks for row in rows] == [0]
