"""A bound for every forecast from records: the rates of each gauge are known, its state is not.

It knows the laws of the simulated world and each gauge's own rates, which nobody ever does, and
sees nothing else than the days of services and the last resistance read. What it still loses, no
learning from visits can save; only seeing between them can.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import gamma

from fleet.stats.ranking import HORIZON_DAYS
from tests.benchmarks.season.desk import Desk
from tests.benchmarks.season.method import Ours, Watching
from tests.benchmarks.season.nature import (
    BUCKET_JUMP,
    CLOG_RATE,
    DAYS_PER_YEAR,
    FIELD_LIMIT_OHM,
    KNOCK_RATE,
    NEW_OHM,
    NEW_OHM_LOG_SD,
    OHM_WALK,
    SCREEN_JUMP,
    Floats,
    Ints,
    season,
)
from tests.benchmarks.season.technician import ADJUSTED_SD_PERCENT
from tests.benchmarks.season.truth import Truth

STEP_YEARS = 0.02
REACH_YEARS = 8.0
GRID_DAYS = 3
KNOCKED_OUT = 0.65
"""Share of knocks that put a gauge out of tolerance, roughly."""

READING_VARIANCE = 0.05**2


class RatesKnown(Watching, Ours):
    """Worth by the true rates: the same formula, the same day builder."""

    def worth(self, day: int, desk: Desk) -> Floats:
        ages = desk.ages_days(day)
        ahead = np.arange(0, HORIZON_DAYS + 1, GRID_DAYS)
        kept, after = self._switch(ages, ahead, desk)
        dirty = 1.0 - self._dirty(_dirt_years(day - ages, day)[:, None])
        dirty_after = 1.0 - self._dirty(_dirt_years(day, day + ahead)[None, :])
        unfit = 1.0 - dirty * kept[:, None]
        gain = np.maximum(unfit - (1.0 - dirty_after * after), 0.0)
        return np.asarray(np.trapezoid(gain, ahead, axis=1))

    def _dirty(self, years: Floats) -> Floats:
        """Look up the probability of drift or blockage after so much dirt, in years of it."""
        if not hasattr(self, "_table"):
            self._table = _dirt_table(self._truth)
        place = np.minimum(years / STEP_YEARS, self._table.shape[1] - 1).astype(np.int64)
        place = np.broadcast_to(place, (len(self._table), place.shape[1]))
        return np.take_along_axis(self._table, place, axis=1)

    def _switch(self, ages: Ints, ahead: Ints, desk: Desk) -> tuple[Floats, Floats]:
        """Give the probability that switches are fit now, and so many days after a service."""
        character = self._truth.nature.character
        read = np.array([np.log(state.switch_ohm or NEW_OHM) for state in desk.states])
        age, later = ages / DAYS_PER_YEAR, ahead[None, :] / DAYS_PER_YEAR
        rate, dies = character.ohm_rate[:, None], character.death_rate[:, None]
        sound = _holds(read[:, None] + rate * age[:, None], age[:, None], READING_VARIANCE)
        still = _holds(read[:, None] + rate * (age[:, None] + later), age[:, None] + later, 0.0)
        new = _holds(np.log(NEW_OHM) + rate * later, later, NEW_OHM_LOG_SD**2)
        after = np.minimum(still, sound) + (1.0 - sound) * new
        return sound[:, 0] * np.exp(-dies[:, 0] * age), after * np.exp(-dies * later)


def _holds(log_ohm: Floats, years: Floats, variance: float) -> Floats:
    """Give the probability that a resistance is within the field limit."""
    sd = np.sqrt(variance + OHM_WALK**2 * years + 1e-9)
    return np.asarray(ndtr((np.log(FIELD_LIMIT_OHM) - log_ohm) / sd))


def _dirt_table(truth: Truth) -> Floats:
    """Give the probability of drift or blockage, a row a gauge, by years of mean dirt."""
    one = truth.nature.character
    years = np.arange(0.0, REACH_YEARS, STEP_YEARS)[None, :]
    blocked = gamma.sf(
        1.0, one.screen_rate[:, None] * years / SCREEN_JUMP + 1e-9, scale=SCREEN_JUMP
    )
    shape = one.bucket_rate[:, None] * years / BUCKET_JUMP + 1e-9
    starts = ADJUSTED_SD_PERCENT * ndtri(np.arange(0.05, 1.0, 0.1))
    room = truth.tolerance[:, None] - one.sign[:, None] * starts[None, :]
    out = np.stack([gamma.sf(r[:, None], shape, scale=BUCKET_JUMP) for r in room.T]).mean(axis=0)
    struck = np.exp(-(CLOG_RATE + KNOCKED_OUT * KNOCK_RATE) * years)
    return np.asarray(1.0 - (1.0 - blocked) * (1.0 - out) * struck)


def _dirt_years(first: Ints | int, last: Ints | int) -> Floats:
    """Give how many years of mean dirt fall between days; a year before day 0 and later count."""
    start = int(np.min(first))
    fallen = np.concatenate([[0.0], np.cumsum(season(np.arange(start, int(np.max(last)) + 1)))])
    low, high = np.asarray(first) - start, np.asarray(last) - start
    return np.asarray((fallen[high] - fallen[low]) / DAYS_PER_YEAR)
