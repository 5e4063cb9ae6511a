"""The daily totals of a fleet, and the spans between services into which they fall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_spell import WET_DAY_MM
from fleet.units import DAYS_PER_YEAR


@dataclass(frozen=True, slots=True, eq=False)
class RainRecord:
    """The daily totals of n gauges on the same days, and what is needed to compare them.

    ``total_mm``, shape (n, days): NaN where there is none that may be trusted as rain.
    ``serviced``, shape (n, days): days on which the gauge was serviced or exchanged; what ailed
    it before ended there. Positions in degrees, ``tip_mm`` the rain of one tip, and the errors in
    percent, ``low_percent`` < 0 < ``high_percent``, at which it is out of tolerance; shape (n,).
    A day with less than ``calm_mm`` ends a wet spell. The record may go in months as well, with
    12 steps a year and no step too wet to end a spell. ``level_log``, shape (n, days), is the log
    of 1 + each gauge's error as far as its tests tell, 0 where they do not and NaN where it was
    found failing afterwards, and ``level_sd``, shape (n,), how far in log the error since the last
    test may lie from that; None is no error.
    """

    total_mm: Floats
    serviced: Bools
    latitude_deg: Floats
    longitude_deg: Floats
    tip_mm: Floats
    low_percent: Floats
    high_percent: Floats
    days_per_year: float = DAYS_PER_YEAR
    calm_mm: float = WET_DAY_MM
    level_log: Floats | None = None
    level_sd: Floats | None = None

    def __post_init__(self) -> None:
        rows = self.total_mm.shape[:1]
        columns = (self.latitude_deg, self.longitude_deg, self.tip_mm)
        if self.serviced.shape != self.total_mm.shape or any(
            column.shape != rows for column in (*columns, self.low_percent, self.high_percent)
        ):
            raise ValueError(
                "a row of days and one figure of each kind for each gauge are expected"
            )
        if self.level_log is not None and self.level_log.shape != self.total_mm.shape:
            raise ValueError("a known error for each gauge and day is expected")
        if self.level_sd is not None and self.level_sd.shape != rows:
            raise ValueError("a spread of the error for each gauge is expected")
        if not ((self.low_percent < 0).all() and (self.high_percent > 0).all()):
            raise ValueError("the tolerance must reach from below 0 to above 0 percent")


@dataclass(frozen=True, slots=True)
class Span:
    """The days of one gauge between two services; ``number`` counts the services before.

    ``first`` is the day after the one service, ``last`` the day before the other or the last of
    the record; a span without days ends before it begins. ``current`` marks the last of a gauge.
    """

    gauge: int
    number: int
    first: int
    last: int
    current: bool


def spans_of(record: RainRecord, gauge: int) -> list[Span]:
    """Give the spans of one gauge in order of time, the current one last."""
    services = np.flatnonzero(record.serviced[gauge]).tolist()
    edges = [-1, *services, record.total_mm.shape[1]]
    return [
        Span(gauge, number, edges[number] + 1, edges[number + 1] - 1, number == len(services))
        for number in range(len(edges) - 1)
    ]
