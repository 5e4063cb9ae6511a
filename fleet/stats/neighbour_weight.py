"""How much each neighbour counts: the combination whose ratio to the gauge scatters least."""

from __future__ import annotations

import numpy as np

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_median import NORMAL_SD, column_median, weighted_median

MOST_MEDIAN_WEIGHT = 2.0
"""In the middle of a spell no neighbour counts more than this many times the middle one: a gauge
on the same post must not outvote all others."""

MOST_WEIGHT = 0.4
"""Largest weight of one neighbour in the combination, for the same reason."""

PULLED_SD = 2.0
"""A neighbour that lies farther from the middle of a spell than this many of its usual deviations
is pulled in to there, so that a faulty one cannot take the combination along."""

SHRINK = 0.3
"""How far the correlations of the neighbours' deviations are drawn to none, for they are learned
from few spells; 0.1 and 0.3 gave the same scatter in simulated rain (tests/benchmarks)."""

LEAST_SPREAD = 0.02
"""Spread of a log ratio that is assumed at least."""


def combine_ratios(centred: Floats, baseline: Bools) -> tuple[Floats, Floats]:
    """Combine the log ratios to k neighbours into the one that scatters least.

    Parameters
    ----------
    centred : ndarray, shape (k, m)
        Log ratio of each spell to each neighbour, 0 being the usual; NaN is missing.
    baseline : ndarray of bool, shape (m,)
        Spells from which the scatter is learned, at least one.

    Returns
    -------
    value : ndarray, shape (m,)
        The combination; NaN where no neighbour is told.
    weight : ndarray, shape (k,)
        Of each neighbour, not negative, adding up to 1.

    Notes
    -----
    The middle of a spell is the weighted median of its ratios. Each ratio is pulled in to
    `PULLED_SD` of its usual deviations about the middle; a missing one counts as the middle. Of
    these the mean with the least variance is taken, w = S^-1 1 / (1' S^-1 1), S being their
    covariance over the baseline [Gauss-Markov; first principles], drawn to its diagonal.
    """
    middle = weighted_median(centred, _median_weights(centred[:, baseline]))
    deviation = centred - middle
    reach = PULLED_SD * _spreads(deviation[:, baseline])[:, None]
    pulled = np.nan_to_num(np.clip(deviation, -reach, reach))
    quiet = baseline & ~np.isnan(middle)
    weight = _least_variance((middle + pulled)[:, quiet])
    return np.asarray(middle + weight @ pulled), weight


def _median_weights(centred: Floats) -> Floats:
    weights = 1.0 / _spreads(centred) ** 2
    return np.asarray(np.minimum(weights, MOST_MEDIAN_WEIGHT * np.median(weights)))


def _spreads(about_0: Floats) -> Floats:
    """Give the robust spread of each row about 0; a row without values spreads widely."""
    found = NORMAL_SD * column_median(np.abs(about_0).T)[0]
    return np.asarray(np.maximum(np.nan_to_num(found, nan=1.0), LEAST_SPREAD))


def _least_variance(ratios: Floats) -> Floats:
    spread = _spreads(ratios)[:, None]
    seen = np.clip(ratios, -2.5 * spread, 2.5 * spread)
    covariance = seen @ seen.T / max(seen.shape[1], 1)
    own = np.diag(np.maximum(np.diag(covariance), LEAST_SPREAD**2))
    covariance = (1.0 - SHRINK) * covariance + SHRINK * own
    weight = np.maximum(np.linalg.solve(covariance, np.ones(len(covariance))), 0.0)
    weight /= weight.sum()
    for _ in range(len(weight) if len(weight) * MOST_WEIGHT > 1.0 else 0):
        weight = np.minimum(weight, MOST_WEIGHT)
        weight /= weight.sum()
    return np.asarray(weight)
