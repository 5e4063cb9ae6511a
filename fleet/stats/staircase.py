"""The staircase: after each check extend an interval, keep it, or reduce it."""

from __future__ import annotations

from enum import StrEnum

EXTEND_WITHIN = 0.8
"""Share of the permissible error within which an interval is extended: ILAC-G24:2007 section 3,
as quoted in a calibration-interval article (the example given there)."""


class Step(StrEnum):
    """What one result asks of the interval."""

    EXTEND = "extend"
    KEEP = "keep"
    REDUCE = "reduce"


def staircase_step(limit_share: float) -> Step:
    """Say what one as-found result asks of the interval.

    Parameters
    ----------
    limit_share : float
        Size of the error over the permissible error, not negative.

    Returns
    -------
    Step
        EXTEND up to 80 % of the permissible error, KEEP up to 100 %, REDUCE beyond.

    Raises
    ------
    ValueError
        A negative share, or NaN.

    Notes
    -----
    Source: automatic adjustment ("staircase") of ILAC-G24:2007 section 3, as quoted in a
    calibration-interval article; the source names no lengths of the steps.
    Checked against: its example of 5 % (tests/stats/test_staircase.py).

    Examples
    --------
    >>> staircase_step(4.5 / 5.0)
    <Step.KEEP: 'keep'>
    """
    if not limit_share >= 0:
        raise ValueError(f"limit_share {limit_share} is not 0 or above")
    if limit_share <= EXTEND_WITHIN:
        return Step.EXTEND
    return Step.KEEP if limit_share <= 1.0 else Step.REDUCE
