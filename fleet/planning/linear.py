"""Linear and whole-number programs over days; the only file that knows HiGHS."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

MOST_NODES = 20
"""Nodes of the search tree after which a choice of days is taken as it is."""

CHOICE_GAP = 1e-4
"""Relative distance from the best at which a choice of days is taken as it is."""


MOST_CHOSEN_FROM = 300
"""Days among which whole ones are chosen; those that cost least are kept."""


@dataclass(frozen=True, slots=True)
class Column:
    """A day that may be chosen: what it brings, and how often it counts in which row."""

    value: float
    rows: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class Row:
    """A limit on the chosen days: the sum of what counts in it lies between two values."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The best of a program in which days may be taken in part, and what each row is worth."""

    value: float
    row_prices: NDArray[np.float64]


class _Quiet(highspy.Highs):
    """The library without its callbacks, which print a banner where only data may stand."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()
        self.setOptionValue("output_flag", False)


class DayProgram:
    """Choose days so that they bring the most and every row keeps its limits.

    Values are divided by ``scale`` before they reach the library, for the sake of its tolerances.
    """

    def __init__(self, rows: Sequence[Row], *, scale: float) -> None:
        self._rows = list(rows)
        self._columns: list[Column] = []
        self._scale = scale
        self._highs = _Quiet()
        self._highs.setOptionValue("threads", 1)
        self._highs.changeObjectiveSense(highspy.ObjSense.kMaximize)
        for row in rows:
            self._highs.addRow(row.least, row.most, 0, [], [])

    def add(self, columns: Sequence[Column]) -> None:
        """Take in more days to choose from."""
        for column in columns:
            rows, counts = list(column.rows), [float(count) for count in column.rows.values()]
            value = column.value / self._scale
            self._highs.addCol(value, 0.0, highspy.kHighsInf, len(rows), rows, counts)
        self._columns += columns

    def relax(self) -> Relaxed:
        """Solve with days that may be taken in part.

        Returns
        -------
        Relaxed
            The value, and for each row what one more unit of its limit would bring.
        """
        self._highs.run()
        prices = np.array(self._highs.getSolution().row_dual, dtype=np.float64)
        value = float(self._highs.getInfo().objective_function_value)
        return Relaxed(value * self._scale, prices * self._scale)

    def value_among(self, allowed: Sequence[bool]) -> float:
        """Give the value with days that may be taken in part, only some of them allowed."""
        size = len(self._columns)
        upper = np.where(np.asarray(allowed, dtype=np.bool_), highspy.kHighsInf, 0.0)
        every = np.arange(size, dtype=np.int32)
        self._highs.changeColsBounds(size, every, np.zeros(size), upper)
        self._highs.run()
        value = float(self._highs.getInfo().objective_function_value)
        self._highs.changeColsBounds(size, every, np.zeros(size), np.full(size, np.inf))
        return value * self._scale

    def choose(self, least: float) -> list[int]:
        """Choose whole days that together bring more than ``least``.

        Returns
        -------
        list of int
            Places of the chosen days in the order they were added; empty if nothing better was
            found within a set number of steps. The same days give the same choice.
        """
        places = self._promising(least)
        if not places:
            return []
        narrow = DayProgram(self._rows, scale=self._scale)
        narrow.add([self._columns[place] for place in places])
        chosen = [places[place] for place in narrow.whole()]
        brought = sum(self._columns[place].value for place in chosen)
        return chosen if brought > least else []

    def whole(self) -> list[int]:
        """Choose whole days among all, as `choose` does among those that come into question."""
        size = len(self._columns)
        for column in range(size):
            self._highs.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        self._highs.setOptionValue("mip_max_nodes", MOST_NODES)
        self._highs.setOptionValue("mip_rel_gap", CHOICE_GAP)
        self._highs.run()
        info = self._highs.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return []
        values = self._highs.getSolution().col_value
        return [column for column in range(size) if values[column] > 0.5]

    def _promising(self, least: float) -> list[int]:
        """Give the days that can be in a choice that brings more than ``least``.

        A day that loses more, against the best choice in parts, than that one is ahead cannot be.
        """
        relaxed = self.relax()
        ahead = relaxed.value - least
        if ahead <= CHOICE_GAP * abs(least):
            return []
        lost = [
            sum(relaxed.row_prices[row] * count for row, count in column.rows.items())
            - column.value
            for column in self._columns
        ]
        within = [place for place, loss in enumerate(lost) if loss <= ahead]
        return sorted(sorted(within, key=lambda place: lost[place])[:MOST_CHOSEN_FROM])
