"""A gauge's ratio to its neighbours, spell by spell, against what it was when nothing ailed it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.neighbour_median import NORMAL_SD, column_median, robust_sd, weighted_median
from fleet.stats.neighbour_spell import Spells

RECORDED_SHARE = 0.02
"""A gauge with less of its neighbours' rain was silent: such a spell tells no usual ratio."""

LEAST_BASELINE = 8
"""With fewer spells outside the span judged, the whole record sets the usual ratio."""

LEAST_KNOWN = 5
"""With fewer spells in which the gauge recorded at all, its usual ratio is not known."""

MOST_WEIGHT = 2.0
"""No neighbour counts more than this many times the middle one: a gauge on the same post must
not outvote all others, or the faulty one of the two would accuse the other."""

SEASON_YEARS = 2.0
"""A usual yearly course of the ratio is looked for once the baseline spans so many years."""

SEASON_SD = 0.1
"""Size of that course before the data speak, in log ratio."""


LEAST_SPREAD = 0.02
"""Spread of a log ratio that is assumed at least."""


@dataclass(frozen=True, slots=True, eq=False)
class RatioSeries:
    """The log ratio of each spell to its neighbours, 0 being the gauge's usual.

    ``baseline`` marks the spells that set the usual ratio; ``known`` is False where there were
    too few, and 0 then means "as much as the neighbours". ``usual_log`` is the usual itself.
    """

    value: Floats
    baseline: Bools
    known: bool
    usual_log: float


def centre_ratios(spells: Spells, judged: Bools, *, days_per_year: float) -> RatioSeries:
    """Combine the ratios to the neighbours into one, robustly, and set its usual value to 0.

    Parameters
    ----------
    spells : Spells
        m spells with their ratios to k neighbours.
    judged : ndarray of bool, shape (m,)
        Spells of the span that is judged; the usual is learned from the others.
    days_per_year : float
        Length of the yearly course, in steps of the record.

    Returns
    -------
    RatioSeries

    Notes
    -----
    To each neighbour: log ratio less its median over the baseline. Over the neighbours: their
    weighted median, weights 1 / (robust spread)^2, none above twice the middle weight. A faulty
    neighbour scatters, so it counts little, and cannot outvote the rest in any case. Over the
    year, once the baseline spans two: less one harmonic, shrunk to none.
    """
    baseline, known = _baseline(spells, judged)
    if not known:
        value = weighted_median(spells.log_ratio, np.ones(len(spells.log_ratio)))
        return RatioSeries(value, baseline, known=False, usual_log=0.0)
    usual = column_median(spells.log_ratio[:, baseline].T)[0]
    centred = spells.log_ratio - usual[:, None]
    told = ~np.isnan(usual)
    weights = _weights(centred[told][:, baseline])
    value = weighted_median(centred[told], weights)
    value = value - np.nanmedian(value[baseline])
    value = value - _season(value, spells.first, baseline, days_per_year)
    return RatioSeries(value, baseline, known=True, usual_log=float(np.median(usual[told])))


def _baseline(spells: Spells, judged: Bools) -> tuple[Bools, bool]:
    recorded = spells.own_mm > RECORDED_SHARE * spells.around_mm
    recorded &= ~np.isnan(spells.log_ratio).all(axis=0)
    before = recorded & ~judged
    if before.sum() >= LEAST_BASELINE:
        return before, True
    return recorded, bool(recorded.sum() >= LEAST_KNOWN)


def _weights(centred: Floats) -> Floats:
    spreads = NORMAL_SD * column_median(np.abs(centred).T)[0]
    weights = 1.0 / np.maximum(spreads, LEAST_SPREAD) ** 2
    return np.asarray(np.minimum(weights, MOST_WEIGHT * np.median(weights)))


def _season(value: Floats, first: Ints, baseline: Bools, days_per_year: float) -> Floats:
    """Give the usual yearly course at each spell, 0 where the baseline is too short for one."""
    days = first[baseline]
    if days.size == 0 or np.ptp(days) < SEASON_YEARS * days_per_year:
        return np.zeros_like(value)
    angle = 2.0 * np.pi * first / days_per_year
    waves = np.column_stack([np.cos(angle), np.sin(angle)])
    seen = baseline & ~np.isnan(value)
    spread = max(robust_sd(value[seen]), LEAST_SPREAD)
    pulled = np.clip(value[seen], -2.5 * spread, 2.5 * spread)
    a = waves[seen]
    penalty = np.eye(2) * (spread / SEASON_SD) ** 2
    return np.asarray(waves @ np.linalg.solve(a.T @ a + penalty, a.T @ pulled))
