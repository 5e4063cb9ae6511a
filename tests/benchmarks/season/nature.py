"""What nature has in store for every gauge, drawn before anybody plans anything.

None of it follows the laws that the forecasts assume: dirt comes in jumps (gamma processes) and by
season, blockage wears in instead of striking at a constant rate, the contact resistance grows by
rates of a log-normal spread, and the levels of gauges get knocked. All rates are own estimates;
no published source gives them for one network.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

DAYS_PER_YEAR = 365.25


class SwitchFault(IntEnum):
    """How a switch has failed."""

    NONE = 0
    OPEN = 1
    MISSES = 2


@dataclass(frozen=True)
class Kind:
    """A type of gauge: its buckets, its test, its tolerance, and how it stands dirt."""

    code: str
    bucket_mm: float
    area_cm2: float
    volume_ml: float
    tolerance_percent: float
    drifts: float
    clogs: float


KINDS = (
    Kind("W02", 0.2, 200.0, 400.0, 5.0, 0.8, 1.2),
    Kind("W05", 0.5, 400.0, 800.0, 7.5, 1.0, 1.0),
    Kind("W10", 1.0, 300.0, 1200.0, 7.5, 1.4, 0.7),
)

FIELD_LIMIT_OHM = 5.0
"""Common practice, no published source."""

SCREEN_JUMP, BUCKET_JUMP = 0.15, 0.5
"""Mean size of a jump of dirt: in shares of a blocked screen, and in percent of error."""

CLOG_RATE, KNOCK_RATE = 0.08, 0.06
"""Leaves or a nest that block at once, and knocks to the level, a year."""

NEW_OHM, NEW_OHM_LOG_SD, OHM_WALK = 0.25, 0.3, 0.25
"""Resistance of a new switch, the spread of its logarithm, and the random part of a root year."""


@dataclass(frozen=True)
class Character:
    """What sets the gauges apart, shape (n,); rates are a year's.

    ``screen_rate`` is the share of a blocked screen, ``bucket_rate`` the drift in percent and
    ``sign`` its direction; ``misses`` tells how a switch of the gauge dies.
    """

    kind: Ints
    screen_rate: Floats
    bucket_rate: Floats
    sign: Floats
    ohm_rate: Floats
    death_rate: Floats
    age_days: Ints
    start_log_ohm: Floats


@dataclass(frozen=True)
class Nature:
    """Everything that will befall n gauges on each of so many days, shape (n, days).

    ``screen``, ``bucket`` and ``log_ohm`` are what a day adds, ``knock`` the step in percent of a
    level that is knocked, ``dies`` and ``clogs`` what strikes without warning.
    """

    character: Character
    screen: Floats
    bucket: Floats
    log_ohm: Floats
    knock: Floats
    dies: Ints
    clogs: Bools

    @property
    def gauges(self) -> int:
        return len(self.screen)


def draw_nature(gauges: int, days: int, dice: np.random.Generator) -> Nature:
    """Draw the fate of a network; the first ``age_days`` of dirt are already on the gauges."""
    character = _draw_character(gauges, dice)
    shape = (gauges, days)
    dirt = season(np.arange(days))
    year = DAYS_PER_YEAR
    deaths = dice.random(shape) < character.death_rate[:, None] / year
    knocked = dice.random(shape) < KNOCK_RATE / year
    size = dice.uniform(3.0, 15.0, shape) * dice.choice([-1.0, 1.0], shape)
    return Nature(
        character=character,
        screen=_gamma(dice, character.screen_rate[:, None] * dirt / year, jump=SCREEN_JUMP),
        bucket=_gamma(dice, character.bucket_rate[:, None] * dirt / year, jump=BUCKET_JUMP),
        log_ohm=dice.normal(character.ohm_rate[:, None] / year, OHM_WALK / np.sqrt(year), shape),
        knock=np.where(knocked, size, 0.0),
        dies=np.where(deaths, dice.integers(1, 3, shape), 0),
        clogs=dice.random(shape) < CLOG_RATE * dirt / year,
    )


def _draw_character(gauges: int, dice: np.random.Generator) -> Character:
    kind = dice.integers(0, len(KINDS), gauges)
    clogs = np.array([k.clogs for k in KINDS])[kind]
    drifts = np.array([k.drifts for k in KINDS])[kind]
    ohm_rate = 0.3 * dice.lognormal(0.0, 0.5, gauges)
    grown = dice.normal(np.log(NEW_OHM), NEW_OHM_LOG_SD, gauges) + ohm_rate * dice.uniform(
        0.0, 6.0, gauges
    )
    return Character(
        kind=kind,
        screen_rate=0.35 * clogs * dice.lognormal(0.0, 0.7, gauges),
        bucket_rate=2.5 * drifts * dice.lognormal(0.0, 0.6, gauges),
        sign=dice.choice([-1.0, 1.0], gauges, p=[0.75, 0.25]),
        ohm_rate=ohm_rate,
        death_rate=0.04 * dice.lognormal(0.0, 0.8, gauges),
        age_days=dice.integers(1, 365, gauges),
        start_log_ohm=np.minimum(grown, np.log(2.5)),
    )


def season(days: Ints) -> Floats:
    """Give how much more dirt falls on days than on a mean one: most in the fall of leaves."""
    return np.asarray(1.0 + 0.8 * np.cos(2.0 * np.pi * (days - 300) / DAYS_PER_YEAR))


def _gamma(dice: np.random.Generator, mean: Floats, *, jump: float) -> Floats:
    """Draw the increments of a gamma process by their means; a larger jump is a rarer one."""
    return np.asarray(dice.gamma(np.maximum(mean / jump, 1e-12), jump))
