"""Gauges whose day is one off: found against the neighbours' days, and set right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.stats.array import Floats, Ints
from fleet.stats.neighbour_choice import row_correlations
from fleet.stats.neighbour_median import column_median

LAGS = (-1, 0, 1)
"""Days by which a record may be late; 1: the rain of a day stands under the next."""

LOOKED_AT = 11
"""Nearest gauges whose median tells on which day it rained."""

CHANGE_COST = 25.0
"""What a change of lag must gain in log-likelihood. One wet day gains at most 4."""

MOST_MISFIT = 4.0
"""Log-likelihood that one day can cost: a single storm proves nothing."""

LEAST_GAIN = 0.15
"""By how much the correlation over a shifted span must be better than without the shift."""

LEAST_CORRELATION = 0.3
"""What the correlation over a shifted span must reach at its lag."""

LEAST_SQUARE = 0.01
"""Mean square misfit of log(1 + mm) that is assumed at least: a tenth of the rain."""

_CHUNK = 200
"""Gauges worked on at a time, to bound the memory."""


@dataclass(frozen=True, slots=True)
class DayShift:
    """A span of days of a gauge's own record that stand ``days_late`` days late, ends included."""

    gauge: int
    first: int
    last: int
    days_late: int


def find_shifts(total_mm: Floats, nearest: list[Ints]) -> list[DayShift]:
    """Find the spans in which a gauge's days are one off.

    Parameters
    ----------
    total_mm : ndarray, shape (n, days)
        Daily totals; NaN is missing.
    nearest : list of ndarray of int
        n rows of other gauges, nearest first.

    Returns
    -------
    list of DayShift
        In order of gauge and day. A gauge with fewer than three others nearby has none.

    Notes
    -----
    Each day of the gauge is held against the median of its nearest gauges' log(1 + mm) on that
    day, the day before and the day after; the most likely sequence of lags is found (Viterbi),
    a change of lag costing more than six storms can gain. A span is told only where its lag
    raises the correlation by 0.15 at least, and to 0.3 at least: where gauges have little in
    common nothing is told.
    """
    logs = np.log1p(total_mm)
    shifts: list[DayShift] = []
    for start in range(0, len(logs), _CHUNK):
        rows = range(start, min(start + _CHUNK, len(logs)))
        around = np.stack([_around(logs, nearest[gauge]) for gauge in rows])
        lags = _most_likely(_day_scores(logs[rows.start : rows.stop], around))
        for gauge, lag, other in zip(rows, lags, around, strict=True):
            shifts += _proven(gauge, logs[gauge], other, lag)
    return shifts


def set_right(total_mm: Floats, shifts: list[DayShift]) -> Floats:
    """Give the totals with each shifted span moved to the days of its rain.

    Parameters
    ----------
    total_mm : ndarray, shape (n, days)
    shifts : list of DayShift

    Returns
    -------
    ndarray, shape (n, days)
        A copy. Where a span moves away from its neighbour a day is missing (NaN), where two
        would lie on the same day it is missing too.
    """
    moved = total_mm.copy()
    days = total_mm.shape[1]
    for shift in shifts:
        moved[shift.gauge, shift.first : shift.last + 1] = np.nan
    for shift in shifts:
        own = np.arange(shift.first, shift.last + 1)
        own = own[(own - shift.days_late >= 0) & (own - shift.days_late < days)]
        there = own - shift.days_late
        taken = ~np.isnan(moved[shift.gauge, there])
        moved[shift.gauge, there] = np.where(taken, np.nan, total_mm[shift.gauge, own])
    return moved


def _around(logs: Floats, nearest: Ints) -> Floats:
    if len(nearest) < 3:
        return np.full(logs.shape[1], np.nan, dtype=logs.dtype)
    return column_median(logs[nearest[:LOOKED_AT]])[0]


def _day_scores(logs: Floats, around: Floats) -> Floats:
    """Give the log-likelihood of each day under each lag, shape (days, n, lags)."""
    misfits = np.stack([logs - _late(around, lag) for lag in LAGS], axis=-1)
    spread = np.sqrt(_typical_square(misfits).min(axis=-1))
    worst = np.minimum((misfits / spread[:, None, None]) ** 2 / 2.0, MOST_MISFIT)
    return np.asarray(-np.nan_to_num(worst).transpose(1, 0, 2))


def _typical_square(misfits: Floats) -> Floats:
    """Give the mean square of each gauge's misfits under each lag, gross ones pulled in."""
    squares = np.minimum(misfits**2, 1.0)
    told = ~np.isnan(squares)
    sums = np.sum(squares, axis=1, where=told)
    return np.asarray(np.maximum(sums / np.maximum(told.sum(axis=1), 1), LEAST_SQUARE))


def _late(around: Floats, lag: int) -> Floats:
    """Give what a record that is `lag` days late would show."""
    moved = np.full_like(around, np.nan)
    days = around.shape[1]
    moved[:, max(lag, 0) : days + min(lag, 0)] = around[:, max(-lag, 0) : days - max(lag, 0)]
    return moved


def _most_likely(scores: Floats) -> NDArray[np.int8]:
    """Give the most likely lag of each day, shape (n, days), starting from none."""
    days, gauges, lags = scores.shape
    cost = CHANGE_COST * (1.0 - np.eye(lags))
    best = np.tile(-CHANGE_COST * np.abs(np.array(LAGS, dtype=np.float64)), (gauges, 1))
    came_from = np.zeros((days, gauges, lags), dtype=np.int8)
    for day in range(days):
        steps = best[:, :, None] - cost
        came_from[day] = np.argmax(steps, axis=1)
        best = np.max(steps, axis=1) + scores[day]
    state = np.argmax(best, axis=1)
    path = np.empty((gauges, days), dtype=np.int8)
    for day in range(days - 1, -1, -1):
        path[:, day] = np.array(LAGS, dtype=np.int8)[state]
        state = came_from[day, np.arange(gauges), state]
    return path


def _proven(gauge: int, logs: Floats, around: Floats, lags: NDArray[np.int8]) -> list[DayShift]:
    """Keep the spans whose lag is plainly better than none."""
    edges = np.flatnonzero(np.diff(lags)) + 1
    starts, ends = [0, *edges.tolist()], [*edges.tolist(), len(lags)]
    return [
        DayShift(gauge, first, end - 1, int(lags[first]))
        for first, end in zip(starts, ends, strict=True)
        if lags[first] != 0 and _better(logs, around, slice(first, end), int(lags[first]))
    ]


def _better(logs: Floats, around: Floats, span: slice, lag: int) -> bool:
    shown = np.concatenate([_late(around[None, :], lag), around[None, :]])[:, span]
    shifted, plain = row_correlations(logs[span], shown)
    return bool(shifted >= LEAST_CORRELATION and shifted - np.nan_to_num(plain) >= LEAST_GAIN)
