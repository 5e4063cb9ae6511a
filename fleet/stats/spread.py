"""The level at which a service, or a new part, leaves the gauges of a kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Floats

CLIP_SD = 3.5
"""Values further than this many robust standard deviations from the median are pulled in."""

SMALL_SAMPLE = 8
"""With fewer values the median deviation says too little to call one of them an outlier."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and standard deviation of a level over a kind, and the values behind them."""

    mean: float
    sd: float
    values: int = 0


def fit_spread(values: Floats, variances: Floats, *, prior: Spread) -> Spread:
    """Fit the mean and standard deviation of levels of which each was measured with an error.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Levels, in any unit; may be empty.
    variances : ndarray, shape (n,)
        Measurement variance of each, unit squared; taken off the spread.
    prior : Spread
        Believed before the data speak; weighs as many values as its ``values`` says, in the
        mean and in the variance.

    Returns
    -------
    Spread
        The true levels' mean and standard deviation, at least a tenth of the prior's.

    Notes
    -----
    mean = (k m0 + sum x) / (k + n) and sd^2 = (k s0^2 + sum (x - mean)^2 - sum v) / (k + n), with
    gross outliers first pulled in to 3.5 robust standard deviations.
    """
    pulled = _pull_in(values)
    count = prior.values + values.size
    mean = (prior.values * prior.mean + float(np.sum(pulled))) / count
    squares = float(np.sum((pulled - mean) ** 2) - np.sum(variances))
    variance = (prior.values * prior.sd**2 + squares) / count
    least = (prior.sd / 10.0) ** 2
    return Spread(mean, max(variance, least) ** 0.5, int(values.size))


def _pull_in(values: Floats) -> Floats:
    if values.size < SMALL_SAMPLE:
        return values
    median = float(np.median(values))
    reach = CLIP_SD * 1.4826 * float(np.median(np.abs(values - median)))
    return np.clip(values, median - reach, median + reach) if reach > 0 else values
