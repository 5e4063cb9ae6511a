"""The pour of a test run.

[S1, S10, S13, S15] as in the notes below; [S16] Duchon, Fiebrich and Grimsley 2014, JTECH 31(6),
abstract; [CALC] first principles. S1 is an open station project's calibration page, S10 a rain
gauge note of 2022, S13 Water 2024 16(7) 998, abstract, S15 a maker's support page.
"""

import pytest

from fleet.domain.pour import (
    equivalent_depth_mm,
    inflow_ml_per_min,
    run_minutes,
    seconds_between_tips,
    swing_loss_percent,
)


@pytest.mark.parametrize(
    ("volume_ml", "area_cm2", "depth_mm"),
    [
        pytest.param(535.0, 214.0, 25.0, id="S1-535g-is-25mm"),
        pytest.param(544.0, 214.084, 25.41, id="S10-CALC-165.1mm-funnel"),
        pytest.param(1000.0, 200.0, 50.0, id="CALC-200cm2"),
        pytest.param(500.0, 400.0, 12.5, id="CALC-400cm2"),
        pytest.param(1000.0, 324.0, 30.864, id="CALC-324cm2"),
        pytest.param(314.159, 314.159, 10.0, id="CALC-200mm"),
    ],
)
def test_equivalent_depth_agrees_with_the_worked_examples(volume_ml, area_cm2, depth_mm):
    digits = len(str(depth_mm).split(".")[1])

    found = equivalent_depth_mm(volume_ml, area_cm2)

    assert found == pytest.approx(depth_mm, abs=0.51 * 10**-digits)


def test_equivalent_depth_s10_comes_to_one_inch():
    assert equivalent_depth_mm(544.0, 214.084) / 25.4 == pytest.approx(1.000, abs=5.1e-4)


@pytest.mark.parametrize(
    ("bucket_mm", "intensity", "seconds"),
    [
        pytest.param(0.2, 100.0, 7.2, id="S13-0.2mm-at-100mm-per-h"),
        pytest.param(0.254, 25.4, 36.0, id="S15-0.01in-at-1in-per-h"),
        pytest.param(0.2, 720.0, 1.0, id="CALC-1s"),
        pytest.param(0.2, 400.0, 1.8, id="CALC-1.8s"),
    ],
)
def test_seconds_between_tips_agree_with_published_values(bucket_mm, intensity, seconds):
    assert seconds_between_tips(bucket_mm, intensity) == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(
    ("intensity", "inflow", "minutes"), [(25, 13.49, 48.4), (50, 26.97, 24.2), (100, 53.94, 12.1)]
)
def test_inflow_and_run_time_agree_with_the_table_calc(intensity, inflow, minutes):
    area_cm2 = 323.655

    assert inflow_ml_per_min(intensity, area_cm2) == pytest.approx(inflow, abs=0.0051)
    assert run_minutes(653.0, intensity, orifice_area_cm2=area_cm2) == pytest.approx(
        minutes, abs=0.051
    )


@pytest.mark.parametrize(
    ("intensity", "formula", "paper", "off"), [(19.9, 0.979, 0.98, 0.005), (175.2, 8.62, 8.78, 0.2)]
)
def test_swing_loss_agrees_with_formula_and_paper_s16(intensity, formula, paper, off):
    """The paper sums times tip by tip, so the higher intensity differs in the second digit."""
    found = swing_loss_percent(0.450, 0.254, intensity_mm_per_h=intensity)

    assert found == pytest.approx(formula, abs=0.0051)
    assert found == pytest.approx(paper, abs=off)
