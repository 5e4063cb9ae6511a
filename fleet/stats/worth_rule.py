"""The integral of the worth on few days: a rule that knows where it is not sure.

P(u), the probability of being unfit u days after a service, is smooth for nearly every gauge, so
that few days, closer at the beginning, tell its integral; a gauge for which they may not is told
apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fleet.stats.array import Bools, Floats, Ints

NODES = (21, 41)
"""Days on which P is worked out: first the fewer, and the more where those are not sure. Odd, so
that every second one makes a coarser rule."""

EARLY = 0.2
"""The j-th of m steps ends at horizon (1 + EARLY) t^3 / (t^2 + EARLY), t = j / m: the first of a
year after a quarter of a day, for P may rise at once; later they are some 20 days apart."""

PARTS = 6
"""Chords that take the place of the cubic over the step in which P meets p."""

RELATIVE, RECORD_DAYS = 0.0005, 0.01
"""The rule and the coarser one may differ by this share of the worth, or this many record-days of
a gauge of ordinary importance, whichever is more; else the gauge is not sure. The finer of the two
errs by much less (`tests/stats/test_worth_rule.py` measures it)."""

STEEP = 0.2
"""A rise of P, as far as p, by more than this from one day to the next is not sure either."""


def worth_days(horizon_days: int, nodes: int = NODES[0]) -> Floats:
    """Give the days on which P is needed, rising from 0 to the horizon.

    Parameters
    ----------
    horizon_days : int
        At least 1; of one shorter than the rule as many steps as it has days.
    nodes : int
        One of `NODES`.
    """
    steps = min(horizon_days, nodes - 1)
    return _day(np.arange(steps + 1) / steps, horizon_days)


@dataclass(frozen=True, slots=True, eq=False)
class Integral:
    """Integrals of n gauges, shape (n,), and whether the rule is sure of each."""

    days: Floats
    sure: Bools


def integrate_gain(unfit: Floats, unfit_after_service: Floats, *, horizon_days: int) -> Integral:
    """Give the integral of max(0, p - P(u)) over few days, and where it is not to be trusted.

    Parameters
    ----------
    unfit : ndarray, shape (n,)
        Probability p that the gauge is unfit now.
    unfit_after_service : ndarray, shape (n, g)
        P(u) on the days that `worth_days` gives, for any of the rules.
    horizon_days : int
        At least 1.

    Returns
    -------
    Integral

    Notes
    -----
    P is taken as the cubic in t through the four days about a step, and a step's part
    kept between those of its ends. In the step where P meets p the integral is of chords of the
    cubic, cut off where they meet p. Compared with the same from every second day.
    Checked against: the trapezoid rule by the day (tests/stats/test_worth_rule.py).
    """
    after = np.ascontiguousarray(unfit_after_service.T)
    fine = _integral(unfit, after, horizon_days)
    if len(after) not in NODES:
        return Integral(fine, np.ones(unfit.size, dtype=bool))
    coarse = _integral(unfit, after[::2], horizon_days)
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


def _day(at: Floats, horizon_days: int) -> Floats:
    """Give u at t, from 0 to 1."""
    if horizon_days < NODES[0]:
        return horizon_days * at
    return np.asarray(horizon_days * (1.0 + EARLY) * at**3 / (at**2 + EARLY))


def _days_each(at: Floats, horizon_days: int) -> Floats:
    """Give the slope of u at t."""
    if horizon_days < NODES[0]:
        return np.full(at.size, float(horizon_days))
    slope = at**2 * (at**2 + 3.0 * EARLY) / (at**2 + EARLY) ** 2
    return np.asarray(horizon_days * (1.0 + EARLY) * slope)


@lru_cache(maxsize=64)
def _steps(size: int, horizon_days: int) -> tuple[_Step, ...]:
    return tuple(_step(place, size, horizon_days) for place in range(size - 1))


def _step(place: int, size: int, horizon_days: int) -> _Step:
    all_at = np.arange(size) / (size - 1)
    first = min(max(place - 1, 0), max(size - 4, 0))
    nodes = np.arange(first, min(first + 4, size))
    start, end = all_at[place], all_at[place + 1]
    points, weights = np.polynomial.legendre.leggauss(6)
    half = (end - start) / 2.0
    at = start + half * (points + 1.0)
    covered = half * weights * _days_each(at, horizon_days)
    each = [_lagrange(all_at[nodes], one) for one in at.tolist()]
    ends = np.linspace(start, end, PARTS + 1)
    days = np.diff(_day(ends, horizon_days)).tolist()
    cubics = [_lagrange(all_at[nodes], one) for one in ends[1:].tolist()]
    return _Step(
        days=float(np.sum(days)),
        nodes=nodes,
        whole=np.sum([w * one for w, one in zip(covered, each, strict=True)], axis=0),
        chords=tuple(zip(days, cubics, strict=True)),
    )


def _lagrange(at: Floats, place: float) -> Floats:
    """Give the weights of the polynomial through the values at some places."""
    return np.array([np.prod((place - at[at != one]) / (one - at[at != one])) for one in at])


def _integral(unfit: Floats, after: Floats, horizon_days: int) -> Floats:
    """Add up the steps; ``after`` has shape (g, n)."""
    total = np.zeros(unfit.size)
    for place, step in enumerate(_steps(len(after), horizon_days)):
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
