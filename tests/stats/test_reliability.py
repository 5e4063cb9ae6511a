"""Intervals from a reliability target.

Sources: NCSLI RP-1 method A1, its equilibrium solved by first principles (a 0.10: R 0.85 -> b
0.4173; 0.90 -> 0.5759; 0.95 -> 0.8365; a 0.05, R 0.95 -> 0.6043; a 0.25, R 0.90 -> 0.8658).
Exponential rule, first principles: 365 d, 0.80 -> 0.90: 172.3 d; 365 d, 0.85 -> 0.95: 115.2 d;
180 d, 0.90 -> 0.95: 87.6 d; 365 d, 0.95 -> 0.90: 749.7 d. 59 straight passes claim 95 %.
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from fleet.stats.reliability import (
    age_at_target,
    balanced_factor,
    balancing_reduction,
    exponential_interval,
    straight_passes_needed,
)


@pytest.mark.parametrize(
    ("extension", "target", "reduction"),
    [
        (0.10, 0.85, 0.4173),
        (0.10, 0.90, 0.5759),
        (0.10, 0.95, 0.8365),
        (0.05, 0.95, 0.6043),
        (0.25, 0.90, 0.8658),
    ],
)
def test_reduction_of_rp1_method_a1_holds_the_target(extension, target, reduction):
    found = balancing_reduction(extension, target=target)

    assert found == pytest.approx(reduction, abs=5e-5)
    assert (1 + extension) ** target * (1 - found) ** (1 - target) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("tried_days", "observed", "target", "days"),
    [(365, 0.80, 0.90, 172.3), (365, 0.85, 0.95, 115.2), (180, 0.90, 0.95, 87.6),
     (365, 0.95, 0.90, 749.7)],
)  # fmt: skip
def test_exponential_interval_matches_worked_values(tried_days, observed, target, days):
    assert exponential_interval(tried_days, observed, target=target) == pytest.approx(
        days, abs=0.05
    )


def test_exponential_interval_is_endless_without_failures_and_nothing_without_passes():
    assert exponential_interval(180, 1.0, target=0.9) == inf
    assert exponential_interval(180, 0.0, target=0.9) == 0.0


def test_balanced_factor_is_one_at_the_target_and_mixes_steps_elsewhere():
    assert balanced_factor(18, 20, extension=0.10, target=0.90) == pytest.approx(1.0)
    assert balanced_factor(20, 20, extension=0.10, target=0.90) == pytest.approx(1.10)
    assert balanced_factor(0, 3, extension=0.10, target=0.90) == pytest.approx(1 - 0.5759, abs=5e-5)
    # sqrt(1.1 x 0.4241) of one pass and one failure
    assert balanced_factor(1, 2, extension=0.10, target=0.90) == pytest.approx(0.6830, abs=5e-5)


@pytest.mark.parametrize(("target", "passes"), [(0.95, 59), (0.90, 29), (0.80, 14)])
def test_straight_passes_needed_for_95_percent_confidence(target, passes):
    assert straight_passes_needed(target) == passes
    assert target**passes <= 0.05 < target ** (passes - 1)


DAYS = np.array([0.0, 100.0, 200.0, 300.0])


def test_age_at_target_lies_straight_between_the_days():
    unfit = np.array([0.02, 0.06, 0.14, 0.30])

    assert age_at_target(DAYS, unfit, target=0.90) == pytest.approx(150.0)  # half way 0.06 to 0.14
    assert age_at_target(DAYS, unfit, target=0.86) == pytest.approx(200.0)


def test_age_at_target_is_nothing_or_endless_outside_the_curve():
    unfit = np.array([0.02, 0.06, 0.14, 0.30])

    assert age_at_target(DAYS, unfit, target=0.99) == 0.0
    assert age_at_target(DAYS, unfit, target=0.60) == inf


def test_age_at_target_steps_over_a_level_stretch():
    unfit = np.array([0.0, 0.04, 0.04, 0.24])

    assert age_at_target(DAYS, unfit, target=0.86) == pytest.approx(250.0)  # half way up to 0.24


@pytest.mark.parametrize("target", [0.0, 1.0, -0.1, float("nan")])
def test_a_target_is_a_share_between_nothing_and_all(target):
    with pytest.raises(ValueError, match="target"):
        age_at_target(DAYS, np.zeros(4), target=target)
    with pytest.raises(ValueError, match="target"):
        exponential_interval(100, 0.5, target=target)
    with pytest.raises(ValueError, match="target"):
        balancing_reduction(0.1, target=target)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="extension 0"):
        balancing_reduction(0.0, target=0.9)
    with pytest.raises(ValueError, match="is not a share of 0 to 1"):
        exponential_interval(100, 1.1, target=0.9)
    for passes, checks in ((3, 2), (-1, 2), (0, 0)):
        with pytest.raises(ValueError, match="cannot be"):
            balanced_factor(passes, checks, extension=0.1, target=0.9)
