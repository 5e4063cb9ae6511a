"""The bands that a visit form prints, for one run of the nominal volume.

125 tips, 118.75 to 131.25 tips at 5 percent: a rain gauge manual's worked example (list of
standards 1.3 no. 3, S1, read). 37 to 43 of 40 tips: common practice, no published source.
"""

from __future__ import annotations

import pytest

from fleet.domain.check import TipBand, nominal_band
from fleet.domain.code import DecisionRule, Phase
from fleet.domain.form_sheet import form_gauge
from fleet.domain.policy import Policy
from tests.factories import make_gauge


def make_policy(**changes: object) -> Policy:
    terms: dict[str, object] = {
        "service_interval_days": 180,
        "as_found_tolerance_percent": 5.0,
        "as_left_tolerance_percent": 3.0,
        "reject_limit_percent": 10.0,
        "as_found_low_tips": None,
        "as_found_high_tips": None,
        "as_left_low_tips": None,
        "as_left_high_tips": None,
        "minimum_as_found_runs": 2,
        "minimum_as_left_runs": 3,
        "closed_field_limit_ohm": 5.0,
        "closed_workshop_limit_ohm": 1.0,
        "open_limit_ohm": 1e6,
        "decision_rule": DecisionRule.SIMPLE,
        "target_reliability": 0.9,
        "compliance_record_days": 0.0,
        "basis": "common practice, no published source",
    }
    return Policy(**{**terms, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("tips", "tolerance", "low", "high"),
    [(125.0, 5.0, 119, 131), (40.0, 7.5, 37, 43), (62.5, 3.0, 61, 64), (400.0, 5.0, 380, 420)],
)
def test_nominal_band_is_the_whole_tips_within_the_tolerance(tips, tolerance, low, high):
    policy = make_policy(as_found_tolerance_percent=tolerance)

    assert nominal_band(policy, Phase.AS_FOUND, nominal_tips=tips) == TipBand(low, high)


def test_nominal_band_of_an_explicit_band_is_that_band():
    policy = make_policy(as_left_low_tips=37, as_left_high_tips=43)

    assert nominal_band(policy, Phase.AS_LEFT, nominal_tips=40.3) == TipBand(37, 43)


def test_nominal_band_takes_the_tolerance_for_the_side_without_an_explicit_end():
    policy = make_policy(as_found_low_tips=36)

    assert nominal_band(policy, Phase.AS_FOUND, nominal_tips=40.0) == TipBand(36, 42)


def test_form_gauge_holds_the_terms_of_both_phases():
    gauge = form_gauge(make_gauge(), make_policy(as_found_low_tips=37, as_found_high_tips=43))

    assert (gauge.expected_tips, gauge.tip_ml) == (40.0, 20.0)
    assert gauge.as_found.band == TipBand(37, 43)
    assert (gauge.as_found.low_percent, gauge.as_found.high_percent) == pytest.approx((-7.5, 7.5))
    assert (gauge.as_found.minimum_runs, gauge.as_left.minimum_runs) == (2, 3)
    assert (gauge.as_left.low_percent, gauge.as_left.high_percent) == (-3.0, 3.0)
