"""How far a fit gauge's ratio to its neighbours scatters, learned from the fleet's quiet spells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_median import HUBER_VARIANCE, huber_mean, robust_sd
from fleet.stats.neighbour_ratio import RatioSeries
from fleet.stats.neighbour_spell import Spells

USUAL_SD = 0.12
"""Scatter of the log ratio of a spell before any data speak: the middle of what is seen between
gauges 10 km apart (own simulation and the open monthly set: 0.07 to 0.4)."""

USUAL_SD_SPELLS = 6
"""How many spells of its own the fleet's scatter weighs for one gauge."""

LEAST_FLEET_SPELLS = 40
"""With fewer quiet spells in the whole fleet the scatter is taken as usual."""

BINS = 8
"""Groups of spells by their rain, from which the law of the scatter is learned."""

SERVICE_SD = 0.03
"""Spread of the level at which services leave a gauge, in log ratio, before the data speak: a
usual as-left tolerance of 3 % (common practice, no published source)."""

SERVICE_SD_SPANS = 10
"""How many spans the above weighs."""

LEAST_SPAN_SPELLS = 6
"""A span with fewer spells tells no level."""

LEAST_SD = 0.02

PLACE_SD = 0.3
"""Spread of what gauges usually have of their neighbours' rain, in log ratio, before the data
speak: exposed and sheltered, high and low sites (own estimate)."""

PLACE_SD_GAUGES = 10
"""How many gauges the above weighs."""


@dataclass(frozen=True, slots=True, eq=False)
class RatioNoise:
    """The scatter of spells: variance = factor x (floor + per_mm / rain of the spell in mm).

    ``factor``, shape (n,), is each gauge's own. ``persistence`` (at least 1) is by how much the
    spells in a row resemble each other: so many of them say as much as one. ``service_sd`` is
    how far the levels after different services lie apart, ``place_sd`` how far the usual levels
    of different gauges do.
    """

    floor: float
    per_mm: float
    factor: Floats
    persistence: float
    service_sd: float
    place_sd: float

    def sd(self, gauge: int, around_mm: Floats) -> Floats:
        """Give the standard deviation of each spell of a gauge, in log ratio."""
        variance = self.factor[gauge] * (self.floor + self.per_mm / around_mm)
        return np.asarray(np.sqrt(np.maximum(variance, LEAST_SD**2)))


def learn_noise(spells: Sequence[Spells], ratios: Sequence[RatioSeries]) -> RatioNoise:
    """Learn the scatter of ratios from all baselines of the fleet.

    Parameters
    ----------
    spells : sequence of Spells
        Of n gauges.
    ratios : sequence of RatioSeries
        Of the same gauges.

    Returns
    -------
    RatioNoise
        By robust means throughout, so that the faulty spells among the baselines (fewer than
        half) do not count. Persistence is (1 + r) / (1 - r) with r the middle correlation of
        spells that follow each other (variance of a mean of a first-order autoregression, first
        principles).
    """
    quiet = [series.baseline & series.known for series in ratios]
    values = [series.value[use] for series, use in zip(ratios, quiet, strict=True)]
    rains = [kept.around_mm[use] for kept, use in zip(spells, quiet, strict=True)]
    floor, per_mm = _fleet_law(np.concatenate(values), np.concatenate(rains))
    scaled = [
        value / np.sqrt(floor + per_mm / rain) for value, rain in zip(values, rains, strict=True)
    ]
    return RatioNoise(
        floor=floor,
        per_mm=per_mm,
        factor=np.array([_own_factor(score) for score in scaled]),
        persistence=_persistence(scaled),
        service_sd=_service_sd(spells, ratios, quiet),
        place_sd=_place_sd(ratios),
    )


def _fleet_law(values: Floats, rains: Floats) -> tuple[float, float]:
    """Fit variance = a + b / rain, neither negative, to variances of spells alike in rain."""
    told = ~np.isnan(values)
    values, rains = values[told], rains[told]
    if values.size < LEAST_FLEET_SPELLS:
        return USUAL_SD**2, 0.0
    groups = np.array_split(np.argsort(rains, kind="stable"), BINS)
    variances = np.array([robust_sd(values[group]) ** 2 for group in groups])
    inverse = np.array([float(np.mean(1.0 / rains[group])) for group in groups])
    (floor, per_mm), _ = nnls(np.column_stack([np.ones(BINS), inverse]), variances)
    return (float(floor), float(per_mm)) if floor + per_mm > 0.0 else (LEAST_SD**2, 0.0)


def _own_factor(scores: Floats) -> float:
    """Give a gauge's variance against the fleet's, shrunk to 1."""
    seen = scores[~np.isnan(scores)]
    own = robust_sd(seen) ** 2 if seen.size else 1.0
    return (USUAL_SD_SPELLS + seen.size * own) / (USUAL_SD_SPELLS + seen.size)


def _persistence(scores: Sequence[Floats]) -> float:
    found = []
    for score in scores:
        pulled = np.clip(score[~np.isnan(score)], -3.0, 3.0)
        if pulled.size >= LEAST_SPAN_SPELLS and np.ptp(pulled) > 0.0:
            pulled = pulled - pulled.mean()
            found.append(float(pulled[1:] @ pulled[:-1] / (pulled @ pulled)))
    middle = float(np.median(found)) if found else 0.0
    r = min(max(middle, 0.0), 0.8)
    return (1.0 + r) / (1.0 - r)


def _service_sd(
    spells: Sequence[Spells], ratios: Sequence[RatioSeries], quiet: Sequence[Bools]
) -> float:
    """Give how far the levels of spans lie apart beyond what their few spells explain."""
    levels, explained = [], []
    for kept, series, use in zip(spells, ratios, quiet, strict=True):
        for span in np.unique(kept.span[use]):
            inside = series.value[use & (kept.span == span)]
            inside = inside[~np.isnan(inside)]
            if inside.size >= LEAST_SPAN_SPELLS and inside.size < use.sum():
                middle = huber_mean(inside)
                levels.append(middle)
                explained.append(HUBER_VARIANCE * robust_sd(inside - middle) ** 2 / inside.size)
    if not levels:
        return SERVICE_SD
    beyond = max(robust_sd(np.array(levels)) ** 2 - float(np.median(explained)), 0.0)
    weight = SERVICE_SD_SPANS
    pooled = (weight * SERVICE_SD**2 + len(levels) * beyond) / (weight + len(levels))
    return max(float(np.sqrt(pooled)), LEAST_SD)


def _place_sd(ratios: Sequence[RatioSeries]) -> float:
    usual = np.array([series.usual_log for series in ratios if series.known])
    own = robust_sd(usual) ** 2 if usual.size else 0.0
    pooled = PLACE_SD_GAUGES * PLACE_SD**2 + usual.size * own
    return float(np.sqrt(pooled / (PLACE_SD_GAUGES + usual.size)))
