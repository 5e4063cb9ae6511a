"""The network as it stands: sites, positions, the pool of instruments, and what befalls them."""

from __future__ import annotations

from datetime import date, timedelta
from math import log

from world import script
from world.area import AREAS
from world.dice import Dice
from world.gauge_type import TYPES
from world.instrument import Instrument, Serials, make_instrument
from world.position import Position, first_installed_on
from world.site import sites

SECOND_GAUGES = {
    "BR01": "TB05-400",
    "BR07": "TB02-400",
    "SE01": "TB02-400",
    "SE03": "TB01-200",
    "KO01": "TB02-400",
    "KO04": "TB05-400",
    "FY01": "TB02-400",
    "FY02": "TB05-400",
    "DU01": "TB01-200",
    "DU05": "TB05-400",
    "AM01": "TB02-324S",
    "LI01": "TB02-400",
    "LI04": "TB02-324S",
    "NA01": "TB05-400",
    "RA01": "TB05-400",
    "SH01": "TB01-200",
    "OU01": "TB02-400",
    "OU03": "TB02-324S",
    "PE06": "TB02-400",
}
"""Sites with a second gauge, and its type."""
SPARES = {"TB02-400": 4, "TB05-400": 3, "TB02-324S": 3, "TB01-200": 2}
OUT_OF_USE = (
    ("TB02-400", "workshop", "hail damage, waits for a funnel"),
    ("TB05-400", "workshop", "bent axle, waits for parts"),
    ("TB02-324S", "retired", "siphon cracked, not worth mending"),
    ("TB01-200", "retired", "bucket worn out after 14 years"),
)
"""Instruments that stand nowhere: type, status, why."""
WORKSHOP_DAYS = 75


class Network:
    """Every position and instrument."""

    def __init__(self) -> None:
        self.sites = sites()
        self.instruments: list[Instrument] = []
        self.positions: dict[str, Position] = {}
        self._serials = Serials()
        self._workshop: list[tuple[date, Instrument]] = []
        self._build()

    def _build(self) -> None:
        later = {key for _, key in (*script.PUT_UP, *script.BY_CONTRACTOR)}
        later |= {target for _, _, target in script.MOVES}
        for area in AREAS:
            for number in range(1, len(area.sites) + 1):
                code = f"{area.code}{number:02d}"
                self._add(code, "A", self._house_type(code, area.house_type), later)
                if code in SECOND_GAUGES:
                    self._add(code, "B", SECOND_GAUGES[code], later)
        for type_code, count in SPARES.items():
            for _ in range(count):
                self.new_instrument(type_code).note = "on the shelf"
        for type_code, status, note in OUT_OF_USE:
            out = self.new_instrument(type_code)
            out.status, out.note = status, note

    def _house_type(self, code: str, usual: str) -> str:
        dice = Dice("type", code)
        return dice.choose(sorted(TYPES)) if dice.chance(0.18) else usual

    def _add(self, code: str, letter: str, type_code: str, later: set[str]) -> None:
        dice = Dice("position", code, letter)
        loop = None if dice.chance(0.2) else round(dice.uniform(0.4, 7.5), 1)
        position = Position(self.sites[code], letter, loop, dice, type_code)
        position.spared = code in script.SHUT_SITES or position.key in script.SPARED
        self.positions[position.key] = position
        if position.key in later:
            return
        instrument = self.new_instrument(type_code)
        instrument.wear_percent_a_year = script.WEAR_PERCENT_A_YEAR.get(
            position.key, instrument.wear_percent_a_year
        )
        if position.key in script.OHM:
            start, growth = script.OHM[position.key]
            instrument.log_ohm, instrument.log_ohm_a_year = log(start), growth
        position.install(instrument, first_installed_on(dice))

    def new_instrument(self, type_code: str) -> Instrument:
        """Buy an instrument."""
        made = make_instrument(self._serials.draw(type_code), type_code)
        self.instruments.append(made)
        return made

    def at_site(self, code: str) -> list[Position]:
        """Give the positions of a site that hold an instrument."""
        return [p for p in self.positions.values() if p.site.code == code and p.instrument]

    def take_spare(self, type_code: str) -> Instrument:
        """Take a spare, those that came back from the workshop first."""
        shelf = [i for i in self.instruments if i.kind.code == type_code and i.status == "spare"]
        shelf.sort(key=lambda instrument: not instrument.journal)
        chosen = shelf[0] if shelf else self.new_instrument(type_code)
        chosen.status, chosen.note = "in_service", ""
        return chosen

    def send_to_workshop(self, instrument: Instrument, day: date) -> None:
        """Have an instrument overhauled; it is back on the shelf some weeks later."""
        self._workshop.append((day + timedelta(days=WORKSHOP_DAYS), instrument))

    def age(self, day: date) -> None:
        """Live one day."""
        for position in self.positions.values():
            position.age(day)
        for event in script.EVENTS:
            if event.day == day:
                befall(self.positions[event.key], event)
        for back_on, instrument in self._workshop:
            if back_on == day:
                _overhaul(instrument)
        for when, key in script.BY_CONTRACTOR:
            if when == day:
                position = self.positions[key]
                position.install(self.new_instrument(position.type_code), day)

    def note_catch(self, day: date) -> None:
        for position in self.positions.values():
            position.note_catch(day)


def befall(position: Position, event: script.Event) -> None:
    """Let a scripted event happen to a gauge."""
    instrument = position.instrument
    if instrument is None:
        raise ValueError(f"nothing stands at {position.key} on {event.day}")
    if event.what == "knock":
        instrument.error_percent = event.value
    elif event.what == "leak":
        instrument.leak_percent_a_day = event.value
    elif event.what == "block":
        position.block(event.value)
    elif event.what == "die":
        instrument.dead = True
    elif event.what == "bounce":
        instrument.bouncing = True
    else:
        raise ValueError(f"no event is called {event.what}")


def _overhaul(instrument: Instrument) -> None:
    """Give the instrument new pivots and a new switch."""
    instrument.error_percent = instrument.dice.normal(0.1, 0.5)
    instrument.wear_percent_a_year = instrument.dice.normal(*instrument.kind.wear_percent[:2])
    instrument.fouling_percent = instrument.leak_percent_a_day = 0.0
    instrument.renew_switch()
    instrument.status = "spare"
    instrument.journal.append("overhauled")
