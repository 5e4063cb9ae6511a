"""The share in date over time, and the control chart's rows. Days are counted by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.domain.audit.control import control_rows, limits_on
from fleet.domain.audit.curve import in_date_curve
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

CHECK = make_check(date(2025, 1, 7), found=(36, 36), left=(40, 40), adjusted=True)


@pytest.mark.parametrize(
    ("day", "in_date"),
    [("2025-07-06", 1), ("2025-07-07", 0), ("2024-12-31", 1), ("2025-01-01", 0)],
)
def test_a_gauge_is_in_date_until_its_due_day_by_the_policy_of_that_day(
    day: str, in_date: int
) -> None:
    """Installed on 2024-06-01: 240 days of the old policy, 180 of that from 2025-01-01 on."""
    ground = evidence(audited(CHECK, installed_on=date(2024, 6, 1)))

    [point] = in_date_curve(ground, [date.fromisoformat(day)])

    assert (point.in_date, point.standing) == (in_date, 1)


def test_curve_counts_gauges_only_while_they_stand() -> None:
    gone = audited(installed_on=date(2025, 1, 1), removed_on=date(2025, 2, 1))
    days = [date(2025, 1, 1) + timedelta(days=step) for step in (-1, 0, 30, 31)]

    counts = [point.standing for point in in_date_curve(evidence(gone), days)]

    assert counts == [0, 1, 1, 0]


def test_control_rows_follow_a_place_over_a_swap_with_the_limits_of_each_day() -> None:
    first = audited(make_check(date(2024, 12, 3), found=(38, 38)), removed_on=date(2024, 12, 3))
    second = audited(CHECK, serial="00420", installed_on=date(2024, 12, 3))
    elsewhere = audited(CHECK, position="second")
    ground = evidence(elsewhere, second, first)

    rows = control_rows(ground, second)

    assert [(r.visited_on, r.phase, r.verdict, r.adjusted) for r in rows] == [
        (date(2024, 12, 3), "as_found", "passed", False),
        (date(2025, 1, 7), "as_found", "failed", True),
        (date(2025, 1, 7), "as_left", "passed", True),
    ]
    assert [row.error_percent for row in rows] == pytest.approx([-5.0, -10.0, 0.0])
    assert [(row.low_percent, row.high_percent) for row in rows] == [
        (-7.5, 7.5),
        (-5.0, 5.0),
        (-3.0, 3.0),
    ]
    # two runs of 40 tips, one with emptied buckets and one unknown: u = sqrt(1/12 + 1/6) tips
    # of 80, so U = 2 x 0.625 % = 1.25 % (first principles)
    assert rows[1].expanded_uncertainty_percent == pytest.approx(1.25)


def test_limits_of_an_explicit_band_are_those_of_the_nominal_volume() -> None:
    """37 to 43 of 40 tips is -7.5 % to +7.5 % (common practice, no published source)."""
    from fleet.domain.policy import PolicyBook
    from tests.domain.audit.ground import book

    gauge = audited()
    policies: PolicyBook = book(as_found_low_tips=37, as_found_high_tips=43)

    limits = limits_on(evidence(gauge, policies=policies), gauge, date(2025, 2, 1))

    assert limits.as_found == pytest.approx((-7.5, 7.5))
    assert (limits.as_left, limits.reject) == ((-3.0, 3.0), 10.0)
