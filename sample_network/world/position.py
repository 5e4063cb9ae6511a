"""Where instruments stand: positions at sites, what blocks them, and the installation history."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from world.area import COAST, FARM, OPEN, TOWN, UPLAND, WOOD
from world.dice import Dice
from world.instrument import Instrument
from world.record import Row
from world.site import Site

_BLOCKED_A_YEAR = {WOOD: 0.40, COAST: 0.25, FARM: 0.12, TOWN: 0.10, UPLAND: 0.08, OPEN: 0.06}
_SEASON = {
    WOOD: (0.4, 0.3, 0.3, 0.6, 0.9, 0.7, 0.5, 0.6, 1.8, 2.8, 2.3, 0.8),
    COAST: (0.4, 0.4, 0.8, 1.6, 2.2, 2.2, 1.6, 0.9, 0.6, 0.5, 0.5, 0.5),
}
"""Blockages by month against the mean: leaves in autumn, nests in spring."""
_CAUSE = {
    WOOD: ("leaves and needles", "moss"),
    COAST: ("bird droppings and feathers", "nest material"),
    FARM: ("chaff", "spider webs and dust"),
    TOWN: ("roof grit", "a wasps' nest"),
    UPLAND: ("moss", "peat dust"),
    OPEN: ("grass cuttings", "ants"),
}


@dataclass
class Position:
    """A place for one gauge at a site."""

    site: Site
    letter: str
    loop_ohm: float | None
    dice: Dice
    type_code: str
    instrument: Instrument | None = None
    installed_on: date | None = None
    serviced_on: date | None = None
    passed_share: float = 1.0
    """Part of the rain that still reaches the buckets."""
    blocked_by: str = ""
    disconnected: bool = False
    spared: bool = False
    """Mishaps of chance stay away, so that a scripted trouble can be seen alone."""
    catch: dict[date, float] = field(default_factory=dict)
    test_mm: dict[date, float] = field(default_factory=dict)
    """Test water that the logger took for rain."""
    past: list[Row] = field(default_factory=list)

    @property
    def key(self) -> str:
        return f"{self.site.code}/{self.letter}"

    @property
    def silent(self) -> bool:
        return self.disconnected or self.instrument is None or self.instrument.dead

    def install(self, instrument: Instrument, day: date) -> None:
        """Put an instrument here from a day on."""
        self.instrument, self.installed_on = instrument, day
        instrument.status = "in_service"
        self.passed_share, self.blocked_by, self.disconnected = 1.0, "", False
        self.past.append(
            {
                "site_code": self.site.code,
                "position": self.letter,
                "installed_on": day,
                "serial": instrument.serial,
                "loop_ohm": self.loop_ohm,
            }
        )

    def remove(self, day: date, *, status: str) -> Instrument:
        """Take the instrument away; its installation ends with this day."""
        removed = self.instrument
        if removed is None:
            raise ValueError(f"nothing stands at {self.key}")
        self.past[-1]["removed_on"] = day
        removed.status, self.instrument = status, None
        return removed

    def block(self, share: float) -> None:
        """Let only a share of the water through."""
        self.passed_share = min(self.passed_share, share)
        self.blocked_by = self.blocked_by or self.dice.choose(_CAUSE[self.site.kind])

    def clear(self) -> None:
        self.passed_share, self.blocked_by = 1.0, ""

    def age(self, day: date) -> None:
        """Live one day: wear, dirt, death of the switch."""
        if self.instrument is not None:
            self.instrument.age()
        if not self.spared:
            self._meet_chance(day)

    def _meet_chance(self, day: date) -> None:
        season = _SEASON.get(self.site.kind, (1.0,) * 12)[day.month - 1]
        if self.dice.chance(_BLOCKED_A_YEAR[self.site.kind] * season / 365.25):
            self.block(self.dice.choose((0.0, 0.15, 0.35, 0.6)))
        if self.instrument is not None and self.instrument.dies_today():
            self.instrument.dead = True

    def note_catch(self, day: date) -> None:
        """Keep what share of the day's rain the record shows."""
        if self.instrument is None:
            return
        error = max(self.instrument.whole_error_percent, -100.0)
        share = self.passed_share * (1 + error / 100)
        if self.instrument.bouncing:
            share *= 1.14
        self.catch[day] = 0.0 if self.silent else share


def first_installed_on(dice: Dice) -> date:
    """Give a day in the years before the records begin."""
    return date(2014, 1, 1) + timedelta(days=dice.whole(0, 3400))
