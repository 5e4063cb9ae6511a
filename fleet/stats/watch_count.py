"""Watches of many units counted into events and exposure, for a Gamma-Poisson hazard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from fleet.domain.state import GaugeState
from fleet.domain.watch import Sign, Watch
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.clock import Clock, exposure

_SETTLE = 5
"""Rounds in which counts and rates settle to less than a hundredth."""


@dataclass(frozen=True, slots=True, eq=False)
class Watches:
    """Watches flat over all units, shape (k,); days as ordinals, ``unit`` counts from 0."""

    new_day: Floats
    well_day: Floats
    seen_day: Floats
    struck: Bools
    begun: Bools
    called: Bools
    unit: Ints
    units: int


@dataclass(frozen=True, slots=True, eq=False)
class Counts:
    """Events and exposure of each unit, shape (units,), under one clock.

    ``log_factor`` is the part of the likelihood that depends on the clock and not on any rate.
    """

    events: Floats
    exposure: Floats
    log_factor: float


def gather_watches(
    states: Sequence[GaugeState], pick: Callable[[GaugeState], tuple[Watch, ...]]
) -> Watches:
    """Lay the watches of all gauges end to end.

    Parameters
    ----------
    states : sequence of GaugeState
        One unit each.
    pick : callable
        Gives a state's watches: of blockage or of the switch.

    Returns
    -------
    Watches
        In the order of the states, without those of no length.
    """
    picked = [[w for w in pick(state) if w.well_on < w.seen_on] for state in states]
    seen = list(chain.from_iterable(picked))
    rows = [(w.new_on.toordinal(), w.well_on.toordinal(), w.seen_on.toordinal()) for w in seen]
    days = np.array(rows, dtype=np.float64).reshape(len(seen), 3)
    sign = np.fromiter((watch.sign for watch in seen), np.int64, len(seen))
    return Watches(
        new_day=days[:, 0],
        well_day=days[:, 1],
        seen_day=days[:, 2],
        struck=sign == Sign.STRUCK,
        begun=sign == Sign.BEGUN,
        called=np.fromiter((watch.called for watch in seen), np.bool_, len(seen)),
        unit=np.repeat(np.arange(len(states)), np.array([len(p) for p in picked], dtype=np.int64)),
        units=len(states),
    )


def count_watches(watches: Watches, clock: Clock, rates: Floats | None = None) -> Counts:
    """Count watches into what the Gamma law of each unit's rate adds up.

    Parameters
    ----------
    watches : Watches
        k of n units.
    clock : Clock
        How their time counts.
    rates : ndarray, shape (n,), optional
        About the rate of each unit; None is so small that what struck did so half way.

    Returns
    -------
    Counts

    Notes
    -----
    With x = rate times exposure E, what a look found has the probability
    well exp(-kappa x); begun exp(-x) - exp(-kappa x); struck 1 - exp(-x): a beginning comes
    kappa times as often and always before. For a law that stays Gamma, one that struck counts as
    an event after the part 1/x - 1/(exp(x) - 1) of E (a half where x is small), which has the
    same slope in the rate; one begun after 1 + 1/x - (kappa - 1)/(exp((kappa - 1) x) - 1) of it
    (first principles). With kappa = 1 a beginning counts as well.
    Checked against: the probabilities themselves (tests/stats/test_watch_count.py).
    """
    span = exposure(clock, watches.new_day, watches.well_day, watches.seen_day)
    begun = watches.begun & (clock.begun > 1.0)
    event = watches.struck | begun
    rate = np.zeros(watches.units) if rates is None else rates
    x = rate[watches.unit] * span
    part = np.full(span.size, clock.begun)
    part[begun] = 1.0 + _part(x[begun], clock.begun - 1.0)
    part[watches.struck] = _part(x[watches.struck], 1.0)
    log_factor = float(np.sum(np.log(np.maximum(span[event], 1e-12))))
    if begun.any():
        log_factor += int(begun.sum()) * float(np.log(clock.begun - 1.0))
    return Counts(
        events=_by_unit(watches, event.astype(np.float64)),
        exposure=_by_unit(watches, part * span),
        log_factor=log_factor,
    )


def settle_counts(watches: Watches, clock: Clock, *, shape: Floats, scale_years: Floats) -> Counts:
    """Count watches at the rates that the counts themselves tell.

    Parameters
    ----------
    watches : Watches
        k of n units.
    clock : Clock
        How their time counts.
    shape, scale_years : ndarray, shape (n,)
        Gamma law of each unit's rate before its own watches.

    Returns
    -------
    Counts
    """
    counts = count_watches(watches, clock)
    for _ in range(_SETTLE):
        rates = (shape + counts.events) / (scale_years + counts.exposure)
        counts = count_watches(watches, clock, rates)
    return counts


def _part(x: Floats, times: float) -> Floats:
    """Give 1/x - c/(exp(c x) - 1): the part of a watch until what came c times as often."""
    safe = np.maximum(x, 1e-6)
    return np.asarray(1.0 / safe - times / np.expm1(np.minimum(times * safe, 500.0)))


def _by_unit(watches: Watches, values: Floats) -> Floats:
    return np.bincount(watches.unit, values, watches.units).astype(np.float64)
