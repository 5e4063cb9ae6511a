"""One instrument: how its bucket wears, its switch ages, and how it answers a poured volume."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, log

from world.dice import Dice
from world.gauge_type import TYPES, GaugeType

DAYS_PER_YEAR = 365.25
DEAD_OHM = 5.0
"""Above this the technician replaces the switch (the network's field limit)."""


@dataclass
class Instrument:
    """A gauge with its hidden truth.

    ``error_percent`` is that of the clean bucket in tips, negative = reads low;
    ``fouling_percent`` comes on top until the next cleaning. ``log_ohm`` is the logarithm of the
    closed resistance at the terminals.
    """

    serial: str
    kind: GaugeType
    dice: Dice
    own_area_cm2: float | None = None
    error_percent: float = 0.0
    wear_percent_a_year: float = 0.0
    fouling_percent: float = 0.0
    log_ohm: float = log(0.2)
    log_ohm_a_year: float = 0.3
    dead: bool = False
    bouncing: bool = False
    leak_percent_a_day: float = 0.0
    residue_ml: float = 0.0
    status: str = "spare"
    note: str = ""
    journal: list[str] = field(default_factory=list)

    @property
    def tip_ml(self) -> float:
        """Volume of one tip that the register leads one to expect."""
        return self.kind.bucket_mm * (self.own_area_cm2 or self.kind.area_cm2) / 10

    @property
    def whole_error_percent(self) -> float:
        return self.error_percent + self.fouling_percent

    def age(self) -> None:
        """Live one day in the field."""
        scatter = self.kind.wear_percent[2] / DAYS_PER_YEAR**0.5
        self.error_percent += self.wear_percent_a_year / DAYS_PER_YEAR
        self.error_percent += self.dice.normal(0, scatter)
        self.error_percent += self.leak_percent_a_day
        self.fouling_percent += self.kind.fouling_percent / DAYS_PER_YEAR
        self.log_ohm += self.log_ohm_a_year / DAYS_PER_YEAR + self.dice.normal(0, 0.004)

    def dies_today(self) -> bool:
        return self.dice.chance(self.kind.dies_a_year / DAYS_PER_YEAR)

    def settle(self) -> None:
        """Hold some unknown water when the technician arrives."""
        self.residue_ml = self.dice.uniform(0, self.tip_ml)

    def pour(self, volume_ml: float, *, emptied: bool, passed_share: float = 1.0) -> int:
        """Count the tips of a slow pour; water that fills no bucket stays for the next run."""
        if emptied:
            self.residue_ml = 0.0
        tip_ml = self.tip_ml / (1 + self.whole_error_percent / 100)
        water = volume_ml * passed_share * (1 + self.dice.normal(0, 0.002))
        water -= self.dice.uniform(0.0, 0.15) * self.tip_ml
        tips, self.residue_ml = divmod(self.residue_ml + max(water, 0.0), tip_ml)
        counted = int(tips)
        if self.dead:
            return 0
        if self.bouncing:
            counted += sum(self.dice.chance(0.14) for _ in range(counted))
        return counted

    def closed_ohm(self, loop_ohm: float = 0.0) -> float:
        """Read the closed switch with a field meter."""
        return max((exp(self.log_ohm) + loop_ohm) * self.dice.spread(0.02), 0.02)

    def manual_tips(self) -> int:
        """Count what the logger shows for ten slow tips by hand."""
        if self.dead:
            return 0
        return 10 + (self.dice.whole(1, 3) if self.bouncing else 0)

    def renew_switch(self) -> None:
        self.dead = self.bouncing = False
        self.log_ohm = log(self.dice.uniform(0.12, 0.28))

    def adjust(self) -> None:
        """Turn the stops until the emptied bucket reads about what is expected."""
        half_tip = 50 / self.kind.expected_tips
        self.leak_percent_a_day = 0.0
        self.error_percent = self.dice.normal(0.5 * half_tip, 0.55)


def make_instrument(serial: str, type_code: str) -> Instrument:
    """Give an instrument some years into its life."""
    kind = TYPES[type_code]
    dice = Dice("instrument", serial)
    mean, between, _ = kind.wear_percent
    made = Instrument(
        serial=serial,
        kind=kind,
        dice=dice,
        error_percent=dice.normal(-0.4, 1.1),
        wear_percent_a_year=dice.normal(mean, between),
        log_ohm=log(dice.uniform(0.14, 0.55)),
        log_ohm_a_year=max(dice.normal(0.22, 0.18), -0.05),
    )
    if dice.chance(0.15):
        made.own_area_cm2 = round(kind.area_cm2 * (1 + dice.normal(0, 0.0015)), 1)
    return made


class Serials:
    """Serial numbers, each type in its own manner, never twice."""

    def __init__(self) -> None:
        self._dice = Dice("serial")
        self._last = {"TB02-400": 411, "TB05-400": 57, "TB02-324S": 1180, "TB01-200": 72}

    def draw(self, type_code: str) -> str:
        """Give the next serial; leading zeros, dots and dashes are part of it."""
        self._last[type_code] += self._dice.whole(1, 9)
        number = self._last[type_code]
        return {
            "TB02-400": f"{number:06d}",
            "TB05-400": f"5-{number:04d}",
            "TB02-324S": f"S.{number}",
            "TB01-200": f"H{number:04d}",
        }[type_code]


def instrument_row(known: Instrument) -> dict[str, object]:
    """Give the row of the instrument table."""
    measured = known.own_area_cm2 is not None
    return {
        "serial": known.serial,
        "type_code": known.kind.code,
        "status": known.status,
        "orifice_area_cm2": known.own_area_cm2,
        "area_basis": "measured, mean of two diameters" if measured else None,
        "note": "; ".join([known.note, *known.journal]).strip("; "),
    }
