"""Adjusted at every service, and results too good to be true: common practice, no published source.

800 mL is 40 tips of 20 mL, 810 mL is 40.5 [CALC].
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.pattern import adjusted_every_time, too_perfect
from fleet.domain.code import VisitPurpose
from fleet.domain.history import CheckRecord
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check, make_runs

AS_OF = date(2025, 6, 2)


def services(*adjusted: bool, **changes: object) -> list[CheckRecord]:
    return [
        make_check(
            date(2024, 1, 1) + timedelta(days=30 * number),
            found=(38, 38),
            left=(40, 40),
            adjusted=was,
            **changes,
        )
        for number, was in enumerate(adjusted)
    ]


def test_adjusted_every_time_lists_three_adjustments_in_a_row() -> None:
    [row] = adjusted_every_time(evidence(audited(*services(False, True, True, True))), Ask(AS_OF))

    assert (row.adjusted_in_a_row, row.services, row.adjusted) == (3, 4, 3)
    assert (row.first_on, row.last_on) == (date(2024, 1, 31), date(2024, 3, 31))
    assert row.visit_refs == "V20240131 V20240301 V20240331"
    assert row.as_found_errors_percent == "-5.0, -5.0, -5.0"
    assert "a pointer, not a proof" in row.sentence


@pytest.mark.parametrize("adjusted", [(True, True), (True, True, True, False), (True, False, True)])
def test_adjusted_every_time_passes_over_a_row_that_is_short_or_broken(
    adjusted: tuple[bool, ...],
) -> None:
    assert adjusted_every_time(evidence(audited(*services(*adjusted))), Ask(AS_OF)) == []


def test_adjusted_every_time_takes_another_number() -> None:
    ground = evidence(audited(*services(True, True, True)))

    assert adjusted_every_time(ground, Ask(AS_OF, least=4)) == []
    assert len(adjusted_every_time(ground, Ask(AS_OF, least=2))) == 1


def test_adjusted_every_time_follows_the_instrument_across_sites() -> None:
    moved = services(True, True, same_site=False, site_code="S09")
    here = make_check(date(2024, 6, 1), left=(40, 40), adjusted=True)
    other = make_check(date(2024, 7, 1), left=(40, 40), same_instrument=False, serial="00999")

    [row] = adjusted_every_time(evidence(audited(*moved, here, other)), Ask(AS_OF))

    assert (row.adjusted_in_a_row, row.services) == (3, 3)
    assert row.as_found_errors_percent == "-5.0, -5.0, -"


def test_adjusted_every_time_is_not_broken_by_a_look() -> None:
    looked = make_check(date(2024, 2, 15), cleaned=False, purpose=VisitPurpose.INSPECTION)
    first, second, third = services(True, True, True)

    rows = adjusted_every_time(evidence(audited(first, second, looked, third)), Ask(AS_OF))

    assert [row.services for row in rows] == [3]


def test_adjusted_every_time_with_since_forgets_what_was_before() -> None:
    ground = evidence(audited(*services(True, True, True)))

    assert adjusted_every_time(ground, Ask(AS_OF, since=date(2024, 1, 2))) == []


def perfect(day: int, *tips: int, serial: str = "00417", by: str = "T01") -> CheckRecord:
    runs = make_runs("as_found", *tips, volume_ml=810.0)
    when = date(2024, 1, 1) + timedelta(days=day)
    return make_check(when, as_found=runs, serial=serial, technicians=(by,))


def test_too_perfect_lists_a_technician_of_whom_every_run_is_the_nearest_count() -> None:
    own = [
        audited(
            *(perfect(day, 40, 41, serial=serial) for day in range(3)),
            serial=serial,
            site_code=f"S{serial}",
        )
        for serial in ("1", "2", "3", "4")
    ]
    others = audited(perfect(9, 39, 40, 42, 42, serial="9", by="T02"), serial="9")

    [row] = too_perfect(evidence(*own, others), Ask(AS_OF))

    assert (row.about, row.technicians, row.serial) == ("technician", "T01", None)
    assert (row.runs, row.checks, row.gauges) == (24, 12, 4)
    assert row.furthest_tips == pytest.approx(0.5)
    assert (row.others_runs, row.others_nearest_percent) == (4, 25.0)
    assert row.chance == pytest.approx(0.25**24)
    assert (row.first_on, row.last_on) == (date(2024, 1, 1), date(2024, 1, 3))
    assert row.sentence == (
        "All 24 runs as found of technician T01, in 12 checks, lie within half a tip of the "
        "expected count; of all other runs, 25 % do. A pointer, not a proof: look at the "
        "original forms."
    )


def test_too_perfect_lists_a_gauge_with_eight_such_runs() -> None:
    ground = evidence(audited(*(perfect(day, 40, 41, by=f"T0{day}") for day in range(4))))

    [row] = too_perfect(ground, Ask(AS_OF))

    assert (row.about, row.serial, row.site_code, row.runs) == ("gauge", "00417", "S01", 8)
    assert row.technicians == "T00 T01 T02 T03"
    assert (row.others_runs, row.others_nearest_percent, row.chance) == (0, None, None)


@pytest.mark.parametrize("odd", [39, 42])
def test_too_perfect_passes_over_one_run_beyond_half_a_tip(odd: int) -> None:
    records = [perfect(day, 40, 41) for day in range(12)]

    assert len(too_perfect(evidence(audited(*records)), Ask(AS_OF))) == 2
    assert too_perfect(evidence(audited(*records, perfect(20, odd))), Ask(AS_OF)) == []


def test_too_perfect_passes_over_few_runs_unless_fewer_are_asked_for() -> None:
    ground = evidence(audited(*(perfect(day, 40) for day in range(7))))

    assert too_perfect(ground, Ask(AS_OF)) == []
    assert [row.about for row in too_perfect(ground, Ask(AS_OF, least=7))] == [
        "technician",
        "gauge",
    ]


def test_too_perfect_counts_gauges_since_removed() -> None:
    gone = audited(*(perfect(day, 40, 41) for day in range(4)), removed_on=date(2025, 1, 1))

    assert len(too_perfect(evidence(gone), Ask(AS_OF))) == 1
