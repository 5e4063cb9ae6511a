"""How good forecast probabilities were, and whether a difference is more than chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.errors import TooFewPointsError
from fleet.stats.array import Bools, Floats
from fleet.stats.interval import ShareInterval, share_interval

LEAST_CHANCE = 0.001
"""The log score takes no forecast for more certain than one in a thousand: a choice of this
program, so that a single record gone wrong does not outweigh all others."""

BIN_EDGES = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Of the reliability diagram; finer below, where most gauges are."""

FLIPS = 9999
_BLOCK = 500


@dataclass(frozen=True, slots=True)
class Comparison:
    """Mean score of a reference less ours: above 0, ours is better.

    ``p`` is the share of random sign flips that give a difference at least as large either way.
    """

    difference: float
    p: float


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Forecasts from ``low`` up to ``high``: their mean, and the share that came true."""

    low: float
    high: float
    mean_forecast: float
    seen: ShareInterval


def brier_losses(forecast: Floats, outcome: Bools) -> Floats:
    """Give the squared error of each forecast.

    Parameters
    ----------
    forecast : ndarray, shape (n,)
        Probabilities.
    outcome : ndarray of bool, shape (n,)
        What came true.

    Returns
    -------
    ndarray, shape (n,)
        (p - y)^2; its mean is the Brier score, 0 is perfect.

    Notes
    -----
    Source: Brier 1950 (from memory).
    """
    return np.asarray((forecast - outcome) ** 2, dtype=np.float64)


def log_losses(forecast: Floats, outcome: Bools) -> Floats:
    """Give the surprise at each outcome.

    Parameters
    ----------
    forecast : ndarray, shape (n,)
        Probabilities; taken as at least 0.001 and at most 0.999.
    outcome : ndarray of bool, shape (n,)
        What came true.

    Returns
    -------
    ndarray, shape (n,)
        -ln of the probability given to what came true; the mean is the log score.
    """
    told = np.where(outcome, forecast, 1.0 - forecast)
    return np.asarray(-np.log(np.clip(told, LEAST_CHANCE, 1.0 - LEAST_CHANCE)))


def compare_losses(
    ours: Floats, reference: Floats, clusters: Sequence[str], *, seed: int
) -> Comparison:
    """Compare two sets of forecasts of the same events by a paired permutation test.

    Parameters
    ----------
    ours, reference : ndarray, shape (n,)
        Loss of each forecast.
    clusters : sequence of str
        n of them; what belongs together (the checks of one site) is flipped together.
    seed : int
        Of the random flips; the same seed gives the same p.

    Returns
    -------
    Comparison

    Raises
    ------
    TooFewPointsError
        No forecasts.

    Notes
    -----
    Were neither better, each cluster's summed difference would be as likely with either sign.
    9,999 sets of random signs; p counts the observed set in, so it is never 0.
    """
    if ours.size == 0:
        raise TooFewPointsError("A comparison needs at least one forecast; none was given.")
    _, cluster = np.unique(np.asarray(clusters), return_inverse=True)
    sums = np.bincount(cluster, reference - ours)
    total = abs(float(sums.sum()))
    slack = 1e-12 * float(np.abs(sums).sum())
    rng = np.random.default_rng(seed)
    as_large = 0
    for start in range(0, FLIPS, _BLOCK):
        signs = rng.integers(0, 2, (min(_BLOCK, FLIPS - start), sums.size)) * 2 - 1
        as_large += int(np.sum(np.abs(signs @ sums) >= total - slack))
    return Comparison(float(sums.sum()) / ours.size, (1 + as_large) / (1 + FLIPS))


def reliability_bins(
    forecast: Floats, outcome: Bools, *, edges: Sequence[float] = BIN_EDGES
) -> list[ReliabilityBin]:
    """Sort forecasts by size and count how many of each size came true.

    Parameters
    ----------
    forecast : ndarray, shape (n,)
        Probabilities.
    outcome : ndarray of bool, shape (n,)
        What came true.
    edges : sequence of float
        Rising from 0 to 1; a forecast on an edge belongs above it, but 1 to the last bin.

    Returns
    -------
    list of ReliabilityBin
        In rising order, with exact 95 % intervals; empty bins are left out.
    """
    place = np.clip(np.searchsorted(edges, forecast, side="right") - 1, 0, len(edges) - 2)
    bins = []
    for number in np.unique(place).tolist():
        inside = place == number
        seen = share_interval(int(outcome[inside].sum()), int(inside.sum()))
        mean = float(forecast[inside].mean())
        bins.append(ReliabilityBin(edges[number], edges[number + 1], mean, seen))
    return bins
