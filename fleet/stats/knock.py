"""Sudden changes of level (a knock, a slipped screw): how often they come, and how large they are.

Drift is slow; its robust fit sets a change aside that the gauge's other changes do not predict.
Such a change may be of this kind, told from an ordinary one by the odds of the two laws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from fleet.stats.array import Floats
from fleet.stats.hazard import HazardFit, HazardPrior, fit_hazard
from fleet.stats.pooled_change import Changes, GrowthFit, left_out

KNOCK_PRIOR = HazardPrior(per_year=0.05)
"""One sudden change of level in twenty gauge-years: own estimate, no published source."""

SIZE_PRIOR_PERCENT = 8.0
"""Size, as a standard deviation, of a sudden change: own estimate, no published source, from the
5 to 15 % that quarantines a gauge without its having stopped."""

SIZE_PRIOR_CHANGES = 2.0
"""As many changes the prior size weighs."""

_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class KnockFit:
    """Sudden changes of a kind: the law of their rate, and of their size, Normal(0, size_sd^2)."""

    hazard: HazardFit
    size_sd: float


def fit_knock(changes: Changes, drift: GrowthFit) -> KnockFit:
    """Fit how often and how far levels change suddenly.

    Parameters
    ----------
    changes : Changes
        Of every gauge of the kind, in percent; may be empty.
    drift : GrowthFit
        Of the same kind.

    Returns
    -------
    KnockFit

    Notes
    -----
    A mixture of two laws, fitted by expectation and maximisation: what a change misses of its
    prediction is Normal(0, V) without and Normal(0, V + size_sd^2) with a sudden change in it, the
    latter as often as the rate says for the time. Nothing is cut: a change counts as the
    probability that there was one.
    Checked against: simulated changes of which the truth is known (tests/stats/test_knock.py).
    """
    if not changes.years.size:
        return KnockFit(fit_hazard(np.zeros(0), np.zeros(0), prior=KNOCK_PRIOR), SIZE_PRIOR_PERCENT)
    miss, variance = left_out(changes, drift)
    per_year, size_sd = KNOCK_PRIOR.per_year, SIZE_PRIOR_PERCENT
    for _ in range(_ROUNDS):
        sure = _probability(changes.years * per_year, size_sd, miss, variance)
        years = float(np.sum(_watched(changes, sure)))
        per_year = (1.0 + float(sure.sum())) / (1.0 / KNOCK_PRIOR.per_year + years)
        excess = float(np.sum(sure * np.maximum(miss**2 - variance, 0.0)))
        squares = SIZE_PRIOR_CHANGES * SIZE_PRIOR_PERCENT**2 + excess
        before, size_sd = size_sd, (squares / (SIZE_PRIOR_CHANGES + float(sure.sum()))) ** 0.5
        if abs(size_sd / before - 1.0) < 1e-4:
            break
    return KnockFit(fit_hazard(*_by_unit(changes, sure), prior=KNOCK_PRIOR), size_sd)


def count_knocks(changes: Changes, drift: GrowthFit, fit: KnockFit) -> tuple[Floats, Floats]:
    """Count the sudden changes of each gauge, as far as they are likely.

    Parameters
    ----------
    changes : Changes
        Of n gauges.
    drift, fit : GrowthFit, KnockFit
        Of their kind.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Sums of probabilities, and the years watched; half of the time to a sudden change counts.
    """
    if not changes.years.size:
        return np.zeros(changes.units), np.zeros(changes.units)
    miss, variance = left_out(changes, drift)
    expected = changes.years * fit.hazard.per_year
    return _by_unit(changes, _probability(expected, fit.size_sd, miss, variance))


def _probability(expected: Floats, size_sd: float, miss: Floats, variance: Floats) -> Floats:
    """Give the probability that a change holds a sudden one, by Bayes' rule."""
    wide = variance + size_sd**2
    log_ratio = 0.5 * (np.log(variance / wide) + miss**2 * (1.0 / variance - 1.0 / wide))
    return np.asarray(expit(np.log(np.expm1(expected)) + log_ratio))


def _watched(changes: Changes, sure: Floats) -> Floats:
    """Give the years until a sudden change came: half the time, on average."""
    return np.asarray(changes.years * (1.0 - sure / 2.0))


def _by_unit(changes: Changes, sure: Floats) -> tuple[Floats, Floats]:
    return (
        np.bincount(changes.unit, sure, changes.units).astype(np.float64),
        np.bincount(changes.unit, _watched(changes, sure), changes.units).astype(np.float64),
    )
