"""One check: tips counted against tips expected, and what the policy says of the result.

Errors are in percent of the expected tips; negative reads low (too few tips).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor

from fleet.domain.code import DecisionRule, Phase, Verdict
from fleet.domain.history import PhaseRuns
from fleet.domain.policy import Policy
from fleet.domain.uncertainty import (
    COVERAGE_FACTOR,
    EMPTIED_BIAS_TIPS,
    combined_uncertainty_percent,
    counting_u_tips,
)
from fleet.units import bucket_volume_ml

NOMINAL_SLACK_TIPS = 0.1
"""A poured volume within this many tips of the nominal one is the nominal one: it cannot move
the whole-tip count by more than it would move by chance."""

_NOISE_TIPS = 1e-9
"""Slack for binary fractions: 40 x 1.075 is 43 tips, not 42."""

_KNOWN_ERRORS = 20_000
"""So many errors are kept ready, a few MB."""

PHASE_WORDS = {Phase.AS_FOUND: "as found", Phase.AS_LEFT: "as left"}
"""The phases as they stand in a sentence."""


@dataclass(frozen=True, slots=True)
class PhaseError:
    """The error of one phase, its runs pooled.

    ``error_percent`` is the plain pooled error that verdicts rest on. ``level_percent`` is the
    same, corrected for the half tip that a run with emptied buckets loses on average; its
    ``variance`` is in percent squared and ``u_percent`` its root. ``one_tip_percent`` is the
    share of one tip in one run.
    """

    expected_tips: float
    tips: int
    error_percent: float
    level_percent: float
    variance: float
    u_percent: float
    one_tip_percent: float
    runs: int


@dataclass(frozen=True, slots=True)
class TipBand:
    """The lowest and the highest count that pass, in whole tips."""

    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Judgement:
    """A phase held against the policy; band and error are None where nothing was measured."""

    verdict: Verdict
    reason: str
    band: TipBand | None = None
    error: PhaseError | None = None


def expected_tips(volume_ml: float, *, bucket_mm: float, orifice_area_cm2: float) -> float:
    """Give the number of tips that a volume should make.

    Parameters
    ----------
    volume_ml : float
        Poured volume in mL.
    bucket_mm : float
        Depth of one tip in mm.
    orifice_area_cm2 : float
        Receiving area in cm2.

    Returns
    -------
    float
        N = 10 V / (b A), in tips, not rounded.

    Examples
    --------
    >>> expected_tips(500.0, bucket_mm=0.2, orifice_area_cm2=400.0)
    62.5
    """
    return volume_ml / bucket_volume_ml(bucket_mm, orifice_area_cm2)


def correction_factor(error_percent: float) -> float:
    """Give the factor that corrects a record made at an error.

    Parameters
    ----------
    error_percent : float
        Above -100.

    Returns
    -------
    float
        k = 1 / (1 + e).

    Examples
    --------
    >>> correction_factor(25.0)
    0.8
    """
    return 1.0 / (1.0 + error_percent / 100.0)


def pass_band(expected: float, tolerance_percent: float) -> TipBand:
    """Give the whole tips that lie within a tolerance.

    Parameters
    ----------
    expected : float
        N in tips: of one run, or of all runs of a phase together.
    tolerance_percent : float
        Not negative.

    Returns
    -------
    TipBand
        ceil(N (1 - tol)) to floor(N (1 + tol)); low above high when no whole tip lies within.

    Examples
    --------
    >>> pass_band(40.0, 7.5)
    TipBand(low=37, high=43)
    """
    share = tolerance_percent / 100.0
    return _whole_tips(expected * (1.0 - share), expected * (1.0 + share))


def limits_percent(policy: Policy, phase: Phase, *, nominal_tips: float) -> tuple[float, float]:
    """Give the errors between which a gauge is in tolerance at its nominal test volume.

    Parameters
    ----------
    policy : Policy
        In force for the gauge.
    phase : Phase
        Whose tolerance is meant.
    nominal_tips : float
        Tips that the nominal test volume should give.

    Returns
    -------
    tuple of float
        Low and high in percent: of the explicit tip band where the policy has one, else of the
        tolerance.
    """
    tolerance, low_tips, high_tips, _ = _phase_terms(policy, phase)
    low = -tolerance if low_tips is None else 100.0 * (low_tips / nominal_tips - 1.0)
    high = tolerance if high_tips is None else 100.0 * (high_tips / nominal_tips - 1.0)
    return low, high


def nominal_band(policy: Policy, phase: Phase, *, nominal_tips: float) -> TipBand:
    """Give the whole tips with which one run of the nominal test volume passes.

    Parameters
    ----------
    policy : Policy
        In force for the gauge.
    phase : Phase
        Whose tolerance is meant.
    nominal_tips : float
        Tips that the nominal test volume should give.

    Returns
    -------
    TipBand
        The explicit band of the policy where it has one, else of the tolerance.
    """
    low, high = limits_percent(policy, phase, nominal_tips=nominal_tips)
    return _whole_tips(nominal_tips * (1.0 + low / 100.0), nominal_tips * (1.0 + high / 100.0))


def phase_error(runs: PhaseRuns, tip_ml: float) -> PhaseError:
    """Work out the error of one phase from its pooled runs.

    Parameters
    ----------
    runs : PhaseRuns
        At least one run with water.
    tip_ml : float
        Volume of one tip in mL.

    Returns
    -------
    PhaseError
        Pooled over the runs: e = 100 (sum n - sum N) / sum N.

    Raises
    ------
    ValueError
        No runs, no volume, or no volume a tip.

    Notes
    -----
    A run with emptied buckets reads half a tip low on average; the level has it added back. The
    variance is 1/12 tip^2 for each such run, 1/6 tip^2 for one that began with an unknown
    residue, plus the volume's relative uncertainty, which all runs share. First principles. The
    orifice area does not enter: the same area defines the rain and the test depth.
    """
    if runs.runs < 1 or runs.volume_ml <= 0 or tip_ml <= 0:
        raise ValueError(
            f"{runs.runs} runs of {runs.volume_ml} mL at {tip_ml} mL a tip give no error"
        )
    return _pooled_error(
        (runs.runs, runs.emptied_runs), runs.volume_ml, runs.tips, runs.volume_u_ml, tip_ml
    )


@lru_cache(maxsize=_KNOWN_ERRORS)
def _pooled_error(
    runs: tuple[int, int], volume_ml: float, tips: int, volume_u_ml: float, tip_ml: float
) -> PhaseError:
    """Work out the error of so many runs, so many of them emptied: a network has few kinds."""
    number, emptied = runs
    expected = volume_ml / tip_ml
    corrected = tips - EMPTIED_BIAS_TIPS * emptied
    u_percent = combined_uncertainty_percent(
        expected,
        count_u_tips=counting_u_tips(emptied_runs=emptied, unknown_runs=number - emptied),
        volume_u_percent=100.0 * volume_u_ml * number / volume_ml,
    )
    return PhaseError(
        expected_tips=expected,
        tips=tips,
        error_percent=100.0 * (tips - expected) / expected,
        level_percent=100.0 * (corrected - expected) / expected,
        variance=u_percent**2,
        u_percent=u_percent,
        one_tip_percent=100.0 * number / expected,
        runs=number,
    )


def judge(
    runs: PhaseRuns | None, tip_ml: float, *, policy: Policy, phase: Phase, test_volume_ml: float
) -> Judgement:
    """Hold one phase against the policy.

    Parameters
    ----------
    runs : PhaseRuns or None
        None is not measured.
    tip_ml : float
        Volume of one tip in mL.
    policy : Policy
        In force on the day of the visit.
    phase : Phase
        Whose terms apply.
    test_volume_ml : float
        Nominal test volume of one run, to which explicit tip bands belong.

    Returns
    -------
    Judgement
        With one plain sentence that holds the figures.

    Notes
    -----
    All runs of the phase are judged together: a band belongs to the sum of their tips, so that
    37 to 43 tips of one run are 74 to 86 of two, and one tip that the first run found in the
    bucket does not fail a gauge. Held against the pooled band, whole tips say the same as the
    pooled error against the tolerance.

    The first that holds is the verdict: beyond the reject limit; outside the band (with a guard
    band: outside by more than U = 2 u); fewer runs than the policy asks; within U of the band's
    edge (guard band only: indeterminate); passed. So missing runs never hide a failure, and
    never earn a pass.
    """
    if runs is None or runs.runs == 0:
        reason = f"No run {PHASE_WORDS[phase]} was measured, which is not a pass."
        return Judgement(Verdict.NOT_MEASURED, reason)
    error = phase_error(runs, tip_ml)
    low, high = _tip_limits(
        runs, error, policy=policy, phase=phase, nominal=_is_nominal(runs, tip_ml, test_volume_ml)
    )
    verdict = _verdict(error, max(low - error.tips, error.tips - high), policy=policy, phase=phase)
    band = _whole_tips(low, high)
    return Judgement(
        verdict, _reason(verdict, error, band, policy=policy, phase=phase), band, error
    )


def _whole_tips(low: float, high: float) -> TipBand:
    return TipBand(ceil(low - _NOISE_TIPS), floor(high + _NOISE_TIPS))


def _phase_terms(policy: Policy, phase: Phase) -> tuple[float, int | None, int | None, int]:
    """Pick tolerance, explicit band and minimum runs of a phase."""
    if phase is Phase.AS_FOUND:
        return (
            policy.as_found_tolerance_percent,
            policy.as_found_low_tips,
            policy.as_found_high_tips,
            policy.minimum_as_found_runs,
        )
    return (
        policy.as_left_tolerance_percent,
        policy.as_left_low_tips,
        policy.as_left_high_tips,
        policy.minimum_as_left_runs,
    )


def _is_nominal(runs: PhaseRuns, tip_ml: float, test_volume_ml: float) -> bool:
    volumes = runs.run_volumes_ml or (runs.volume_ml / runs.runs,)
    return all(abs(v - test_volume_ml) <= NOMINAL_SLACK_TIPS * tip_ml for v in volumes)


def _tip_limits(
    runs: PhaseRuns, error: PhaseError, *, policy: Policy, phase: Phase, nominal: bool
) -> tuple[float, float]:
    """Give the tips, pooled and not rounded, between which the phase is in tolerance."""
    tolerance, low_tips, high_tips, _ = _phase_terms(policy, phase)
    low = error.expected_tips * (1.0 - tolerance / 100.0)
    high = error.expected_tips * (1.0 + tolerance / 100.0)
    if nominal and low_tips is not None:
        low = runs.runs * low_tips
    if nominal and high_tips is not None:
        high = runs.runs * high_tips
    return low, high


def _verdict(error: PhaseError, outside_tips: float, *, policy: Policy, phase: Phase) -> Verdict:
    guard_tips = 0.0
    if policy.decision_rule is DecisionRule.GUARD_BAND:
        guard_tips = COVERAGE_FACTOR * error.u_percent * error.expected_tips / 100.0
    reject_tips = policy.reject_limit_percent * error.expected_tips / 100.0
    if abs(error.tips - error.expected_tips) > reject_tips + _NOISE_TIPS:
        return Verdict.REJECTED
    if outside_tips > guard_tips + _NOISE_TIPS:
        return Verdict.FAILED
    if error.runs < _phase_terms(policy, phase)[3]:
        return Verdict.TOO_FEW_RUNS
    if outside_tips > -guard_tips + _NOISE_TIPS:
        return Verdict.INDETERMINATE
    return Verdict.PASSED


def _reason(
    verdict: Verdict, error: PhaseError, band: TipBand, *, policy: Policy, phase: Phase
) -> str:
    plural = "" if error.runs == 1 else "s"
    tips = f"{band.low} to {band.high} tips"
    expanded = COVERAGE_FACTOR * error.u_percent
    findings = {
        Verdict.PASSED: f"within {tips}",
        Verdict.FAILED: f"outside {tips}",
        Verdict.REJECTED: f"beyond the reject limit of {policy.reject_limit_percent:g} % "
        f"(band {tips})",
        Verdict.INDETERMINATE: f"too near the edge of {tips} to tell, with an uncertainty of "
        f"{expanded:.1f} % (k = 2)",
        Verdict.TOO_FEW_RUNS: f"no failure against {tips}, but the policy asks for "
        f"{_phase_terms(policy, phase)[3]} runs",
    }
    return (
        f"{error.tips} tips {PHASE_WORDS[phase]} in {error.runs} run{plural} against "
        f"{error.expected_tips:.1f} expected, error {error.error_percent:+.1f} %: "
        f"{findings[verdict]}; one tip of one run is {error.one_tip_percent:.1f} %."
    )
