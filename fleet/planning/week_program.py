"""A week as a choice among days: each site once, each technician once a day, nights in balance."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import NightBase, PlanProblem
from fleet.planning.crew import Crew
from fleet.planning.day_kind import DayKind, day_kinds
from fleet.planning.linear import Column, Row
from fleet.planning.model import Model
from fleet.planning.night import NEXT_DAY, open_evenings


@dataclass(frozen=True, slots=True)
class Slot:
    """A crew, or several that are alike, whose day may be chosen.

    ``rows`` are the limits in which a day of it counts, besides those of the sites; ``seats`` is
    the first of them, which bounds how many such days there are; ``cost`` is that of its nights.
    """

    crews: tuple[int, ...]
    kind: int
    rows: Mapping[int, float]
    seats: int
    cost: float
    travels: bool
    """Whether its day begins or ends at a base."""


@dataclass(frozen=True, slots=True)
class WeekProgram:
    """All rows of the choice, and the slots that days are chosen for.

    The first rows are those of the sites, in the order of the model's `Model.alternatives`.
    """

    model: Model
    kinds: tuple[DayKind, ...]
    slots: tuple[Slot, ...]
    rows: tuple[Row, ...]
    sites: Mapping[str, int]

    def column(self, slot: Slot, visits: Sequence[int]) -> Column:
        """Write a day of a slot as a column; a site that comes twice counts twice."""
        kind = self.kinds[slot.kind]
        rows: defaultdict[int, float] = defaultdict(float, slot.rows)
        value = -slot.cost
        for visit in visits:
            rows[int(kind.site[visit])] += 1.0
            value += self.model.prices.prizes[self.model.visits[visit].key]
        driving = kind.driving_min(visits) if len(visits) else self._empty_min(slot)
        return Column(value - self.model.prices.per_min * driving, dict(rows))

    def may_be_empty(self, slot: Slot) -> bool:
        """Tell whether a day without a visit means something: a drive from or to a base."""
        crew = self.model.crews[slot.crews[0]]
        drive = self._empty_min(slot)
        return slot.travels and drive <= min(crew.usable_min, crew.max_driving_min)

    def visit_prizes(self) -> NDArray[np.float64]:
        """Give the prize of each visit."""
        prizes = self.model.prices.prizes
        return np.array([prizes[visit.key] for visit in self.model.visits], dtype=np.float64)

    def _empty_min(self, slot: Slot) -> int:
        crew = self.model.crews[slot.crews[0]]
        return self.model.travel.drive_min(crew.start_key, crew.end_key)


def lay_program(
    problem: PlanProblem, model: Model, *, kept: Collection[str] = (), night_cost: float = 0.0
) -> WeekProgram:
    """Lay out the choice among the days of a week.

    Parameters
    ----------
    problem : PlanProblem
        Bases, and who works when.
    model : Model
        Its crews are all that may be formed, with every start and end that nights allow.
    kept : collection of str
        Sites that have to be visited.
    night_cost : float
        What a record-day of a night's price costs, in cost units.
    """
    kinds, kind_of = day_kinds(model)
    sites = {key: number for number, key in enumerate(model.alternatives())}
    rows = [Row(1.0 if key in kept else 0.0, 1.0) for key in sites]
    nights = _Nights(problem, first_row=len(rows))
    rows += nights.rows
    seats = _seats(model, kind_of, alike=not nights.bases)
    sizes = Counter(seats.values())
    seat_row = {seat: len(rows) + number for number, seat in enumerate(sizes)}
    rows += [Row(0.0, float(size)) for size in sizes.values()]
    slots: dict[tuple[object, ...], Slot] = {}
    for index, crew in enumerate(model.crews):
        own = [seat_row[seats[m.technician_code, m.day]] for m in crew.members]
        slot = Slot(
            crews=(index,),
            kind=kind_of[index],
            rows={
                **dict(nights.limits(crew)),
                **{row: float(n) for row, n in Counter(own).items()},
            },
            seats=own[0],
            cost=night_cost * nights.cost_days(crew),
            travels=nights.travels(crew),
        )
        key = (slot.kind, *sorted(slot.rows.items()))
        known = slots.get(key, replace(slot, crews=()))
        slots[key] = replace(known, crews=(*known.crews, index))
    return WeekProgram(model, tuple(kinds), tuple(slots.values()), tuple(rows), sites)


def _seats(model: Model, kind_of: Sequence[int], *, alike: bool) -> dict[tuple[str, date], object]:
    """Name the seat that each technician-day takes; those of one kind share theirs if alike."""
    alone = {
        (crew.members[0].technician_code, crew.day): kind_of[index]
        for index, crew in enumerate(model.crews)
        if len(crew.members) == 1
    }
    return {key: kind if alike else key for key, kind in alone.items()}


class _Nights:
    """The rows that nights add: balance, room at the bases, and nights in a row."""

    def __init__(self, problem: PlanProblem, *, first_row: int) -> None:
        self.bases: dict[str, NightBase] = {}
        self.rows: list[Row] = []
        self._first_row = first_row
        self._balance: dict[tuple[str, date, str], int] = {}
        self._room: dict[tuple[date, str], int] = {}
        self._spells: defaultdict[tuple[str, date], list[int]] = defaultdict(list)
        evenings = open_evenings(problem)
        for (code, day), bases in evenings.items():
            for base in bases:
                self.bases[base.place.key] = base
                self._balance[code, day, base.place.key] = self._add(Row(0.0, 0.0))
                if (day, base.place.key) not in self._room:
                    room = self._add(Row(0.0, float(base.capacity)))
                    self._room[day, base.place.key] = room
        for member in problem.technician_days:
            self._limit_spell(member.technician_code, member.day, member.most_nights, evenings)

    def limits(self, crew: Crew) -> Iterable[tuple[int, float]]:
        """Give the rows in which a crew's day counts, and how."""
        for member in crew.members:
            code = member.technician_code
            came = self._balance.get((code, crew.day - NEXT_DAY, crew.start_key))
            stays = self._balance.get((code, crew.day, crew.end_key))
            if came is not None:
                yield came, -1.0
            if stays is not None:
                yield stays, 1.0
                yield from ((row, 1.0) for row in self._spells[code, crew.day])
        if crew.end_key in self.bases:
            yield self._room[crew.day, crew.end_key], float(len(crew.members))

    def cost_days(self, crew: Crew) -> float:
        """Give the price of the night that follows a crew's day, for all its members."""
        base = self.bases.get(crew.end_key)
        return base.cost_days * len(crew.members) if base else 0.0

    def travels(self, crew: Crew) -> bool:
        """Tell whether a crew's day begins or ends at a base."""
        return crew.start_key in self.bases or crew.end_key in self.bases

    def _limit_spell(
        self, code: str, first: date, most: int, evenings: Mapping[tuple[str, date], object]
    ) -> None:
        """Allow at most so many of the nights from this one on until one more than that."""
        spell = [first + n * NEXT_DAY for n in range(most + 1)]
        if most > 0 and all((code, evening) in evenings for evening in spell):
            row = self._add(Row(0.0, float(most)))
            for evening in spell:
                self._spells[code, evening].append(row)

    def _add(self, row: Row) -> int:
        self.rows.append(row)
        return self._first_row + len(self.rows) - 1
