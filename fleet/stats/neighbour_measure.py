"""The rain record since a service, read as a measurement of the gauge's level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_median import huber_mean
from fleet.stats.neighbour_noise import RatioNoise
from fleet.stats.neighbour_ratio import RatioSeries
from fleet.stats.neighbour_record import RainRecord
from fleet.stats.neighbour_spell import Spells

MOST_GROUPS = 24
"""Spells in a row are joined until so few are left: a level needs no finer grain."""

NO_LEVEL = (-0.7, 0.55)
"""Log ratios beyond a half and one and three quarters are a gauge that does not count, not a level
(the alarms weigh those)."""

PULLED_SD = 2.5
"""A spell farther than this many of its standard deviations from the middle of the span is pulled
in to there: a storm on one gauge alone."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelReading:
    """What the rain says of a gauge's level, in percent of what it should read.

    ``day``, ``percent`` and ``sd_percent``, shape (m,): column of the record in the middle of each
    group of spells, its error, and how far chance may have put it. ``shared_percent2``, shape
    (m, m), is the covariance of what they share: the usual ratio, its course through the year and
    the errors of the neighbours are not known better. ``spells`` are behind it.
    """

    day: Floats
    percent: Floats
    sd_percent: Floats
    shared_percent2: Floats
    spells: int

    @property
    def mean_percent(self) -> float:
        """Give the mean error over the span, weighted by what each group says."""
        weight = self.sd_percent**-2
        return float(np.sum(weight * self.percent) / np.sum(weight))

    @property
    def mean_sd_percent(self) -> float:
        """Give the standard error of that mean."""
        return float(np.sqrt(1.0 / np.sum(self.sd_percent**-2) + self.common_sd_percent**2))

    @property
    def common_sd_percent(self) -> float:
        """Give the part of that error which more rain at the same time cannot mend."""
        weight = self.sd_percent**-2
        weight = weight / weight.sum()
        return float(np.sqrt(weight @ self.shared_percent2 @ weight))


def read_level(
    spells: Spells,
    ratio: RatioSeries,
    told: Bools,
    *,
    sd: Floats,
    noise: RatioNoise,
    others: Floats,
) -> LevelReading | None:
    """Read the level of a gauge from its ratio to its neighbours.

    Parameters
    ----------
    spells : Spells
        m of them.
    ratio : RatioSeries
        Centred on spells outside the span that is read, so that its values are log errors.
    told : ndarray of bool, shape (m,)
        Spells of the span.
    sd : ndarray, shape (m,)
        Scatter of each spell.
    noise : RatioNoise
        Of the fleet.
    others : ndarray, shape (k,)
        Standard deviation of the log errors that the neighbours are believed to have.

    Returns
    -------
    LevelReading or None
        None where the usual ratio is not known from sound spans, or no spell tells a level.

    Notes
    -----
    error in percent = 100 (exp(log ratio - variance / 2) - 1), the mean of a log-normal law being
    taken off. The variance of a spell is multiplied by the persistence; common to all are the
    variance of the usual ratio at that time of year, that of the level at which different services
    leave the ratio, and that of the weighted neighbours.
    Checked against: planted levels in simulated rain (tests/stats/test_neighbour_measure.py).
    """
    if not ratio.sound:
        return None
    use = told & (ratio.value > NO_LEVEL[0]) & (ratio.value < NO_LEVEL[1])
    if not use.any():
        return None
    middle = huber_mean(ratio.value[use])
    reach = PULLED_SD * sd[use]
    value = np.clip(ratio.value[use], middle - reach, middle + reach)
    variance = sd[use] ** 2 * noise.persistence
    day = (spells.first[use] + spells.last[use]) / 2.0
    joined, share = _joined(day, value, variance)
    waves = share @ ratio.waves[use]
    shared = noise.persistence * waves @ ratio.usual_covariance @ waves.T
    shared += noise.service_sd**2 + float(np.sum((ratio.weight * others) ** 2))
    return LevelReading(*joined, shared_percent2=1e4 * shared, spells=day.size)


def neighbour_sds(record: RainRecord, others: list[int]) -> Floats:
    """Give how far the neighbours' errors may lie from what is known, in log; 0 where not told."""
    return np.zeros(len(others)) if record.level_sd is None else record.level_sd[others]


def _joined(
    day: Floats, value: Floats, variance: Floats
) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """Join spells in a row to at most `MOST_GROUPS`, each by its weight.

    Gives day, error and standard deviation of the groups, and each spell's share in them.
    """
    groups = np.linspace(0, day.size, min(MOST_GROUPS, day.size), endpoint=False).astype(np.int64)
    member = np.searchsorted(np.unique(groups), np.arange(day.size), side="right") - 1
    weight = np.where(member == np.arange(member[-1] + 1)[:, None], 1.0 / variance, 0.0)
    total = weight.sum(axis=1)
    share = weight / total[:, None]
    level = np.exp(share @ value - 0.5 / total)
    return (share @ day, 100.0 * (level - 1.0), 100.0 / np.sqrt(total)), share
