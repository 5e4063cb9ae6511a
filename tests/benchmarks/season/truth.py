"""How the gauges truly stand, day by day; only the technician on site and the oracle look here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.benchmarks.season.nature import (
    BUCKET_JUMP,
    DAYS_PER_YEAR,
    FIELD_LIMIT_OHM,
    KINDS,
    SCREEN_JUMP,
    Bools,
    Floats,
    Ints,
    Nature,
    SwitchFault,
)

CAUSES = ("drift", "blockage", "worn switch", "dead switch")


@dataclass
class Truth:
    """The levels of n gauges; ``base`` is the error that the last adjustment left, in percent."""

    nature: Nature
    screen: Floats
    bucket: Floats
    base: Floats
    knocked: Floats
    log_ohm: Floats
    fault: Ints
    clogged: Bools
    tolerance: Floats

    @property
    def error_percent(self) -> Floats:
        return self.base + self.nature.character.sign * self.bucket + self.knocked

    @property
    def blocked(self) -> Bools:
        return (self.screen >= 1.0) | self.clogged

    def causes(self) -> Bools:
        """Tell what makes each gauge unfit, shape (causes, n), in the order of `CAUSES`."""
        return np.stack(
            [
                np.abs(self.error_percent) > self.tolerance,
                self.blocked,
                self.log_ohm > np.log(FIELD_LIMIT_OHM),
                self.fault != SwitchFault.NONE,
            ]
        )

    def unfit(self) -> Bools:
        return np.asarray(self.causes().any(axis=0))

    def pass_day(self, day: int) -> None:
        """Let one day's weather and wear come over all gauges."""
        nature = self.nature
        self.screen += nature.screen[:, day]
        self.bucket += nature.bucket[:, day]
        self.log_ohm += nature.log_ohm[:, day]
        self.knocked += nature.knock[:, day]
        self.fault = np.where(self.fault == SwitchFault.NONE, nature.dies[:, day], self.fault)
        self.clogged |= nature.clogs[:, day]


def start_truth(nature: Nature, dice: np.random.Generator) -> Truth:
    """Give the gauges as they stand on the first day, ``age_days`` after an installation."""
    one = nature.character
    years = one.age_days / DAYS_PER_YEAR
    return Truth(
        nature=nature,
        screen=np.minimum(dice.gamma(one.screen_rate * years / SCREEN_JUMP, SCREEN_JUMP), 0.9),
        bucket=dice.gamma(one.bucket_rate * years / BUCKET_JUMP, BUCKET_JUMP),
        base=dice.normal(0.0, 1.0, nature.gauges),
        knocked=np.zeros(nature.gauges),
        log_ohm=one.start_log_ohm + one.ohm_rate * years,
        fault=np.zeros(nature.gauges, dtype=np.int64),
        clogged=np.zeros(nature.gauges, dtype=bool),
        tolerance=np.array([kind.tolerance_percent for kind in KINDS])[one.kind],
    )
