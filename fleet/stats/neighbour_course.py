"""The usual ratio of a gauge to its neighbours through the year, and how well it is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.neighbour_median import HUBER_VARIANCE, column_median, huber_mean, robust_sd
from fleet.stats.neighbour_spell import Spells
from fleet.stats.neighbour_weight import LEAST_SPREAD

SEASON_SD = 0.05
"""Spread of the two waves of a yearly course of the log ratio before the data speak: own estimate,
below the 0.07 to 0.08 that are learned from the open monthly set, which lies in mountains."""

LEAST_SEASON_SD = 1e-6

SEASON_SD_GAUGES = 5
"""How many gauges the above weighs when a fleet's own is learned."""

LEAST_SPELLS = 20
LEAST_YEARS = 0.9
"""A gauge with fewer spells, or over less of a year, tells nothing of a course."""

RADIUS_MEDIAN = 1.386
"""Median of the squared length of two normal deviates of variance 1: 2 ln 2 [first principles]."""

SEASON_YEARS = 2.0
"""A course is taken off only where the baseline spans so many years: one fitted to a single season
would be drawn on wildly through the others."""

PULLED_SD = 2.5


def year_waves(first: Ints, days_per_year: float) -> Floats:
    """Give 1, cosine and sine of the time of year of each spell, shape (m, 3)."""
    angle = 2.0 * np.pi * first / days_per_year
    return np.column_stack([np.ones(angle.size), np.cos(angle), np.sin(angle)])


def fit_course(
    value: Floats, waves: Floats, baseline: Bools, *, season_sd: float, years: float
) -> tuple[Floats, Floats]:
    """Fit a level, and where there are years enough one wave a year, to the baseline.

    Parameters
    ----------
    value : ndarray, shape (m,)
        NaN is missing.
    waves : ndarray, shape (m, 3)
        As `year_waves` gives them.
    baseline : ndarray of bool, shape (m,)
        Spells to fit to, at least one of them told.
    season_sd : float
        Spread of the waves' sizes between gauges: the smaller, the more they are drawn to 0.
    years : float
        That the baseline spans.

    Returns
    -------
    size : ndarray, shape (3,)
        Of level and waves.
    covariance : ndarray, shape (3, 3)
        Of their errors. Where no wave was fitted, the one that is there all the same is of size
        ``season_sd``, and the level is that of the seasons in the baseline.

    Notes
    -----
    Huber's mean, or ridge regression with values beyond 2.5 robust standard deviations pulled in
    [normal prior on the waves; first principles].
    """
    seen = baseline & ~np.isnan(value)
    middle = huber_mean(value[seen])
    spread = max(robust_sd(value[seen] - middle), LEAST_SPREAD)
    a = waves[seen]
    if years < SEASON_YEARS:
        mean = a.mean(axis=0)[1:]
        error = np.vstack([-mean, np.eye(2)])
        covariance = season_sd**2 * error @ error.T
        covariance[0, 0] += HUBER_VARIANCE * spread**2 / len(a)
        return np.array([middle, 0.0, 0.0]), covariance
    pulled = np.clip(value[seen], middle - PULLED_SD * spread, middle + PULLED_SD * spread)
    drawn = (spread / max(season_sd, LEAST_SEASON_SD)) ** 2
    inverse = np.linalg.inv(a.T @ a + np.diag([0.0, drawn, drawn]))
    return inverse @ (a.T @ pulled), np.asarray(inverse * spread**2, dtype=np.float64)


def learn_season_sd(spells: Sequence[Spells], *, days_per_year: float) -> float:
    """Learn from a fleet how large the yearly courses of its ratios are.

    Parameters
    ----------
    spells : sequence of Spells
        Of all gauges.
    days_per_year : float
        Length of the year in steps of the record.

    Returns
    -------
    float
        Spread of one wave's size, in log ratio; `SEASON_SD` where nobody has spells of a year.

    Notes
    -----
    Median of the squared length of each gauge's waves, less what chance makes of it; robust, for
    a fault of some months looks like a wave.
    """
    squares, chance = [], []
    for kept in spells:
        if kept.count < LEAST_SPELLS or np.ptp(kept.first) < LEAST_YEARS * days_per_year:
            continue
        value = column_median(kept.log_ratio)[0] - np.nan_to_num(kept.level_log)
        told = ~np.isnan(value)
        if told.sum() >= LEAST_SPELLS:
            waves = year_waves(kept.first, days_per_year)
            size, covariance = fit_course(value, waves, told, season_sd=1e3, years=np.inf)
            squares.append(float(size[1] ** 2 + size[2] ** 2))
            chance.append(float(np.trace(covariance[1:, 1:])) / 2.0)
    if not squares:
        return SEASON_SD
    own = max(float(np.median(squares)) / RADIUS_MEDIAN - float(np.median(chance)), 0.0)
    weight = SEASON_SD_GAUGES
    return float(np.sqrt((weight * SEASON_SD**2 + len(squares) * own) / (weight + len(squares))))
