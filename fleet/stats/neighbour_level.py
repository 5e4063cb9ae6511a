"""How likely each spell is if the gauge reads at a certain level of its usual ratio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from fleet.stats.array import Floats, Ints

STEP = 0.02
"""Levels lie 2 % apart, in log ratio."""

LOWEST, HIGHEST = -3.4, 1.6
"""Levels reach from a thirtieth to five times the usual."""

FREEDOM = 4.0
"""Degrees of freedom of Student's law: rain is patchy, so some spells lie far out."""

SCALE_PER_SD = 0.91
"""Scale of that law for a robust standard deviation of 1: the quartile of the normal law over
that of Student's with 4 degrees, 0.6745 / 0.7407 [first principles]."""

RANGE = (-6.0, 2.0)
"""Log ratios are pulled in to this range."""

STRAY = 1e-3
"""Share of spells of a fit gauge that may lie anywhere in the range: gaps filled with zeros, a
storm on one gauge alone. It bounds what one spell can prove."""

SILENT_BELOW = -2.5
"""Log ratio under which a gauge counts as silent: a tip or two of dew, a twelfth of a spell."""

SILENT_SURE = 0.97
"""Share of the spells of a silent gauge that lie below that; the rest anywhere."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelTable:
    """Log-likelihoods of m spells: ``at``, shape (levels, m), and ``silent``, shape (m,).

    ``sums`` and ``silent_sums`` are their running sums with a 0 in front, so that the spells
    from i up to j cost ``sums[:, j] - sums[:, i]``.
    """

    at: Floats
    silent: Floats
    sums: Floats
    silent_sums: Floats

    @property
    def spells(self) -> int:
        """Give m."""
        return int(self.silent.size)


def level_index(level: Floats) -> Ints:
    """Give the row of a level, the nearest one, the outermost for levels beyond.

    Examples
    --------
    >>> level_index(np.array([-9.0, -3.4, 0.0, 0.02])).tolist()
    [0, 0, 170, 171]
    """
    clipped = np.clip(level, LOWEST, HIGHEST)
    return np.asarray(np.rint((clipped - LOWEST) / STEP), dtype=np.int64)


def tabulate_levels(value: Floats, sd: Floats, *, persistence: float) -> LevelTable:
    """Work out the likelihood of each spell under each level.

    Parameters
    ----------
    value : ndarray, shape (m,)
        Log ratio of each spell, 0 being the usual; NaN tells nothing.
    sd : ndarray, shape (m,)
        Its robust standard deviation.
    persistence : float
        So many spells in a row say as much as one; log-likelihoods are divided by it.

    Returns
    -------
    LevelTable
    """
    levels = LOWEST + STEP * np.arange(int(level_index(np.array(HIGHEST))) + 1)
    told = ~np.isnan(value)
    seen = np.clip(np.where(told, value, 0.0), *RANGE)
    width = RANGE[1] - RANGE[0]
    scale = SCALE_PER_SD * sd
    score = (seen - levels[:, None]) / scale
    at = np.log((1.0 - STRAY) * _student(score) / scale + STRAY / width)
    below = np.where(seen <= SILENT_BELOW, 1.0 / (SILENT_BELOW - RANGE[0]), 0.0)
    silent = np.log(SILENT_SURE * below + (1.0 - SILENT_SURE) / width)
    at, silent = np.where(told, at, 0.0) / persistence, np.where(told, silent, 0.0) / persistence
    return LevelTable(at, silent, _running(at), _running(silent))


def _student(score: Floats) -> Floats:
    front = gammaln((FREEDOM + 1.0) / 2.0) - gammaln(FREEDOM / 2.0)
    front -= 0.5 * np.log(FREEDOM * np.pi)
    return np.asarray(np.exp(front - (FREEDOM + 1.0) / 2.0 * np.log1p(score**2 / FREEDOM)))


def _running(logs: Floats) -> Floats:
    start = np.zeros((*logs.shape[:-1], 1))
    return np.concatenate([start, np.cumsum(logs, axis=-1)], axis=-1)
