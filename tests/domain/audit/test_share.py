"""Counts behind the summary, on hand-made records."""

from __future__ import annotations

from datetime import date

from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.share import ShareCount, share_counts
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

AS_OF = date(2025, 6, 2)
OLD = date(2024, 11, 12)
NEW = date(2025, 2, 5)


def counted(*counts: ShareCount) -> dict[tuple[str, str], tuple[int, int, int, int]]:
    return {
        (count.depot_code, count.measure.value): (
            count.hits,
            count.n,
            count.undecided,
            count.not_measured,
        )
        for count in counts
    }


def test_share_counts_keep_undecided_and_unmeasured_out_of_n() -> None:
    ground = evidence(
        *(
            audited(make_check(day, serial=serial, **runs), serial=serial, depot_code=depot)
            for serial, depot, day, runs in (
                ("1", "NORTH", NEW, {"found": (40, 40), "left": (40, 40)}),
                ("2", "NORTH", NEW, {"found": (36, 36), "left": (40,)}),
                ("3", "NORTH", NEW, {"found": (40,), "left": (40, 40)}),
                ("4", "NORTH", OLD, {"left": (40, 40)}),
                ("5", "SOUTH", NEW, {"found": (33, 33)}),
            )
        )
    )

    found = counted(*share_counts(ground, Ask(AS_OF)))

    assert found == {
        ("NORTH", "in_date"): (3, 4, 0, 0),
        ("NORTH", "in_tolerance_as_found"): (1, 2, 1, 1),
        ("NORTH", "in_tolerance_as_left"): (3, 3, 1, 0),
        ("SOUTH", "in_date"): (1, 1, 0, 0),
        ("SOUTH", "in_tolerance_as_found"): (0, 1, 0, 0),
        ("SOUTH", "in_tolerance_as_left"): (0, 0, 0, 1),
        ("*", "in_date"): (4, 5, 0, 0),
        ("*", "in_tolerance_as_found"): (1, 3, 1, 1),
        ("*", "in_tolerance_as_left"): (3, 3, 1, 1),
    }


def test_share_counts_with_since_take_every_check_and_gauges_since_removed() -> None:
    bad = make_check(OLD, found=(36, 36))
    good = make_check(NEW, found=(40, 40))
    ground = evidence(
        audited(bad, good),
        audited(make_check(OLD, found=(36, 36), serial="2"), serial="2", removed_on=NEW),
    )

    latest = counted(*share_counts(ground, Ask(AS_OF)))
    every = counted(*share_counts(ground, Ask(AS_OF, since=OLD)))

    assert latest["NORTH", "in_tolerance_as_found"] == (1, 1, 0, 0)
    assert every["NORTH", "in_tolerance_as_found"] == (1, 3, 0, 0)
    assert every["NORTH", "in_date"] == (1, 1, 0, 0)


def test_share_counts_of_one_depot_have_no_row_for_all() -> None:
    assert {count.depot_code for count in share_counts(evidence(audited()), Ask(AS_OF))} == {
        "NORTH"
    }


def test_share_counts_of_nothing_are_empty() -> None:
    assert share_counts(evidence(), Ask(AS_OF)) == []
