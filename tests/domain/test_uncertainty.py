"""Uncertainty of a tip test. [S43] Eurachem table E.1; [CALC] first principles, worked by hand."""

from math import sqrt

import numpy as np
import pytest

from fleet.domain.uncertainty import (
    COVERAGE_FACTOR,
    combined_uncertainty_percent,
    counting_u_tips,
    rectangular_u,
)

EXAMPLE = {
    "volume_u_percent": 100 * rectangular_u(2.5) / 500,
    "diameter_u_percent": 100 * rectangular_u(0.5) / 203,
    "repeat_sd_tips": 0.6,
    "runs": 3,
}
"""V 500 mL +-2.5, d 203 +-0.5 mm, b 0.2 mm, N 77.243, s 0.6 tip, 3 runs [CALC]."""


def test_rectangular_u_agrees_with_the_eurachem_example_s43():
    assert rectangular_u(1.5) == pytest.approx(0.87, abs=0.005)


def test_counting_u_tips_agrees_with_first_principles_calc():
    assert counting_u_tips(emptied_runs=1, unknown_runs=0) == pytest.approx(0.2887, abs=5e-5)
    assert counting_u_tips(emptied_runs=0, unknown_runs=1) == pytest.approx(0.4082, abs=5e-5)
    assert counting_u_tips(emptied_runs=2, unknown_runs=1) == pytest.approx(0.57735, abs=5e-6)


def test_counting_u_tips_and_bias_agree_with_a_simulation_of_pours():
    rng = np.random.default_rng(11)
    wanted = rng.uniform(50, 51, 200_000)
    residue = rng.uniform(0, 1, 200_000)

    emptied = np.floor(wanted) - wanted
    unknown = np.floor(wanted + residue) - wanted

    assert emptied.mean() == pytest.approx(-0.5, abs=0.003)
    assert unknown.mean() == pytest.approx(0.0, abs=0.003)
    assert emptied.std() == pytest.approx(counting_u_tips(emptied_runs=1, unknown_runs=0), rel=0.01)
    assert unknown.std() == pytest.approx(counting_u_tips(emptied_runs=0, unknown_runs=1), rel=0.01)


@pytest.mark.parametrize(
    ("part", "percent"),
    [
        ({"volume_u_percent": EXAMPLE["volume_u_percent"]}, 0.2887),
        ({"diameter_u_percent": EXAMPLE["diameter_u_percent"]}, 0.2844),
        ({"count_u_tips": rectangular_u(0.5)}, 0.3737),
        ({"count_u_tips": rectangular_u(1.0)}, 0.7474),
        ({"repeat_sd_tips": 0.6, "runs": 3}, 0.4485),
    ],
)
def test_combined_uncertainty_has_the_parts_of_the_example_calc(part, percent):
    found = combined_uncertainty_percent(77.243, **{"count_u_tips": 0.0, **part})

    assert found == pytest.approx(percent, abs=5.1e-5)


@pytest.mark.parametrize(
    ("half_width", "u_percent", "expanded"), [(0.5, 0.7106, 1.421), (1.0, 0.9613, 1.923)]
)
def test_combined_uncertainty_agrees_with_the_example_calc(half_width, u_percent, expanded):
    found = combined_uncertainty_percent(77.243, count_u_tips=rectangular_u(half_width), **EXAMPLE)

    assert found == pytest.approx(u_percent, abs=5.1e-5)
    assert COVERAGE_FACTOR * found == pytest.approx(expanded, abs=5.1e-4)


def test_combined_uncertainty_agrees_with_the_second_example_calc():
    volume = 100 * rectangular_u(1.0) / 1000
    found = combined_uncertainty_percent(
        154.486, count_u_tips=rectangular_u(0.5), volume_u_percent=volume
    )

    assert volume == pytest.approx(0.0577, abs=5e-5)
    assert found == pytest.approx(0.1956, abs=5.1e-5)
    assert 2 * found == pytest.approx(0.391, abs=5.1e-4)


@pytest.mark.parametrize(("expected", "runs"), [(0.0, 1), (-3.0, 1), (40.0, 0)])
def test_combined_uncertainty_refuses_what_cannot_be(expected, runs):
    with pytest.raises(ValueError, match="must be above 0"):
        combined_uncertainty_percent(expected, count_u_tips=0.3, runs=runs)


def test_combined_uncertainty_adds_in_quadrature():
    assert combined_uncertainty_percent(
        100.0, count_u_tips=3.0, volume_u_percent=4.0
    ) == pytest.approx(sqrt(3**2 + 4**2))
