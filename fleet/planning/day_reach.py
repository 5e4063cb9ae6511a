"""How much a day can still bring at most: bounds that cut the search for its best visits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fleet.planning.day_kind import DayKind

Gains = NDArray[np.float64]

STEPS = 100
"""Steps into which the time of a day is cut; fewer where there are very many visits."""

MOST_CELLS = 25_000_000
"""Visits x visits x steps that are looked at once."""


def promising(kind: DayKind, gains: Gains, per_min: float, least: float) -> NDArray[np.int64]:
    """Find the visits that can be in a day which brings more than ``least``.

    Parameters
    ----------
    kind : DayKind
        Limits, places and windows.
    gains : ndarray, shape (visits,)
        What each visit brings.
    per_min : float
        What a minute of driving costs.
    least : float
        What the day has to bring.

    Returns
    -------
    ndarray of int
        Numbers of visits.

    Notes
    -----
    A visit with its own drive from the start and to the end leaves so much time for work
    elsewhere; and each visit takes at least its work and half of its two shortest legs. Filled
    with the visits that bring most for their time, taken in part, either gives a bound.
    """
    alone = kind.out_min + kind.service_min + kind.home_min
    nodes = np.flatnonzero((gains > 0.0) & (kind.last_min >= 0) & (alone <= kind.usable_min))
    if nodes.size == 0:
        return nodes
    own, service = gains[nodes], kind.service_min[nodes].astype(np.float64)
    legs = kind.out_min[nodes] + kind.home_min[nodes]
    left = kind.usable_min - service - legs
    by_work = own - per_min * legs + _filled(own, service, left)
    share = service + _half_legs(kind, nodes)
    by_legs = own + _filled(own, share, kind.usable_min - share)
    return nodes[np.minimum(by_work, by_legs) > least]


def _half_legs(kind: DayKind, nodes: NDArray[np.int64]) -> Gains:
    legs = kind.drive_min[np.ix_(nodes, nodes)].astype(np.float64)
    np.fill_diagonal(legs, np.inf)
    into = np.minimum(legs.min(axis=0, initial=np.inf), kind.out_min[nodes])
    onward = np.minimum(legs.min(axis=1, initial=np.inf), kind.home_min[nodes])
    half: Gains = (into + onward) / 2.0
    return half


def _filled(gains: Gains, time_min: Gains, left_min: Gains) -> Gains:
    """Give what fills the time left with the best visits for their time, taken in part."""
    time_min = np.maximum(time_min, 1e-9)
    order = np.argsort(-gains / time_min, kind="stable")
    times = np.concatenate([[0.0], np.cumsum(time_min[order])])
    worths = np.concatenate([[0.0], np.cumsum(gains[order])])
    filled: Gains = np.interp(np.maximum(left_min, 0.0), times, worths)
    return filled


class Completion:
    """The most that can follow each visit in the time that is left.

    Visits may come again and windows are passed over, so that it is never too little.
    """

    def __init__(
        self, kind: DayKind, nodes: NDArray[np.int64], gains: Gains, per_min: float
    ) -> None:
        drive = kind.drive_min[np.ix_(nodes, nodes)]
        spent = drive + kind.service_min[nodes][None, :]
        self._step = _step(kind, spent)
        steps = kind.usable_min // max(1, self._step) + 1
        self._most = np.full((steps, nodes.size), -np.inf)
        if self._step == 0:
            self._step, self._most = 1, np.full((1, nodes.size), np.inf)
            return
        onward = gains[nodes][None, :] - per_min * drive
        np.fill_diagonal(onward, -np.inf)
        home = kind.home_min[nodes]
        home_gain: Gains = -per_min * home.astype(np.float64)
        self._fill(spent // self._step, onward, home // self._step, home_gain)

    def most(self, node: NDArray[np.int64], left_min: NDArray[np.int64]) -> Gains:
        """Give the most that follows visits with so much time left; -inf beyond the limit."""
        steps = np.minimum(np.maximum(left_min, 0) // self._step, len(self._most) - 1)
        return np.where(left_min >= 0, self._most[steps, node], -np.inf)

    def _fill(
        self,
        spent: NDArray[np.int64],
        onward: Gains,
        home_steps: NDArray[np.int64],
        home_gain: Gains,
    ) -> None:
        column = np.arange(spent.shape[0])[None, :]
        for left in range(len(self._most)):
            back = left - spent
            later = np.where(back >= 0, self._most[np.maximum(back, 0), column] + onward, -np.inf)
            ends = np.where(home_steps <= left, home_gain, -np.inf)
            self._most[left] = np.maximum(later.max(axis=1, initial=-np.inf), ends)


def _step(kind: DayKind, spent: NDArray[np.int64]) -> int:
    """Give a step that no move falls below; 0 where a move takes no time and nothing is known."""
    size = len(spent)
    between = spent[~np.eye(size, dtype=np.bool_)]
    steps = min(STEPS, max(10, MOST_CELLS // max(1, size * size)))
    wanted = -(-kind.usable_min // steps)
    return int(min(wanted, between.min(initial=wanted)))
