"""A stand-in for the evidence of daily totals: alarms late, never, or for nothing.

The neighbour comparison of the project is not run here, for it would take hours for each method.
Its rates were measured once: it was run on simulated rain of 200 gauges over three years with
faults planted (three draws; SEASON.md has the figures). A silent gauge is found within weeks; a
switch that misses some tips rarely; an error of 6 to 14 percent hardly ever, so that drift and
a contact that is worn but still counts are not seen from afar at all here.
"""

from __future__ import annotations

import numpy as np

from tests.benchmarks.season.desk import LogRatios
from tests.benchmarks.season.nature import DAYS_PER_YEAR, Bools, Floats, Ints, SwitchFault
from tests.benchmarks.season.truth import Truth

SILENT_DELAY_DAYS = 15.0
"""Mean days until the silence of a blocked or dead gauge is told."""

MISSES_DELAY_DAYS = 150.0
"""The same for a switch that counts seven tips of ten."""

FALSE_PER_YEAR = 0.02
"""False alarms a gauge-year, of each kind."""


class Remote:
    """Alarms of all gauges, silent or changed ratio; a service takes them down."""

    def __init__(self, truth: Truth, dice: np.random.Generator) -> None:
        self._truth = truth
        self._dice = dice
        self.silent = np.zeros(truth.nature.gauges, dtype=np.bool_)
        self.changed = np.zeros(truth.nature.gauges, dtype=np.bool_)

    def pass_day(self) -> None:
        """Look at one day's totals."""
        truth, chance = self._truth, self._dice.random((4, self.silent.size))
        still = truth.blocked | (truth.fault == SwitchFault.OPEN)
        misses = ~still & (truth.fault == SwitchFault.MISSES)
        false = FALSE_PER_YEAR / DAYS_PER_YEAR
        self.silent |= (still & (chance[0] < 1.0 / SILENT_DELAY_DAYS)) | (chance[1] < false)
        self.changed |= (misses & (chance[2] < 1.0 / MISSES_DELAY_DAYS)) | (chance[3] < false)

    def serviced(self, index: int) -> None:
        """Take a gauge's alarms down."""
        self.silent[index] = self.changed[index] = False

    def log_ratios(self, ages_days: Ints) -> LogRatios:
        """Give what the alarms say of each cause, by the time since the last service."""
        return alarm_log_ratios(self.silent, self.changed, ages_days)


def quiet_log_ratios(days: Ints) -> LogRatios:
    """Give what it says of each cause that no alarm came for so many days."""
    none = np.zeros(days.size, dtype=bool)
    return alarm_log_ratios(none, none, days)


def alarm_log_ratios(silent: Bools, changed: Bools, ages_days: Ints) -> LogRatios:
    """Give log P(alarms | cause) / P(alarms | fit) for the causes that alarms tell of."""
    age = np.maximum(ages_days, 1).astype(np.float64)
    false = 1.0 - np.exp(-FALSE_PER_YEAR * age / DAYS_PER_YEAR)
    silence = _told(silent, _noticed(age, SILENT_DELAY_DAYS), false)
    no_silence = _told(silent, np.zeros(age.size), false)
    change = _told(changed, _noticed(age, MISSES_DELAY_DAYS), false)
    no_change = _told(changed, np.zeros(age.size), false)
    return {
        "blockage": silence + no_change,
        "deaths": np.logaddexp(silence + no_change, no_silence + change) - np.log(2.0),
    }


def _noticed(age: Floats, delay_days: float) -> Floats:
    """Give the chance that a fault is noticed by now if it began on any day as likely."""
    return 1.0 - delay_days / age * -np.expm1(-age / delay_days)


def _told(alarm: Bools, found: Floats, false: Floats) -> Floats:
    """Give the log likelihood ratio of an alarm's being up, or not."""
    either = found + false - found * false
    return np.where(alarm, np.log(either / false), np.log((1.0 - either) / (1.0 - false)))
