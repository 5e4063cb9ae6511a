"""The integral of the worth on few days: a rule that knows where it is not sure.

P(u), the probability of being unfit u days after a service, is smooth for nearly every gauge, so
that 21 days, closer at the beginning, tell its integral; gauges for which they may not are told
apart and worked out by the day.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fleet.stats.array import Bools, Floats, Ints

NODES = 21
"""Days on which P is worked out; an odd number, so that every second one makes a coarser rule."""

GRADE = 1.5
"""The j-th of m days lies at horizon (j / m)^1.5: P rises fastest at the beginning."""

PARTS = 6
"""Chords that take the place of the cubic over the step in which P meets p."""

RELATIVE, RECORD_DAYS = 0.0005, 0.01
"""The rule and the coarser one may differ by this share of the worth, or this many record-days of
a gauge of ordinary importance, whichever is more; else the gauge is not sure. Half of the error
that is allowed (`tests/stats/test_worth_rule.py` measures it)."""

STEEP = 0.2
"""A rise of P, as far as p, by more than this from one day to the next is not sure either."""


def worth_days(horizon_days: int) -> Floats:
    """Give the days on which P is needed, rising from 0 to the horizon.

    Parameters
    ----------
    horizon_days : int
        At least 1; every day of a horizon shorter than the rule.
    """
    if horizon_days < NODES:
        return np.arange(horizon_days + 1, dtype=np.float64)
    return horizon_days * (np.arange(NODES) / (NODES - 1)) ** GRADE


@dataclass(frozen=True, slots=True, eq=False)
class Integral:
    """Integrals of n gauges, shape (n,), and whether the rule is sure of each."""

    days: Floats
    sure: Bools


def integrate_gain(unfit: Floats, unfit_after_service: Floats, *, days: Floats) -> Integral:
    """Give the integral of max(0, p - P(u)) over few days, and where it is not to be trusted.

    Parameters
    ----------
    unfit : ndarray, shape (n,)
        Probability p that the gauge is unfit now.
    unfit_after_service : ndarray, shape (n, g)
        P(u).
    days : ndarray, shape (g,)
        As `worth_days` gives them.

    Returns
    -------
    Integral

    Notes
    -----
    P is taken as the cubic in the root of u through the four days about a step, and a step's part
    kept between those of its ends. In the step where P meets p the integral is of chords of the
    cubic, cut off where they meet p. Compared with the same from every second day.
    Checked against: the trapezoid rule by the day (tests/stats/test_worth_rule.py).
    """
    after = np.ascontiguousarray(unfit_after_service.T)
    fine = _integral(unfit, after, days)
    if days.size < NODES:
        return Integral(fine, np.ones(unfit.size, dtype=bool))
    coarse = _integral(unfit, after[::2], days[::2])
    capped = np.minimum(after, unfit)
    steepest = np.abs(np.diff(capped, axis=0)).max(axis=0)
    close = np.abs(fine - coarse) <= np.maximum(RELATIVE * fine, RECORD_DAYS)
    return Integral(fine, close & (steepest <= STEEP))


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One step between two days: the days that its cubic goes through, and their weights.

    ``whole`` are those of its integral; ``chords`` hold the part of the step that each chord
    covers in days, and the weights of the cubic at its end.
    """

    days: float
    nodes: Ints
    whole: Floats
    chords: tuple[tuple[float, Floats], ...]


@lru_cache(maxsize=64)
def _steps(days: tuple[float, ...]) -> tuple[_Step, ...]:
    root = np.sqrt(np.array(days))
    return tuple(_step(root, place) for place in range(len(days) - 1))


def _step(root: Floats, place: int) -> _Step:
    first = min(max(place - 1, 0), max(root.size - 4, 0))
    nodes = np.arange(first, min(first + 4, root.size))
    points, weights = np.polynomial.legendre.leggauss(3)  # exact for a cubic in the root of u
    half = (root[place + 1] - root[place]) / 2.0
    places = root[place] + half * (points + 1.0)
    whole = sum(
        half * weight * 2.0 * at * _lagrange(root[nodes], at)
        for weight, at in zip(weights.tolist(), places.tolist(), strict=True)
    )
    ends = np.linspace(root[place], root[place + 1], PARTS + 1).tolist()
    return _Step(
        days=float(root[place + 1] ** 2 - root[place] ** 2),
        nodes=nodes,
        whole=np.asarray(whole),
        chords=tuple((b**2 - a**2, _lagrange(root[nodes], b)) for a, b in pairwise(ends)),
    )


def _lagrange(at: Floats, place: float) -> Floats:
    """Give the weights of the polynomial through the values at some places."""
    return np.array([np.prod((place - at[at != one]) / (one - at[at != one])) for one in at])


def _integral(unfit: Floats, after: Floats, days: Floats) -> Floats:
    """Add up the steps; ``after`` has shape (g, n)."""
    total = np.zeros(unfit.size)
    for place, step in enumerate(_steps(tuple(days.tolist()))):
        start, end = unfit - after[place], unfit - after[place + 1]
        least, most = np.minimum(start, end), np.maximum(start, end)
        whole = unfit * step.days - _weighed(after, step.nodes, step.whole)
        whole = np.clip(whole, step.days * least, step.days * most)
        total += np.where(least > 0.0, whole, 0.0)
        cut = np.flatnonzero((least <= 0.0) & (most > 0.0))
        if cut.size:
            total[cut] += _cut_step(unfit[cut], after[:, cut], place, step)
    return total


def _cut_step(unfit: Floats, after: Floats, place: int, step: _Step) -> Floats:
    """Add up a step in which P meets p, by chords of its cubic."""
    low, high = (
        np.minimum(after[place], after[place + 1]),
        np.maximum(after[place], after[place + 1]),
    )
    total, gain = np.zeros(unfit.size), unfit - after[place]
    for days, weights in step.chords:
        other = unfit - np.clip(_weighed(after, step.nodes, weights), low, high)
        total += days * _mean_gain(gain, other)
        gain = other
    return total


def _weighed(after: Floats, nodes: Ints, weights: Floats) -> Floats:
    """Add up rows; one after the other, so that a gauge's sum is the same in any company."""
    total = np.asarray(weights[0] * after[nodes[0]])
    for node, weight in zip(nodes[1:], weights[1:], strict=True):
        total = total + weight * after[node]
    return total


def _mean_gain(one: Floats, other: Floats) -> Floats:
    """Give the mean of max(0, g) where g runs straight from one value to another."""
    above, there = np.maximum(one, 0.0), np.maximum(other, 0.0)
    crosses = (one > 0.0) != (other > 0.0)
    cut = np.maximum(above, there) / np.maximum(np.abs(one - other), 1e-300)
    return np.asarray(0.5 * (above + there) * np.where(crosses, cut, 1.0))
