"""A visit and a gauge's check while they go on: what the technician has in hand and in mind."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from world.dice import Dice
from world.equipment import Certificate
from world.instrument import Instrument
from world.policy import NEW_POLICY_ON
from world.position import Position
from world.record import Records

AS_FOUND, AS_LEFT = "as_found", "as_left"


@dataclass
class Work:
    """A visit while it goes on; ``minute`` is the present minute of the day."""

    visit_ref: str
    day: date
    minute: float
    kit: str
    records: Records
    certificates: list[Certificate]
    dice: Dice
    notes: list[str] = field(default_factory=list)
    findings: int = 0
    weather_turns: bool = False
    missing_as_left: bool = False

    def find(self, **row: object) -> None:
        """Write a finding with the next number of the visit."""
        self.findings += 1
        self.records.add("findings", visit_ref=self.visit_ref, finding_number=self.findings, **row)


@dataclass
class Check:
    """One gauge in one visit; ``wishes`` are the oddities that the script asks for."""

    work: Work
    position: Position
    instrument: Instrument
    wishes: frozenset[str] = frozenset()
    adjusted: bool = False
    parts: list[str] = field(default_factory=list)

    @property
    def tolerance_left_percent(self) -> float:
        return 3.0 if self.work.day >= NEW_POLICY_ON else 5.0

    def note(self, text: str) -> None:
        """Write a remark about this gauge on the visit's sheet."""
        self.work.notes.append(f"{self.position.letter}: {text}")
