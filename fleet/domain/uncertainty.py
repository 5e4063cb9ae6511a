"""The standard uncertainty of a tip-count test, combined after the GUM.

Source of the method: JCGM 100 (GUM), 5.1.2, from memory; of the quantisation terms: first
principles, confirmed by simulation.
"""

from __future__ import annotations

from math import sqrt

from fleet.domain.code import StartState

COVERAGE_FACTOR = 2.0
"""k of the expanded uncertainty U = k u, about 95 % for a normal error."""

COUNT_VARIANCE_TIPS2 = {StartState.EMPTIED: 1 / 12, StartState.UNKNOWN: 1 / 6}
"""Variance of one run's count, in tips squared, by what stood in the buckets at its start.

Emptied buckets: the count is the whole part of N, its error uniform over one tip. Unknown
residue: uniform residue and uniform remainder, a triangular error over two tips (first
principles)."""

EMPTIED_BIAS_TIPS = -0.5
"""Mean error of a run's count that began with emptied buckets (first principles)."""


def rectangular_u(half_width: float) -> float:
    """Give the standard uncertainty of a value known to lie within plus or minus a half-width.

    Parameters
    ----------
    half_width : float
        In any unit, not negative.

    Returns
    -------
    float
        half_width / sqrt(3), in the same unit.

    Examples
    --------
    >>> round(rectangular_u(1.5), 2)
    0.87
    """
    return half_width / sqrt(3.0)


def counting_u_tips(*, emptied_runs: int, unknown_runs: int) -> float:
    """Give the standard uncertainty of the tips counted over all runs of a phase.

    Parameters
    ----------
    emptied_runs, unknown_runs : int
        Runs that began with emptied buckets, and with an unknown residue.

    Returns
    -------
    float
        In tips. Runs count as independent; runs that follow each other without emptying share
        a residue and are a little better than this.
    """
    return sqrt(
        emptied_runs * COUNT_VARIANCE_TIPS2[StartState.EMPTIED]
        + unknown_runs * COUNT_VARIANCE_TIPS2[StartState.UNKNOWN]
    )


def combined_uncertainty_percent(
    expected_tips: float,
    *,
    count_u_tips: float,
    volume_u_percent: float = 0.0,
    diameter_u_percent: float = 0.0,
    repeat_sd_tips: float = 0.0,
    runs: int = 1,
) -> float:
    """Combine the parts of a tip test's uncertainty, as a share of the expected tips.

    Parameters
    ----------
    expected_tips : float
        N, the tips that the volume should give; above 0.
    count_u_tips : float
        Standard uncertainty of the count in tips.
    volume_u_percent : float, default 0
        Standard uncertainty of the volume, relative.
    diameter_u_percent : float, default 0
        Standard uncertainty of the orifice diameter, relative; it counts twice (area). Leave it
        0 where the same area defines the rain and the test depth: it then drops out.
    repeat_sd_tips : float, default 0
        Standard deviation of repeated runs in tips, over ``runs`` runs.
    runs : int, default 1
        Number of runs behind ``repeat_sd_tips``.

    Returns
    -------
    float
        u_c in percent (k = 1).

    Raises
    ------
    ValueError
        ``expected_tips`` is not above 0 or ``runs`` is below 1.

    Notes
    -----
    u_c^2 = (u_V/V)^2 + (2 u_d/d)^2 + (u_n/N)^2 + (s/(sqrt(m) N))^2.

    Examples
    --------
    >>> round(combined_uncertainty_percent(100.0, count_u_tips=0.2887), 4)
    0.2887
    """
    if expected_tips <= 0 or runs < 1:
        raise ValueError(f"expected_tips {expected_tips} and runs {runs} must be above 0")
    repeat_percent = 100.0 * repeat_sd_tips / (sqrt(runs) * expected_tips)
    count_percent = 100.0 * count_u_tips / expected_tips
    parts = (volume_u_percent, 2.0 * diameter_u_percent, count_percent, repeat_percent)
    return sqrt(sum(part**2 for part in parts))
