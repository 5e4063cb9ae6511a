"""Wet spells: days gathered until the neighbours have had rain enough for a ratio."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.neighbour_median import column_median

SPELL_MM = 10.0
"""Rain that makes a spell: under it one 0.2 mm tip and a reading of 0.1 mm make 3 % (common
practice: comparisons with a check gauge under 10 mm are ignored)."""

SPELL_MOST_MM = 50.0
"""A spell that does not end is cut here, so that months of rain do not become one figure."""

WET_DAY_MM = 1.0
"""A day with less at the neighbours is dry: it ends a spell that has its rain."""

LEAST_NEIGHBOURS = 3
"""With fewer totals on a day nobody can tell which of them is wrong; the day is left out."""

LEAST_COVER = 0.7
"""Share of a spell's rain for whose days a neighbour must have totals to be compared over it."""


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """The m wet spells of one gauge, in order of time.

    ``first`` and ``last`` are days; ``span`` counts the services before the spell. ``around_mm``
    is the sum of the neighbours' median, ``own_mm`` the gauge's sum over the same days; of the
    ``wet_days`` at the neighbours the gauge had nothing on ``silent_days``. ``log_ratio``, shape
    (k, m), is the log of the gauge's sum over each neighbour's, one tip added to both, less what
    the neighbour's known error adds; NaN where that neighbour lacks too many days. ``level_log``
    is the log of 1 + the gauge's own known error in the middle of the spell, NaN where the gauge
    was found failing afterwards.
    """

    first: Ints
    last: Ints
    span: Ints
    around_mm: Floats
    own_mm: Floats
    wet_days: Ints
    silent_days: Ints
    log_ratio: Floats
    level_log: Floats

    @property
    def count(self) -> int:
        """Give the number of spells."""
        return int(self.first.size)


def neighbour_rain(total_mm: Floats, neighbours: list[Ints]) -> Floats:
    """Give each gauge's `middle_rain`.

    Parameters
    ----------
    total_mm : ndarray, shape (n, days)
    neighbours : list of ndarray of int
        n rows.

    Returns
    -------
    ndarray, shape (n, days)
    """
    around = np.full_like(total_mm, np.nan)
    for gauge, others in enumerate(neighbours):
        around[gauge] = middle_rain(total_mm[gauge], total_mm[others])
    return around


def middle_rain(own_mm: Floats, others_mm: Floats) -> Floats:
    """Give what the middle one of a gauge's neighbours recorded on each day.

    Parameters
    ----------
    own_mm : ndarray, shape (days,)
    others_mm : ndarray, shape (k, days)
        NaN is missing, in both.

    Returns
    -------
    ndarray, shape (days,)
        NaN on days with fewer than three of the neighbours' totals, or without the gauge's own.
    """
    if len(others_mm) < LEAST_NEIGHBOURS:
        return np.full_like(own_mm, np.nan)
    median, count = column_median(others_mm)
    return np.where((count >= LEAST_NEIGHBOURS) & ~np.isnan(own_mm), median, np.nan)


def number_spells(
    around_mm: Floats, serviced: Bools, *, calm_mm: float = WET_DAY_MM
) -> NDArray[np.int32]:
    """Give each day the number of its spell.

    Parameters
    ----------
    around_mm : ndarray, shape (n, days)
        As `neighbour_rain` gives it; days without a figure pass as dry.
    serviced : ndarray of bool, shape (n, days)
        Days of service; they belong to no spell, and no spell reaches across them.
    calm_mm : float, default 1
        A day with less rain ends a spell that has its 10 mm.

    Returns
    -------
    ndarray of int, shape (n, days)
        From 0 on; -1 for days of service and for days after the last whole spell of a span.
    """
    rain = np.ascontiguousarray(np.nan_to_num(around_mm).T)
    breaks = np.ascontiguousarray(serviced.T)
    days, gauges = rain.shape
    number = np.zeros((days, gauges), dtype=np.int32)
    gathered, current = np.zeros(gauges), np.zeros(gauges, dtype=np.int32)
    whole = np.zeros((days, gauges), dtype=bool)
    for day in range(days):
        gathered = np.where(breaks[day], 0.0, gathered + rain[day])
        number[day] = np.where(breaks[day], -1, current)
        enough = gathered >= SPELL_MM
        whole[day] = enough
        ends = (enough & (rain[day] < calm_mm)) | (gathered >= SPELL_MOST_MM)
        current += ends | breaks[day]
        gathered = np.where(ends, 0.0, gathered)
    return np.ascontiguousarray(_drop_unfinished(number, whole).T)


def gather_spells(
    own_mm: Floats,
    others_mm: Floats,
    around_mm: Floats,
    *,
    number: NDArray[np.int32],
    serviced: Bools,
    tip_mm: float,
) -> Spells:
    """Add up one gauge's spells.

    Parameters
    ----------
    own_mm : ndarray, shape (days,)
        The gauge's totals.
    others_mm : ndarray, shape (k, days)
        Its neighbours'.
    around_mm, number, serviced : ndarray, shape (days,)
        The gauge's rows of `neighbour_rain`, `number_spells`, and its days of service.
    tip_mm : float
        Rain of one tip of the gauge, in mm.

    Returns
    -------
    Spells
    """
    days = np.flatnonzero(~np.isnan(around_mm) & (number >= 0))
    cuts = np.flatnonzero(np.diff(number[days], prepend=-1))
    first = days[cuts]
    around = around_mm[days].astype(np.float64)
    own = own_mm[days].astype(np.float64)
    wet = around >= WET_DAY_MM
    last = days[np.append(cuts[1:], days.size)[: cuts.size] - 1]
    return Spells(
        first=first,
        last=last,
        span=np.cumsum(serviced, dtype=np.int64)[first],
        around_mm=np.add.reduceat(around, cuts),
        own_mm=np.add.reduceat(own, cuts),
        wet_days=np.add.reduceat(wet.astype(np.int64), cuts),
        silent_days=np.add.reduceat((wet & (own == 0.0)).astype(np.int64), cuts),
        log_ratio=_log_ratios(own, others_mm[:, days], around, cuts=cuts, tip_mm=tip_mm),
        level_log=np.zeros(first.size),
    )


def correct_levels(spells: Spells, level_log: Floats) -> Spells:
    """Take known errors into account.

    Parameters
    ----------
    spells : Spells
        Of one gauge against k neighbours.
    level_log : ndarray, shape (1 + k, days)
        Log of 1 + known error on each day, of the gauge and then of its neighbours.

    Returns
    -------
    Spells
        The neighbours' errors in the middle of each spell taken out of the ratios, the gauge's
        own noted.
    """
    middle = level_log[:, (spells.first + spells.last) // 2].astype(np.float64)
    others = np.nan_to_num(middle[1:])
    return replace(spells, log_ratio=spells.log_ratio + others, level_log=middle[0])


def _log_ratios(
    own: Floats, others: Floats, around: Floats, *, cuts: Ints, tip_mm: float
) -> Floats:
    """Give the log ratio to each neighbour over the days that it has, shape (k, m)."""
    told = ~np.isnan(others)
    theirs = np.add.reduceat(np.where(told, others, 0.0), cuts, axis=1, dtype=np.float64)
    ours = np.add.reduceat(np.where(told, own, 0.0), cuts, axis=1)
    cover = np.add.reduceat(np.where(told, around, 0.0), cuts, axis=1)
    enough = cover >= LEAST_COVER * np.add.reduceat(around, cuts)
    return np.where(enough, np.log((ours + tip_mm) / (theirs + tip_mm)), np.nan)


def _drop_unfinished(number: NDArray[np.int32], enough: Bools) -> NDArray[np.int32]:
    """Put -1 for the days of spells that end before they have their rain, shape (days, n)."""
    days = len(number)
    ends = np.ones_like(enough)
    ends[:-1] = number[1:] != number[:-1]
    day = np.arange(days)[:, None]
    last = np.minimum.accumulate(np.where(ends, day, days)[::-1], axis=0)[::-1]
    return np.where(np.take_along_axis(enough, last, axis=0), number, -1)
