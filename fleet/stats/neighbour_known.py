"""The errors of gauges on every day, as far as their tests tell: a line from test to test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fleet.domain.check import phase_error
from fleet.domain.history import CheckRecord, PhaseRuns
from fleet.stats.array import Floats
from fleet.stats.neighbour_median import robust_sd
from fleet.units import DAYS_PER_YEAR

MOST_PERCENT = 20.0
"""A level farther out is no slow drift but a fault with a day of its own, which is not known, or a
volume poured wrong; such a result is not drawn a line to."""

USUAL_SPREAD = 3.0
"""Percent a root year by which levels wander, before the data speak (own estimate)."""

LEAST_SPANS = 12
"""Spans between tests from which the network's own drift is taken."""


@dataclass(frozen=True, slots=True)
class LevelTest:
    """A test of a gauge: the column of its day, and the levels in percent, None if not told.

    ``failed`` tells that the gauge was found not to count as it should: blocked, its switch
    failing, or far out. The rain before it is no measure of what the gauge usually has.
    """

    column: int
    found_percent: float | None
    left_percent: float | None
    failed: bool = False


def level_test(record: CheckRecord, tip_ml: float, *, column: int) -> LevelTest:
    """Take the levels from a check; a gauge found failing tells none."""
    dead = record.switch_found is not None and record.switch_found.dead
    found = _level(record.as_found, tip_ml)
    far_out = found is not None and abs(found) > MOST_PERCENT
    failed = dead or record.blocked_found or far_out
    return LevelTest(column, None if failed else found, _level(record.as_left, tip_ml), failed)


def _level(runs: PhaseRuns | None, tip_ml: float) -> float | None:
    return None if runs is None else phase_error(runs, tip_ml).level_percent


@dataclass(frozen=True, slots=True, eq=False)
class KnownLevels:
    """What is known of the errors of n gauges, as logarithms of 1 + error.

    ``level_log``, shape (n, days), NaN where the gauge was found failing afterwards; ``level_sd``,
    shape (n,), how far the error may have gone since the last test from the line drawn for it.
    """

    level_log: Floats
    level_sd: Floats


def known_levels(tests: Sequence[Sequence[LevelTest]], *, days: int) -> KnownLevels:
    """Draw a line from test to test for each gauge, and go on from the last.

    Parameters
    ----------
    tests : sequence of sequence of LevelTest
        Of n gauges, each in order of time; columns may lie outside the record.
    days : int
        Columns of the record.

    Returns
    -------
    KnownLevels
        Between two tests the line from as left to as found; from the last on, and to a test
        without a result as found, as left and the network's drift; 0 before the first test and
        after one that left no level.

    Notes
    -----
    The network's drift is the median rate between tests, and what it does not explain grows with
    the root of time; with fewer than twelve spans none and `USUAL_SPREAD` are taken. Single rates
    need not be known: what ten neighbours have in common is what counts.
    """
    rate, spread = _network_drift(tests)
    level = np.zeros((len(tests), days), dtype=np.float32)
    since = np.full(len(tests), DAYS_PER_YEAR)
    for row, own in enumerate(tests):
        for place, test in enumerate(own):
            _draw(level[row], test, own[place + 1] if place + 1 < len(own) else None, rate)
        if own:
            since[row] = max(days - own[-1].column, 1)
        _spoil(level[row], own)
    level = np.log1p(np.clip(level, -MOST_PERCENT, MOST_PERCENT) / 100.0)
    return KnownLevels(level, spread / 100.0 * np.sqrt(since / DAYS_PER_YEAR))


def _network_drift(tests: Sequence[Sequence[LevelTest]]) -> tuple[float, float]:
    """Give the median rate in percent a year, and the spread about it in percent a root year."""
    seen = [
        (found - test.left_percent, (later.column - test.column) / DAYS_PER_YEAR)
        for own in tests
        for test, later in pairwise(own)
        if (found := later.found_percent) is not None
        and test.left_percent is not None
        and later.column > test.column
    ]
    if len(seen) < LEAST_SPANS:
        return 0.0, USUAL_SPREAD
    change, years = np.array(seen).T
    rate = float(np.median(change / years))
    return rate, robust_sd((change - rate * years) / np.sqrt(years))


def _draw(level: Floats, test: LevelTest, later: LevelTest | None, rate: float) -> None:
    """Draw the line of one span into the row of a gauge."""
    end = level.size if later is None else min(later.column, level.size)
    first = max(test.column + 1, 0)
    if test.left_percent is None or end <= first:
        return
    slope = rate / DAYS_PER_YEAR
    if later is not None and later.found_percent is not None:
        slope = (later.found_percent - test.left_percent) / max(later.column - test.column, 1)
    level[first:end] = test.left_percent + slope * (np.arange(first, end) - test.column)


def _spoil(level: Floats, own: Sequence[LevelTest]) -> None:
    """Mark the spans at whose end the gauge was found failing."""
    before = -1
    for test in own:
        if test.failed:
            level[max(before + 1, 0) : max(test.column, 0)] = np.nan
        before = test.column
