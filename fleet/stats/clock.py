"""How time counts toward something that strikes without warning: by age, and by season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Floats
from fleet.units import DAYS_PER_YEAR

NEW_YEAR = 730120.0
"""Ordinal of 1 January 2000, from which seasons count: the Julian year keeps step for centuries."""

TURN = 2.0 * np.pi / DAYS_PER_YEAR


@dataclass(frozen=True, slots=True)
class Clock:
    """The law by which years become exposure.

    ``wear`` k: exposure since new is (years)^k, so that 1 strikes at any age alike and more wears
    in. ``begun`` kappa, at least 1: how much oftener a beginning is met than the thing itself; 1
    where beginnings say nothing. ``cosine`` and ``sine`` are the season: a day counts
    1 + cosine cos(a) + sine sin(a), a = 2 pi day / 365.25 from 1 January 2000; both 0 is none.
    ``noticed`` is how often a year people notice what struck and call for a repair; 0 is never.
    """

    wear: float = 1.0
    begun: float = 1.0
    cosine: float = 0.0
    sine: float = 0.0
    noticed: float = 0.0

    @property
    def swing(self) -> float:
        """Give the season's amplitude: a day counts between 1 - swing and 1 + swing."""
        return float(np.hypot(self.cosine, self.sine))

    @property
    def peak_day(self) -> float:
        """Give the day of the year, about, that counts most; 0 without a season."""
        return float(np.arctan2(self.sine, self.cosine) / TURN % DAYS_PER_YEAR)


PLAIN = Clock()


def season_years(clock: Clock, days: Floats) -> Floats:
    """Give the years of mean season up to days, from any fixed origin.

    Parameters
    ----------
    clock : Clock
        Whose season counts.
    days : ndarray
        Days as `datetime.date.toordinal` numbers them.

    Returns
    -------
    ndarray
        The integral of the season; only differences have a meaning.
    """
    if clock.swing == 0.0:
        return days / DAYS_PER_YEAR
    first, last = (float(days.min()), float(days.max())) if days.size else (0.0, 0.0)
    if days.size > last - first:  # few days, many times: the season of each is worked out once
        place = (days - first).astype(np.int64)
        if bool((place == days - first).all()):
            return _swung(clock, first + np.arange(last - first + 1.0))[place]
    return _swung(clock, days)


def _swung(clock: Clock, days: Floats) -> Floats:
    lead = season_lead(np.array(clock.cosine), np.array(clock.sine), days)
    return np.asarray(days / DAYS_PER_YEAR + lead)


def season_lead(cosine: Floats, sine: Floats, days: Floats) -> Floats:
    """Give by how many years the years of mean season are ahead of those of the calendar.

    Parameters
    ----------
    cosine, sine : ndarray
        Of a season for each, as of `Clock`, of shapes that go with the days.
    days : ndarray
        As `datetime.date.toordinal` numbers them.

    Returns
    -------
    ndarray
        From any fixed origin; only differences have a meaning, exactly 0 without a season.
    """
    angle = TURN * (days - NEW_YEAR)
    return np.asarray((cosine * np.sin(angle) - sine * np.cos(angle)) / (2.0 * np.pi))


def exposure(clock: Clock, new_day: Floats, from_day: Floats, to_day: Floats) -> Floats:
    """Give the exposure between two days of things that were new on a third.

    Parameters
    ----------
    clock : Clock
        Of their kind.
    new_day, from_day, to_day : ndarray
        In that order of time, of shapes that go together.

    Returns
    -------
    ndarray
        (years to the end)^k - (years to the start)^k, in the years of the season; never negative.

    Notes
    -----
    The cumulative hazard of a Weibull law per unit of its rate (first principles).
    """
    new = season_years(clock, new_day)
    ends = np.maximum(season_years(clock, to_day) - new, 0.0)
    starts = np.maximum(season_years(clock, from_day) - new, 0.0)
    if clock.wear != 1.0:
        ends, starts = ends**clock.wear, starts**clock.wear
    return np.asarray(np.maximum(ends - starts, 0.0))
