"""Known levels between tests: lines, failed spans, the network's drift. Figures are invented."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fleet.domain.code import Phase
from fleet.domain.history import SwitchReadings
from fleet.stats.neighbour_known import LevelTest, known_levels, level_test
from tests.factories import make_check


def percents(tests: list[LevelTest], days: int) -> np.ndarray:
    """Give the levels of one gauge in percent."""
    return 100.0 * np.expm1(known_levels([tests], days=days).level_log[0])


def test_level_goes_in_a_line_from_as_left_to_as_found():
    level = percents([LevelTest(0, None, 1.0), LevelTest(100, -4.0, 0.0)], 101)

    assert level[50] == pytest.approx(-1.5, abs=1e-4)
    assert level[99] == pytest.approx(-3.95, abs=1e-4)


def test_level_stays_as_left_while_the_network_has_no_drift_of_its_own():
    level = percents([LevelTest(-30, None, -2.0)], 50)

    assert level == pytest.approx(np.full(50, -2.0), abs=1e-4)


def test_level_goes_on_with_the_drift_of_the_network():
    tests = [[LevelTest(0, None, 0.0), LevelTest(365, -3.0, 1.0)] for _ in range(12)]

    levels = known_levels(tests, days=731)

    assert 100.0 * np.expm1(levels.level_log[0, 730]) == pytest.approx(-2.0, abs=0.01)


def test_span_before_a_failure_is_not_to_be_learned_from():
    level = percents([LevelTest(0, None, 1.0), LevelTest(10, None, 0.0, failed=True)], 20)

    assert np.isnan(level[1:10]).all()
    assert not np.isnan(level[11:]).any()


def test_failure_found_at_the_first_test_spoils_all_before():
    level = percents([LevelTest(10, None, 0.0, failed=True)], 20)

    assert np.isnan(level[:10]).all()


def test_spread_grows_with_the_root_of_the_time_since_the_last_test():
    tests = [[LevelTest(0, None, 0.0)], [LevelTest(300, None, 0.0)]]

    sd = known_levels(tests, days=400).level_sd

    assert sd[0] / sd[1] == pytest.approx(2.0, rel=1e-9)
    assert sd[0] == pytest.approx(0.03 * (400 / 365.25) ** 0.5, rel=1e-9)


def test_gauge_without_tests_has_no_known_error():
    levels = known_levels([[]], days=5)

    assert levels.level_log.tolist() == [[0.0] * 5]
    assert levels.level_sd[0] == pytest.approx(0.03)


@pytest.mark.parametrize(
    "fault",
    [
        {"blocked_found": True},
        {"switch_found": SwitchReadings(phase=Phase.AS_FOUND, manual_tips=7)},
        {"found": (150, 150)},
    ],
    ids=["blocked", "dead", "far-out"],
)
def test_check_of_a_failing_gauge_tells_no_level_as_found(fault):
    check = make_check(date(2025, 3, 1), left=(200, 200), **fault)

    test = level_test(check, 4.0, column=7)

    assert test.failed
    assert test.found_percent is None
    assert test.column == 7
    assert test.left_percent == pytest.approx(0.25)


def test_check_of_a_gauge_that_counts_tells_both_levels():
    test = level_test(
        make_check(date(2025, 3, 1), found=(196, 197), left=(199, 200)), 4.0, column=3
    )

    assert not test.failed
    assert test.found_percent == pytest.approx(-1.625)
    assert test.left_percent == pytest.approx(0.0)
