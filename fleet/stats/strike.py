"""When something without warning strikes each gauge of one drawn future, and who notices it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.clock import exposure
from fleet.stats.forecast import Sudden, since_well
from fleet.units import DAYS_PER_YEAR

REDRAWN = 8
"""Times that what would have been noticed is drawn again."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedRate:
    """What gauges of a kind share of a rate's doubt: b of the kind, sd of its log mean rate."""

    kind: Ints
    scale_years: Floats
    log_sd: Floats


class Strikes:
    """When a sudden cause strikes n gauges, by the exposure that each bears, and who notices.

    A gauge is struck once the exposure since it was seen to be well reaches its own lot, drawn
    from the law of its rate. At first nothing has been noticed, or the records would say so.

    Parameters
    ----------
    sudden : Sudden
        What is believed of it on the first day.
    shared : SharedRate
        What is not known of whole kinds.
    kinds : callable
        Draws a standard normal number a kind and gives each gauge its kind's.
    dice : numpy.random.Generator
        Draws for all n gauges each time.
    """

    def __init__(
        self,
        sudden: Sudden,
        shared: SharedRate,
        kinds: Callable[[Ints], Floats],
        dice: np.random.Generator,
    ) -> None:
        self._sudden = sudden
        self._dice = dice
        sd = shared.log_sd
        scale = shared.scale_years * np.exp(sd * kinds(shared.kind) + sd**2 / 2.0)
        own = sudden.hazard.scale_years - shared.scale_years
        rate = dice.gamma(sudden.hazard.shape) / (own + scale)
        self.rate = np.maximum(rate, 1e-12)
        self._today = sudden.today.astype(np.float64)
        self._new = self._today - sudden.new_days
        self._well = self._today - sudden.age_days
        silence = since_well(sudden)[1]
        self._lot = self._draw_lot()
        loud = np.ones(silence.size, dtype=np.bool_)
        for _ in range(REDRAWN):
            loud &= self.struck & (dice.random(silence.size) >= silence)
            self._lot = np.where(loud, self._draw_lot(), self._lot)
        self.noticed = np.zeros(silence.size, dtype=np.bool_)

    @property
    def struck(self) -> Bools:
        """Tell which gauges are struck."""
        return np.asarray(self._exposed() >= self._lot)

    def strike(self, which: Bools) -> None:
        """Strike gauges at once."""
        self._lot = np.where(which, -1.0, self._lot)

    def pass_days(self, days: int) -> None:
        """Let days pass; what has struck is noticed at the rate of its clock."""
        self._today = self._today + days
        chance = self._dice.random(self._today.size)
        for clock, rows in self._sudden.clocks:
            missed = np.exp(-clock.noticed * days / DAYS_PER_YEAR)
            self.noticed[rows] |= self.struck[rows] & (chance[rows] >= missed)

    def mend(self, index: Ints, new: Bools) -> None:
        """Make gauges well; the age of those that are ``new`` begins again."""
        self._well[index] = self._today[index]
        self._new[index] = np.where(new, self._today[index], self._new[index])
        self._lot[index] = self._draw_lot()[index]
        self.noticed[index] = False

    def _draw_lot(self) -> Floats:
        return self._dice.exponential(size=self.rate.size) / self.rate

    def _exposed(self) -> Floats:
        spent = np.zeros(self._today.size)
        for clock, rows in self._sudden.clocks:
            spent[rows] = exposure(clock, self._new[rows], self._well[rows], self._today[rows])
        return spent
