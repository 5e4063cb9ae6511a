"""A gauge's ratio to its neighbours, spell by spell, against what it was when nothing ailed it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_course import SEASON_SD, fit_course, year_waves
from fleet.stats.neighbour_median import column_median, weighted_median
from fleet.stats.neighbour_spell import Spells
from fleet.stats.neighbour_weight import combine_ratios

RECORDED_SHARE = 0.02
"""A gauge with less of its neighbours' rain was silent: such a spell tells no usual ratio."""

LEAST_BASELINE = 8
"""With fewer spells outside the span judged, the whole record sets the usual ratio."""

LEAST_KNOWN = 5
"""With fewer spells in which the gauge recorded at all, its usual ratio is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class RatioSeries:
    """The log ratio of each spell to its neighbours, 0 being the gauge's usual.

    ``baseline`` marks the spells that set the usual ratio; ``known`` is False where there were
    too few, and 0 then means "as much as the neighbours". ``usual_log`` is the usual itself.
    ``weight``, shape (k,), is how much each neighbour counts. ``waves``, shape (m, 3), is the time
    of year of each spell and ``usual_covariance``, shape (3, 3), how well the usual and its course
    through the year are known. ``sound`` tells that the usual comes
    from other spans than the one judged, at whose ends nothing was found failing.
    """

    value: Floats
    baseline: Bools
    known: bool
    usual_log: float
    weight: Floats
    waves: Floats
    usual_covariance: Floats
    sound: bool = False

    def usual_variance(self, spells: Bools) -> float:
        """Give how uncertain the usual is, on average over some spells, in log ratio squared."""
        mean = self.waves[spells].mean(axis=0)
        return float(mean @ self.usual_covariance @ mean)


def centre_ratios(
    spells: Spells, judged: Bools, *, days_per_year: float, season_sd: float = SEASON_SD
) -> RatioSeries:
    """Combine the ratios to the neighbours into one, robustly, and set its usual value to 0.

    Parameters
    ----------
    spells : Spells
        m spells with their ratios to k neighbours.
    judged : ndarray of bool, shape (m,)
        Spells of the span that is judged; the usual is learned from the others.
    days_per_year : float
        Length of the yearly course, in steps of the record.
    season_sd : float
        Spread of that course between gauges.

    Returns
    -------
    RatioSeries

    Notes
    -----
    In the baseline the gauge's own known error is taken off first, so that the usual is that of a
    gauge without error, and the value of a judged spell tells its error. To each neighbour: log
    ratio less its median over the baseline. Over the neighbours: `combine_ratios`. Over the year:
    less `fit_course`.
    """
    baseline, known, sound = _baseline(spells, judged)
    waves = year_waves(spells.first, days_per_year)
    if not known:
        even = np.ones(len(spells.log_ratio))
        value = weighted_median(spells.log_ratio, even)
        weight = even / max(even.sum(), 1.0)
        return RatioSeries(value, baseline, False, 0.0, weight, waves, np.zeros((3, 3)))
    ratio = spells.log_ratio - np.where(judged, 0.0, np.nan_to_num(spells.level_log))
    usual = column_median(ratio[:, baseline].T)[0]
    told = ~np.isnan(usual)
    weight = np.zeros(len(usual))
    value, weight[told] = combine_ratios((ratio - usual[:, None])[told], baseline)
    years = float(np.ptp(spells.first[baseline])) / days_per_year
    size, covariance = fit_course(value, waves, baseline, season_sd=season_sd, years=years)
    return RatioSeries(
        value=value - waves @ size,
        baseline=baseline,
        known=True,
        usual_log=float(np.median(usual[told])),
        weight=weight,
        waves=waves,
        usual_covariance=covariance,
        sound=sound,
    )


def _baseline(spells: Spells, judged: Bools) -> tuple[Bools, bool, bool]:
    """Give the spells that set the usual, whether there are enough, and whether they are sound."""
    recorded = spells.own_mm > RECORDED_SHARE * spells.around_mm
    recorded &= ~np.isnan(spells.log_ratio).all(axis=0)
    before = recorded & ~judged
    sound = before & ~np.isnan(spells.level_log)
    for use in (sound, before):
        if use.sum() >= LEAST_BASELINE:
            return use, True, use is sound
    return recorded, bool(recorded.sum() >= LEAST_KNOWN), False
