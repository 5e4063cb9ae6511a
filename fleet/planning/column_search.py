"""Days that a choice of days still lacks, and what it can bring at most: column generation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from fleet.planning.day_pricing import Effort, Question, price_days
from fleet.planning.linear import DayProgram
from fleet.planning.week_program import Slot, WeekProgram

QUICK = (Effort(2, 300, 4_000), Effort(8, 1_500, 20_000))
"""Effort of the first rounds, which only look for days."""

THOROUGH = Effort(None, 20_000, 200_000)
"""Effort of the last rounds, which prove; what goes beyond it counts with its bound."""

PRECISION = 1e-4
"""Relative distance of the bound from the program at which it is as good as exact."""

TINY = 1e-7
"""Part of the greatest prize below which a day brings nothing."""

Day = tuple[int, tuple[int, ...]]
"""A slot and its visits."""


@dataclass(slots=True)
class Columns:
    """Days to choose from, each once, in the order they were found."""

    week: WeekProgram
    program: DayProgram
    days: list[Day] = field(default_factory=list)
    known: set[Day] = field(default_factory=set)

    def add(self, days: Iterable[Day]) -> int:
        """Take in the days that are new, and count them."""
        fresh = [day for day in dict.fromkeys(days) if day not in self.known]
        self.program.add([self.week.column(self.week.slots[slot], v) for slot, v in fresh])
        self.days += fresh
        self.known.update(fresh)
        return len(fresh)


class ColumnSearch:
    """Column generation for one week."""

    def __init__(self, week: WeekProgram, start: Iterable[Day]) -> None:
        self.week = week
        self._prizes = week.visit_prizes()
        self._scale = float(max(1.0, self._prizes.max(initial=1.0)))
        self.columns = Columns(week, DayProgram(week.rows, scale=self._scale))
        self.columns.add(start)
        self._empty = [
            (number, ()) for number, slot in enumerate(week.slots) if week.may_be_empty(slot)
        ]
        self.columns.add(self._empty)

    def widen(self, until_s: float | None = None, rounds: int = 200) -> None:
        """Look for better days until little effort finds none, the rounds or the time are over."""
        for effort in QUICK:
            idle = 0
            for turn in range(rounds):
                if idle == len(self.week.kinds) or (until_s and monotonic() > until_s):
                    break
                prices = self.columns.program.relax().row_prices
                found, _ = self._price(turn % len(self.week.kinds), prices, effort)
                idle = 0 if self.columns.add(found) else idle + 1

    def prove(self, until_s: float) -> float:
        """Give the most that any choice can bring, in cost units; at least one round is made."""
        best = np.inf
        while True:
            relaxed = self.columns.program.relax()
            found, most = self._price_all(relaxed.row_prices)
            best = min(best, most)
            close = best - relaxed.value <= PRECISION * abs(best)
            if not self.columns.add(found) or close or monotonic() > until_s:
                return float(best)

    def _price_all(self, prices: NDArray[np.float64]) -> tuple[list[Day], float]:
        """Price every kind of day; with the bound that follows from all of them."""
        prices = self._clean(prices)
        limits = np.array([row.most for row in self.week.rows])
        most = float(prices @ limits)
        found: list[Day] = []
        over = np.zeros(len(self.week.rows))
        for kind in range(len(self.week.kinds)):
            days, gain = self._price(kind, prices, THOROUGH)
            found += days
            for slot in self.week.slots:
                if slot.kind == kind:
                    over[slot.seats] = max(over[slot.seats], gain - self._asked(slot, prices))
        for number, visits in self._empty:
            slot = self.week.slots[number]
            over[slot.seats] = max(over[slot.seats], self._reduced(slot, visits, prices))
        return found, most + float(over @ limits)

    def _price(
        self, kind: int, prices: NDArray[np.float64], effort: Effort
    ) -> tuple[list[Day], float]:
        """Find days of a kind that a choice lacks, offered to every slot that they suit."""
        prices = self._clean(prices)
        own = [slot for slot in self.week.slots if slot.kind == kind]
        least = min(self._asked(slot, prices) for slot in own)
        gains = self._prizes - prices[self.week.kinds[kind].site]
        per_min = float(self.week.model.prices.per_min)
        question = Question(gains, per_min, least + TINY * self._scale)
        priced = price_days(self.week.kinds[kind], question, effort)
        found = [
            (number, visits)
            for _, visits in priced.days
            for number, slot in enumerate(self.week.slots)
            if self._suits(slot, kind, visits)
            and self._reduced(slot, visits, prices) > TINY * self._scale
        ]
        return found, priced.most

    def _asked(self, slot: Slot, prices: NDArray[np.float64]) -> float:
        """Give what the visits of a slot's day have to bring, above the price of its rows."""
        return slot.cost + sum(float(prices[row]) * n for row, n in slot.rows.items())

    def _reduced(self, slot: Slot, visits: Sequence[int], prices: NDArray[np.float64]) -> float:
        column = self.week.column(slot, visits)
        return column.value - sum(float(prices[row]) * n for row, n in column.rows.items())

    def _suits(self, slot: Slot, kind: int, visits: Sequence[int]) -> bool:
        """Tell whether a day of one kind may be one of a slot's."""
        return slot.kind == kind or self.week.kinds[slot.kind].holds(visits)

    def _clean(self, prices: NDArray[np.float64]) -> NDArray[np.float64]:
        """Lift prices that a limit cannot have; only rows with both limits may have any."""
        bound_below = np.array([row.least == row.most for row in self.week.rows])
        return np.where(bound_below, prices, np.maximum(prices, 0.0))
