"""Check arithmetic against worked values.

Sources, by the label at each value:

[S1] rain gauge calibration page of an open low-cost station project; [S2] precipitation
calibration tests of a tribal environmental office, 12 Aug 2009; [S3, S4, S9, S11] operating
manuals of instrument makers (names withheld); [S10] rain gauge note, 2022; [S12] national
bureau's instrument test report 652 (2000), volume only; [S17] rainfall-rate note;
[S43] Eurachem, table E.1; [CALC] first principles, from A = pi/4 d^2 and N = 10 V / (b A);
[PRACTICE] common practice, no published source.
Tolerances follow the digits printed.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.check import (
    PhaseError,
    TipBand,
    correction_factor,
    expected_tips,
    judge,
    limits_percent,
    nominal_band,
    pass_band,
    phase_error,
)
from fleet.domain.code import DecisionRule, Phase, Verdict
from fleet.domain.history import PhaseRuns
from fleet.domain.policy import Policy
from tests.factories import make_runs

INCH8 = 324.293
INCH10 = 506.707
MM203 = 323.655

POLICY = Policy(
    service_interval_days=180,
    as_found_tolerance_percent=7.5,
    as_left_tolerance_percent=5.0,
    reject_limit_percent=12.0,
    as_found_low_tips=None,
    as_found_high_tips=None,
    as_left_low_tips=None,
    as_left_high_tips=None,
    minimum_as_found_runs=2,
    minimum_as_left_runs=2,
    closed_field_limit_ohm=5.0,
    closed_workshop_limit_ohm=1.0,
    open_limit_ohm=1e6,
    decision_rule=DecisionRule.SIMPLE,
    target_reliability=0.9,
    compliance_record_days=0.0,
    basis="test",
)


def hold(runs, *, phase=Phase.AS_FOUND, test_volume_ml=800.0, **terms):
    """Judge runs of a gauge with 20 mL a tip."""
    policy = replace(POLICY, **terms)
    return judge(runs, 20.0, policy=policy, phase=phase, test_volume_ml=test_volume_ml)


def one_run(tips, expected, *, emptied=0, volume_u_ml=0.0):
    """Give one run of as many mL as tips are expected, for a gauge with 1 mL a tip."""
    return PhaseRuns(Phase.AS_FOUND, 1, emptied, expected, tips, volume_u_ml)


@pytest.mark.parametrize(
    ("volume_ml", "bucket_mm", "area_cm2", "tips"),
    [
        pytest.param(946.3, 0.254, INCH8, 114.88, id="S4-CALC-8in-946mL"),
        pytest.param(824.0, 0.254, INCH8, 100.036, id="S4-CALC-8in-824mL"),
        pytest.param(535.0, 0.2, 214.0, 125.0, id="S1-535g-25mm"),
        pytest.param(473.18, 0.254, 182.415, 102.12, id="S11-CALC-6in-16floz"),
        pytest.param(1000.0, 0.2, INCH10, 98.676, id="S9-CALC-10in-1000mL"),
        pytest.param(653.0, 0.2, MM203, 100.879, id="S12-CALC-203mm-653mL"),
        pytest.param(653.0, 0.2, INCH8, 100.681, id="S12-CALC-8in-653mL"),
        pytest.param(1000.0, 0.2, 200.0, 250.0, id="CALC-200cm2"),
        pytest.param(500.0, 0.2, 400.0, 62.5, id="CALC-400cm2-0.2mm"),
        pytest.param(1000.0, 0.5, 400.0, 50.0, id="CALC-400cm2-0.5mm"),
        pytest.param(300.0, 0.1, 200.0, 150.0, id="CALC-200cm2-0.1mm"),
        pytest.param(1000.0, 0.2, 324.0, 154.321, id="CALC-324cm2"),
        pytest.param(314.159, 0.2, 314.159, 50.0, id="CALC-200mm"),
        pytest.param(1000.0, 1.0, 1000.0, 10.0, id="CALC-1000cm2"),
    ],
)
def test_expected_tips_agree_with_the_worked_examples(volume_ml, bucket_mm, area_cm2, tips):
    found = expected_tips(volume_ml, bucket_mm=bucket_mm, orifice_area_cm2=area_cm2)

    assert found == pytest.approx(tips, abs=10 ** -len(str(tips).split(".")[1]) * 0.51)


def test_expected_tips_come_within_rounding_of_the_makers_counts():
    assert expected_tips(946.3, bucket_mm=0.254, orifice_area_cm2=INCH8) == pytest.approx(
        114.8, abs=0.1
    )
    assert expected_tips(824.0, bucket_mm=0.254, orifice_area_cm2=INCH8) == pytest.approx(
        100, abs=0.05
    )


@pytest.mark.parametrize(
    ("expected", "tolerance_percent", "band"),
    [
        pytest.param(40.0, 7.5, TipBand(37, 43), id="PRACTICE-40-tips-37-to-43"),
        pytest.param(80.0, 7.5, TipBand(74, 86), id="CALC-two-runs-of-40"),
        pytest.param(125.0, 5.0, TipBand(119, 131), id="S1-118.75-to-131.25"),
        pytest.param(100.0, 3.0, TipBand(97, 103), id="S11-100-plus-minus-3"),
        pytest.param(10.0, 5.0, TipBand(10, 10), id="CALC-test-too-short"),
        pytest.param(10.5, 2.0, TipBand(11, 10), id="CALC-no-whole-tip-within"),
        pytest.param((0.1 + 0.2) * 100, 0.0, TipBand(30, 30), id="CALC-binary-noise-low"),
        pytest.param(0.29 * 100, 0.0, TipBand(29, 29), id="CALC-binary-noise-high"),
    ],
)
def test_pass_band_takes_whole_tips_inward(expected, tolerance_percent, band):
    assert pass_band(expected, tolerance_percent) == band


@given(
    expected=st.floats(1, 5000),
    tolerance=st.floats(0, 50),
    tips=st.integers(0, 8000),
)
def test_pass_band_says_what_the_error_says(expected, tolerance, tips):
    band = pass_band(expected, tolerance)
    error = phase_error(one_run(tips, expected), 1.0).error_percent

    if abs(abs(error) - tolerance) > 1e-6:
        assert (band.low <= tips <= band.high) == (abs(error) <= tolerance)


@pytest.mark.parametrize(
    ("tips", "expected", "error_percent", "digits"),
    [
        pytest.param(86, 106.0, -18.868, 3, id="S2-CALC-0.86in-of-1.06in"),
        pytest.param(91, 106.0, -14.151, 3, id="S2-CALC-0.91in-of-1.06in"),
        pytest.param(97, 100.681, -3.656, 3, id="CALC-97-of-100.681"),
        pytest.param(39, 40.0, -2.5, 6, id="CALC-one-tip-of-40"),
    ],
)
def test_phase_error_is_relative_to_the_expected_tips(tips, expected, error_percent, digits):
    error = phase_error(one_run(tips, expected), 1.0)

    assert error.error_percent == pytest.approx(error_percent, abs=0.51 * 10**-digits)


def test_audit_example_s2_fails_by_ten_percent_before_and_after_the_dropped_records():
    terms = {"as_found_tolerance_percent": 10.0, "reject_limit_percent": 30.0}

    for tips in (86, 91):
        runs = PhaseRuns(Phase.AS_FOUND, 2, 0, 2 * 106 * 20.0, 2 * tips, 0.0)
        assert hold(runs, **terms).verdict is Verdict.FAILED


def test_correction_factor_agrees_with_the_worked_example_calc():
    assert correction_factor(-3.656) == pytest.approx(1.03795, abs=5e-6)


@pytest.mark.parametrize(
    ("error_percent", "factor"), [(0.5, 0.99502), (-3.75, 1.03896), (-8.0, 1.08696)]
)
def test_correction_factor_agrees_with_the_drift_example_calc(error_percent, factor):
    assert correction_factor(error_percent) == pytest.approx(factor, abs=5e-6)


@pytest.mark.parametrize(
    ("expected", "share"),
    [
        pytest.param(20.0, 5.0, id="S17-20-tips-one-is-5-percent"),
        pytest.param(10.0, 10.0, id="CALC-10-tips-one-is-10-percent"),
        pytest.param(125.0, 0.8, id="CALC-125-tips"),
    ],
)
def test_phase_error_gives_the_share_of_one_tip(expected, share):
    assert phase_error(one_run(20, expected), 1.0).one_tip_percent == pytest.approx(share)


@pytest.mark.parametrize(
    ("expected", "emptied_percent", "unknown_percent"),
    [
        (20.0, 1.443, 2.041),
        (50.0, 0.577, 0.816),
        (100.0, 0.289, 0.408),
        (125.0, 0.231, 0.327),
        (200.0, 0.144, 0.204),
    ],
)
def test_phase_error_has_the_count_uncertainty_of_the_table_calc(
    expected, emptied_percent, unknown_percent
):
    emptied = phase_error(one_run(20, expected, emptied=1), 1.0)
    unknown = phase_error(one_run(20, expected), 1.0)

    assert emptied.u_percent == pytest.approx(emptied_percent, abs=0.00051)
    assert unknown.u_percent == pytest.approx(unknown_percent, abs=0.00051)


@pytest.mark.parametrize(("tolerance", "tips"), [(2, 164), (3, 109), (5, 66), (10, 33)])
def test_phase_error_needs_the_calculated_number_of_tips_calc(tolerance, tips):
    enough = phase_error(one_run(tips, float(tips)), 1.0)
    short = phase_error(one_run(tips - 1, float(tips - 1)), 1.0)

    assert 2 * enough.u_percent <= tolerance / 4 < 2 * short.u_percent


def test_phase_error_pools_runs_by_their_sums_not_by_their_percentages():
    runs = PhaseRuns(Phase.AS_FOUND, 2, 0, 300.0, 280, 0.0, (90, 190), (100.0, 200.0))

    error = phase_error(runs, 1.0)

    assert error.error_percent == pytest.approx(-6.6667, abs=1e-4)
    assert error.expected_tips == 300.0
    assert error.one_tip_percent == pytest.approx(0.6667, abs=1e-4)


def test_phase_error_adds_back_half_a_tip_for_each_emptied_run():
    error = phase_error(make_runs("as_left", 39, 40), 20.0)

    assert error.error_percent == pytest.approx(-1.25)
    assert error.level_percent == pytest.approx(0.0)
    assert error.variance == pytest.approx((2 / 12) / 80**2 * 1e4)
    assert error.u_percent == pytest.approx(error.variance**0.5)


def test_phase_error_leaves_a_run_with_unknown_residue_as_it_is():
    error = phase_error(make_runs("as_found", 39, 40), 20.0)

    assert error.level_percent == pytest.approx(-0.625)
    assert error.variance == pytest.approx((1 / 12 + 1 / 6) / 80**2 * 1e4)


def test_phase_error_shares_the_volume_uncertainty_between_all_runs():
    one = replace(make_runs("as_left", 40), volume_u_ml=8.0)
    four = replace(make_runs("as_left", 40, 40, 40, 40), volume_u_ml=8.0)

    assert phase_error(one, 20.0).variance == pytest.approx(1.0 + (1 / 12) / 40**2 * 1e4)
    assert phase_error(four, 20.0).variance == pytest.approx(1.0 + (4 / 12) / 160**2 * 1e4)


@pytest.mark.parametrize(
    ("runs", "volume_ml", "tip_ml"), [(0, 800.0, 20.0), (1, 0.0, 20.0), (1, 800.0, 0.0)]
)
def test_phase_error_refuses_a_phase_without_water(runs, volume_ml, tip_ml):
    with pytest.raises(ValueError, match="give no error"):
        phase_error(PhaseRuns(Phase.AS_FOUND, runs, 0, volume_ml, 40, 0.0), tip_ml)


def test_judge_does_not_pass_what_was_not_measured():
    judgement = hold(None)

    assert judgement.verdict is Verdict.NOT_MEASURED
    assert judgement.reason == "No run as found was measured, which is not a pass."
    assert (judgement.band, judgement.error) == (None, None)
    assert hold(PhaseRuns(Phase.AS_FOUND, 0, 0, 0.0, 0, 0.0)).verdict is Verdict.NOT_MEASURED


@pytest.mark.parametrize(
    ("tips", "verdict"),
    [
        ((36, 37), Verdict.FAILED),
        ((37, 37), Verdict.PASSED),
        ((36, 38), Verdict.PASSED),
        ((43, 43), Verdict.PASSED),
        ((43, 44), Verdict.FAILED),
        ((35, 35), Verdict.REJECTED),
        ((45, 45), Verdict.REJECTED),
        ((44, 45), Verdict.FAILED),
    ],
)
def test_judge_holds_pooled_runs_against_the_pooled_band(tips, verdict):
    judgement = hold(make_runs("as_found", *tips))

    assert judgement.verdict is verdict
    assert judgement.band == TipBand(74, 86)


def test_judge_tells_the_figures_of_a_pass():
    assert hold(make_runs("as_found", 39, 40)).reason == (
        "79 tips as found in 2 runs against 80.0 expected, error -1.2 %: within 74 to 86 tips; "
        "one tip of one run is 2.5 %."
    )


def test_judge_tells_the_figures_of_a_rejection():
    assert hold(make_runs("as_found", 30, 40)).reason == (
        "70 tips as found in 2 runs against 80.0 expected, error -12.5 %: beyond the reject limit "
        "of 12 % (band 74 to 86 tips); one tip of one run is 2.5 %."
    )


@pytest.mark.parametrize(
    ("tips", "verdict"),
    [(40, Verdict.TOO_FEW_RUNS), (36, Verdict.FAILED), (35, Verdict.REJECTED)],
)
def test_judge_lets_missing_runs_hide_no_failure_and_earn_no_pass(tips, verdict):
    assert hold(make_runs("as_found", tips)).verdict is verdict


def test_judge_says_how_many_runs_are_asked_for():
    assert hold(make_runs("as_found", 40)).reason == (
        "40 tips as found in 1 run against 40.0 expected, error +0.0 %: no failure against 37 to "
        "43 tips, but the policy asks for 2 runs; one tip of one run is 2.5 %."
    )


def test_judge_uses_the_terms_of_the_phase():
    runs = make_runs("as_left", 37, 38)

    assert hold(runs, phase=Phase.AS_FOUND).verdict is Verdict.PASSED
    assert hold(runs, phase=Phase.AS_LEFT).verdict is Verdict.FAILED
    assert hold(runs, phase=Phase.AS_FOUND, minimum_as_found_runs=3).verdict is Verdict.TOO_FEW_RUNS
    assert hold(runs, phase=Phase.AS_FOUND, minimum_as_left_runs=3).verdict is Verdict.PASSED


def test_judge_uses_an_explicit_band_at_the_nominal_volume_only():
    band = {"as_found_low_tips": 39, "as_found_high_tips": 42}

    nominal = hold(make_runs("as_found", 38, 38), **band)
    other = hold(make_runs("as_found", 57, 57, volume_ml=1200.0), **band)

    assert (nominal.verdict, nominal.band) == (Verdict.FAILED, TipBand(78, 84))
    assert (other.verdict, other.band) == (Verdict.PASSED, TipBand(111, 129))


def test_judge_takes_a_volume_within_a_tenth_of_a_tip_for_the_nominal_one():
    band = {"as_found_low_tips": 39, "as_found_high_tips": 42}

    near = hold(make_runs("as_found", 40, 40, volume_ml=801.9), **band)
    far = hold(make_runs("as_found", 40, 40, volume_ml=802.1), **band)

    assert near.band == TipBand(78, 84)
    assert far.band == TipBand(75, 86)


def test_judge_guard_band_agrees_with_the_worked_example_calc():
    """U 1.421 % on a tolerance of 5 %: accept up to 3.579 %, fail above 6.421 %."""
    terms = {
        "as_found_tolerance_percent": 5.0,
        "decision_rule": DecisionRule.GUARD_BAND,
        "minimum_as_found_runs": 1,
    }
    n = 100_000
    volume_ml = 20.0 * n
    u_percent = 1.421 / 2

    def verdict(error_percent):
        tips = round(n * (1 + error_percent / 100))
        runs = PhaseRuns(Phase.AS_FOUND, 1, 0, volume_ml, tips, volume_ml * u_percent / 100)
        return hold(runs, **terms).verdict

    assert [verdict(e) for e in (3.57, 3.59, 6.41, 6.43, -3.57, -3.59, -6.41, -6.43)] == [
        Verdict.PASSED,
        Verdict.INDETERMINATE,
        Verdict.INDETERMINATE,
        Verdict.FAILED,
    ] * 2


def test_judge_indeterminate_names_the_uncertainty():
    runs = replace(make_runs("as_found", 42, 43), volume_u_ml=8.0)

    judgement = hold(runs, decision_rule=DecisionRule.GUARD_BAND)

    assert judgement.verdict is Verdict.INDETERMINATE
    assert "with an uncertainty of 2.4 % (k = 2)" in judgement.reason


def test_judge_prefers_too_few_runs_to_indeterminate():
    runs = make_runs("as_found", 43)

    assert hold(runs, decision_rule=DecisionRule.GUARD_BAND).verdict is Verdict.TOO_FEW_RUNS


@given(tips=st.lists(st.integers(0, 80), min_size=2, max_size=4))
def test_judge_is_never_kinder_with_a_guard_band(tips):
    simple = hold(make_runs("as_found", *tips)).verdict
    guarded = hold(make_runs("as_found", *tips), decision_rule=DecisionRule.GUARD_BAND).verdict

    if guarded is Verdict.PASSED:
        assert simple is Verdict.PASSED
    if guarded is Verdict.FAILED:
        assert simple is Verdict.FAILED


def test_limits_percent_follow_the_explicit_band_where_there_is_one():
    plain = limits_percent(POLICY, Phase.AS_FOUND, nominal_tips=40.0)
    policy = replace(POLICY, as_found_low_tips=37, as_found_high_tips=42)

    assert plain == (-7.5, 7.5)
    assert limits_percent(policy, Phase.AS_FOUND, nominal_tips=40.0) == pytest.approx((-7.5, 5.0))
    assert limits_percent(policy, Phase.AS_LEFT, nominal_tips=40.0) == (-5.0, 5.0)


def test_nominal_band_is_the_band_of_one_run():
    policy = replace(POLICY, as_found_low_tips=38)

    assert nominal_band(POLICY, Phase.AS_FOUND, nominal_tips=40.0) == TipBand(37, 43)
    assert nominal_band(policy, Phase.AS_FOUND, nominal_tips=40.0) == TipBand(38, 43)
    assert nominal_band(policy, Phase.AS_LEFT, nominal_tips=40.0) == TipBand(38, 42)


def test_phase_error_is_a_plain_record():
    assert phase_error(one_run(97, 100.0), 1.0) == PhaseError(
        expected_tips=100.0,
        tips=97,
        error_percent=-3.0,
        level_percent=-3.0,
        variance=pytest.approx(1 / 6),
        u_percent=pytest.approx(0.40825, abs=1e-5),
        one_tip_percent=1.0,
        runs=1,
    )


def test_judge_takes_runs_whose_volumes_are_not_listed_by_their_mean():
    """1620 mL in two runs are 810 mL each, half a tip of 20 mL off: 81 tips, +- 7.5 %."""
    band = {"as_found_low_tips": 39, "as_found_high_tips": 42}
    nominal = replace(make_runs("as_found", 40, 40), run_tips=(), run_volumes_ml=())
    other = replace(nominal, volume_ml=1620.0)

    assert hold(nominal, **band).band == TipBand(78, 84)
    assert hold(other, **band).band == TipBand(75, 87)


def test_judge_looks_at_each_volume_and_not_at_their_mean():
    band = {"as_found_low_tips": 39, "as_found_high_tips": 42}
    mixed = replace(make_runs("as_found", 40, 40), run_volumes_ml=(790.0, 810.0))

    assert hold(mixed, **band).band == TipBand(74, 86)


def test_reason_for_too_few_runs_names_those_of_its_own_phase():
    terms = {"minimum_as_found_runs": 3, "minimum_as_left_runs": 4}

    found = hold(make_runs("as_found", 40, 40), phase=Phase.AS_FOUND, **terms)
    left = hold(make_runs("as_left", 40, 40), phase=Phase.AS_LEFT, **terms)

    assert "but the policy asks for 3 runs" in found.reason
    assert "but the policy asks for 4 runs" in left.reason
