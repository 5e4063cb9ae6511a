"""Gauges left off their logger and failed visits, on hand-made records; days counted by hand."""

from __future__ import annotations

from datetime import date

from fleet.domain.audit.attendance import attempts, left_disconnected
from fleet.domain.audit.evidence import Ask
from fleet.domain.code import NotDoneReason, VisitOutcome
from fleet.domain.history import CheckRecord
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

AS_OF = date(2025, 6, 2)
YEAR = Ask(AS_OF, since=date(2025, 1, 1))


def unproven(day: date, **changes: object) -> CheckRecord:
    fields = {"found": (40, 40), "left": (40, 40), "restoration_proven": None, **changes}
    return make_check(day, **fields)  # type: ignore[arg-type]


def failed(day: date, ref: str | None = None) -> CheckRecord:
    return make_check(
        day,
        visit_ref=ref or f"F{day:%Y%m%d}",
        outcome=VisitOutcome.NOT_DONE,
        checked=False,
        serial="",
        not_done_reason=NotDoneReason.NO_ACCESS,
    )


def test_left_disconnected_lists_a_test_without_a_proven_reconnection() -> None:
    [row] = left_disconnected(evidence(audited(unproven(date(2025, 5, 6)))), Ask(AS_OF))

    assert (row.restoration, row.isolated, row.tested) == ("not_stated", True, True)
    assert (row.days_open, row.made_good.made_good_on) == (27, None)
    assert row.sentence == (
        "Visit V20250506 does not say that tips reach the logger again. Not made good since."
    )


def test_left_disconnected_tells_a_denied_proof_from_one_not_stated() -> None:
    check = unproven(date(2025, 5, 6), restoration_proven=False)

    [row] = left_disconnected(evidence(audited(check)), Ask(AS_OF))

    assert row.restoration == "not_proven"
    assert "says that it was not proven" in row.sentence


def test_left_disconnected_is_not_lifted_by_a_later_check_that_says_nothing() -> None:
    silent = make_check(date(2025, 5, 20), cleaned=True, isolated=False, restoration_proven=None)
    proven = make_check(date(2025, 5, 27), isolated=False, restoration_proven=True)
    bad = unproven(date(2025, 5, 6))

    assert len(left_disconnected(evidence(audited(bad, silent)), Ask(AS_OF))) == 1
    assert left_disconnected(evidence(audited(bad, silent, proven)), Ask(AS_OF)) == []


def test_left_disconnected_with_since_lists_what_was_made_good_too() -> None:
    gauge = audited(unproven(date(2025, 5, 6)), make_check(date(2025, 5, 20), found=(40, 40)))

    [row] = left_disconnected(evidence(gauge), YEAR)

    assert (row.made_good.made_good_on, row.made_good.made_good_by, row.days_open) == (
        date(2025, 5, 20),
        "V20250520",
        14,
    )


def test_left_disconnected_does_not_ask_a_gauge_that_was_only_looked_at() -> None:
    looked = make_check(date(2025, 5, 6), isolated=False, restoration_proven=None)

    assert left_disconnected(evidence(audited(looked)), Ask(AS_OF)) == []


def test_attempts_lists_a_visit_not_done_until_a_service() -> None:
    bad = failed(date(2025, 3, 3))
    looked = make_check(date(2025, 4, 1), cleaned=False)
    served = make_check(date(2025, 4, 8), left=(40, 40))

    [row] = attempts(evidence(audited(bad, looked)), Ask(AS_OF))

    assert (row.not_done_reason, row.reached, row.days_open) == ("no_access", False, 91)
    assert row.sentence == (
        "On 2025-03-03 the gauge was not reached (no access). Not made good since."
    )
    assert attempts(evidence(audited(bad, looked, served)), Ask(AS_OF)) == []
    [row] = attempts(evidence(audited(bad, looked, served)), YEAR)
    assert (row.made_good.made_good_by, row.days_open) == ("V20250408", 36)


def test_attempts_are_made_good_by_a_service_on_the_same_day() -> None:
    day = date(2025, 3, 3)
    gauge = audited(failed(day), make_check(day, visit_ref="V2", left=(40, 40)))

    assert attempts(evidence(gauge), Ask(AS_OF)) == []


def test_attempts_see_the_gauge_that_a_visit_partly_done_did_not_reach() -> None:
    partly = make_check(
        date(2025, 3, 3),
        left=(40, 40),
        outcome=VisitOutcome.PARTLY_DONE,
        not_done_reason=NotDoneReason.NO_TIME,
    )
    reached = audited(partly)
    missed = audited(position="second", serial="00523", installation_id=2)

    [row] = attempts(evidence(reached, missed), Ask(AS_OF))

    assert (row.place.serial, row.reached, row.not_done_reason) == ("00523", False, "no_time")
    assert row.visit.outcome == "partly_done"


def test_attempts_lists_a_gauge_that_was_reached_but_not_serviced() -> None:
    begun = make_check(
        date(2025, 3, 3),
        found=(40,),
        cleaned=False,
        outcome=VisitOutcome.PARTLY_DONE,
        not_done_reason=NotDoneReason.WEATHER,
    )

    [row] = attempts(evidence(audited(begun)), Ask(AS_OF))

    assert row.reached is True
    assert "reached but not serviced (weather)" in row.sentence


def test_attempts_before_the_installation_are_not_the_gauges() -> None:
    gauge = audited(failed(date(2025, 3, 3)), installed_on=date(2025, 4, 1))

    assert attempts(evidence(gauge), YEAR) == []


def test_attempts_count_each_visit_once_and_stand_in_order() -> None:
    first, second = failed(date(2025, 3, 3)), failed(date(2025, 2, 3))
    ground = evidence(
        audited(second, first, position="second", serial="00523"), audited(second, first)
    )

    rows = attempts(ground, Ask(AS_OF))

    assert [(row.place.position, row.visit.visit_ref) for row in rows] == [
        ("main", "F20250203"),
        ("main", "F20250303"),
        ("second", "F20250203"),
        ("second", "F20250303"),
    ]
