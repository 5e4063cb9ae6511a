"""The double-mass curve: a gauge's running total against that of its neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.errors import TooFewPointsError
from fleet.stats.array import Floats

LEAST_PERIODS = 4
"""Two lines need two points of their own each, besides the one that they share."""


@dataclass(frozen=True, slots=True)
class DoubleMass:
    """A curve with its best break.

    ``before`` periods lie before the break. The slopes are those of the two least-squares
    lines, the ratios are sums of the gauge over sums of the neighbours; both older and newer.
    ``sse`` is what both lines leave unexplained, ``sse_one_line`` what a single one does.
    """

    before: int
    slope_before: float
    slope_after: float
    ratio_before: float
    ratio_after: float
    sse: float
    sse_one_line: float

    @property
    def factor(self) -> float:
        """Give what totals before the break are multiplied by to match those after it."""
        return self.ratio_after / self.ratio_before

    @property
    def slope_ratio(self) -> float:
        """Give the newer slope over the older."""
        return self.slope_after / self.slope_before


def fit_double_mass(
    station: ArrayLike, group: ArrayLike, *, before: int | None = None
) -> DoubleMass:
    """Find the break of a double-mass curve, or take one as given.

    Parameters
    ----------
    station, group : array_like, shape (n,)
        Totals of the same periods, oldest first, of the gauge and of the mean of its
        neighbours, in mm.
    before : int, optional
        Number of periods before the break; None finds the one that leaves least unexplained.

    Returns
    -------
    DoubleMass

    Raises
    ------
    TooFewPointsError
        Fewer than 4 periods.
    ValueError
        Rows of different length, totals that are negative or not finite, a sum of 0, or a break
        that leaves fewer than two periods on a side.

    Notes
    -----
    The totals are added up from the newest period backwards, as is usual for this curve, from
    the origin on; each side's line is the least-squares line through its own points and the
    point of the break, which both share.
    Source: Searcy and Hardison 1960 (USGS WSP 1541-B) for the method; the two-line criterion
    is first principles.
    Checked against: two worked examples (tests/stats/test_double_mass.py).
    """
    y, x = _totals(station, group)
    count = y.size
    if before is not None and not 2 <= before <= count - 2:
        raise ValueError(f"a break after {before} of {count} periods leaves too few on a side")
    places = range(2, count - 1) if before is None else (before,)
    curve_x, curve_y = _back_from_newest(x), _back_from_newest(y)
    best = min(places, key=lambda place: _two_lines(curve_x, curve_y, count - place)[0])
    sse, newer, older = _two_lines(curve_x, curve_y, count - best)
    return DoubleMass(
        before=best,
        slope_before=older,
        slope_after=newer,
        ratio_before=_ratio(y[:best], x[:best]),
        ratio_after=_ratio(y[best:], x[best:]),
        sse=sse,
        sse_one_line=_line(curve_x, curve_y)[0],
    )


def adjust_older(station: ArrayLike, curve: DoubleMass, *, factor: float | None = None) -> Floats:
    """Bring the totals before the break to the level of those after it.

    Parameters
    ----------
    station : array_like, shape (n,)
        Oldest first.
    curve : DoubleMass
        Of these totals.
    factor : float, optional
        None takes the ratio of sums.

    Returns
    -------
    ndarray, shape (n,)
    """
    adjusted = np.array(station, dtype=np.float64)
    adjusted[: curve.before] *= curve.factor if factor is None else factor
    return adjusted


def residual_mass(station: ArrayLike, group: ArrayLike) -> Floats:
    """Give the running sum of the gauge less its share of the neighbours', oldest first.

    Returns
    -------
    ndarray, shape (n,)
        In mm; ends at 0. A break of the curve is a peak or a trough here, which magnifies
        small ones (Searcy and Hardison 1960, abstract).

    Raises
    ------
    TooFewPointsError, ValueError
        As `fit_double_mass`.
    """
    y, x = _totals(station, group)
    return np.asarray(np.cumsum(y - x * _ratio(y, x)))


def _totals(station: ArrayLike, group: ArrayLike) -> tuple[Floats, Floats]:
    y, x = np.asarray(station, dtype=np.float64), np.asarray(group, dtype=np.float64)
    if y.ndim != 1 or y.shape != x.shape:
        raise ValueError("two rows of totals, equally long, are expected")
    if not np.isfinite([y, x]).all() or min(y.min(initial=0.0), x.min(initial=0.0)) < 0.0:
        raise ValueError("totals must be finite and not negative")
    if y.size < LEAST_PERIODS:
        raise TooFewPointsError(
            f"A double-mass curve needs at least {LEAST_PERIODS} periods; {y.size} given."
        )
    if y.sum() == 0.0 or x.sum() == 0.0:
        raise ValueError("a sum of 0 has no slope")
    return y, x


def _back_from_newest(totals: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(totals[::-1])])


def _two_lines(x: Floats, y: Floats, newest: int) -> tuple[float, float, float]:
    """Give what both lines leave unexplained, the newer slope and the older."""
    newer, older = _line(x[: newest + 1], y[: newest + 1]), _line(x[newest:], y[newest:])
    return newer[0] + older[0], newer[1], older[1]


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Give the squares that a least-squares line leaves, and its slope (0 without any spread)."""
    dx, dy = x - x.mean(), y - y.mean()
    spread = float(dx @ dx)
    slope = float(dx @ dy) / spread if spread > 0.0 else 0.0
    return float(np.sum((dy - slope * dx) ** 2)), slope


def _ratio(y: Floats, x: Floats) -> float:
    """Give the ratio of sums, NaN where the neighbours had nothing."""
    total = float(x.sum())
    return float(y.sum()) / total if total > 0.0 else float("nan")
