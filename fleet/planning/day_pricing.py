"""The days of one kind that bring most, sites weighed anew each time: the heart of the bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.planning.day_kind import DayKind
from fleet.planning.day_label import Frontier, Labels, Memory, joined
from fleet.planning.day_reach import Completion, Gains, promising

NEAR = 8
"""Neighbours that a day remembers at each visit."""

BLOCK = 4_000_000
"""Pairs of beginning and next visit that are looked at in one go."""

MOST_GIVEN = 40
"""Days given at most."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How many beginnings are followed: at each visit, in all, and before they are compared."""

    per_visit: int | None
    beam: int
    raw: int


@dataclass(frozen=True, slots=True)
class Priced:
    """Days that bring more than was asked, best first, and the most that any can bring.

    ``most`` holds however little effort was spent: what was not followed counts with the most
    that it could have brought.
    """

    days: tuple[tuple[float, tuple[int, ...]], ...]
    most: float


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a kind of day: what its visits bring, and what a day has to bring."""

    gains: Gains
    per_min: float
    least: float


def price_days(kind: DayKind, question: Question, effort: Effort) -> Priced:
    """Find the days that bring more than ``least``.

    Parameters
    ----------
    kind : DayKind
        Limits, places and windows.
    question : Question
        What visits bring and driving costs.
    effort : Effort
        How much is followed.

    Returns
    -------
    Priced
        Each day holds by `DayKind.holds`; a site that lies beyond the neighbours of those
        between may come twice in it.
    """
    nodes = promising(kind, question.gains, question.per_min, question.least)
    if not nodes.size:
        return Priced((), question.least)
    return _Pricing(kind, question, nodes).run(effort)


class _Pricing:
    """One search; visits are numbered anew, only the promising ones."""

    def __init__(self, kind: DayKind, question: Question, nodes: NDArray[np.int64]) -> None:
        self._kind, self._asked, self._nodes = kind, question, nodes
        self._drive = kind.drive_min[np.ix_(nodes, nodes)]
        self._service, self._home = kind.service_min[nodes], kind.home_min[nodes]
        self._opens, self._last = kind.opens_min[nodes], kind.last_min[nodes]
        self._gains = question.gains[nodes]
        self._memory = Memory(kind.site[nodes], self._drive, NEAR)
        self._completion = Completion(kind, nodes, question.gains, question.per_min)
        self._most = question.least
        self._history: list[Labels] = []
        self._ends: list[tuple[float, int, int]] = []

    def run(self, effort: Effort) -> Priced:
        """Follow beginnings visit by visit until none is left."""
        frontier = Frontier()
        labels = self._first()
        while len(labels := self._prune(labels, frontier, effort)):
            self._history.append(labels)
            self._finish(labels)
            labels = self._extend(labels)
        self._ends.sort(key=lambda end: (-end[0], end[1], end[2]))
        best = self._ends[0][0] if self._ends else self._most
        return Priced(self._days(), max(self._most, best))

    def _first(self) -> Labels:
        out = self._kind.out_min[self._nodes]
        start = np.maximum(self._kind.starts_min + out, self._opens)
        every = np.arange(len(self._nodes))
        labels = Labels(
            node=every,
            ready_min=start + self._service,
            spent_min=out + self._service,
            driving_min=out,
            gain=self._gains - self._asked.per_min * out,
            memory=self._memory.own.copy(),
            before=np.full(len(every), -1),
        )
        return labels.take(start <= self._last)

    def _prune(self, labels: Labels, frontier: Frontier, effort: Effort) -> Labels:
        """Keep what can still bring enough and is not plainly beaten, within the effort."""
        bound = self._bound(labels)
        labels = labels.take(bound > self._asked.least)
        labels = self._cut(labels, effort.raw)
        if not len(labels):
            return labels
        labels = labels.take(frontier.admit(labels))
        if effort.per_visit is not None:
            labels = self._cut_per_visit(labels, effort.per_visit)
        return self._cut(labels, effort.beam)

    def _bound(self, labels: Labels) -> Gains:
        kind = self._kind
        left = np.minimum(kind.usable_min - labels.spent_min, kind.ends_min - labels.ready_min)
        bound: Gains = labels.gain + self._completion.most(labels.node, left)
        return bound

    def _cut(self, labels: Labels, most: int) -> Labels:
        """Keep so many with the greatest bounds; what goes counts with its bound."""
        if len(labels) <= most:
            return labels
        bound = self._bound(labels)
        order = np.argsort(-bound, kind="stable")
        self._most = max(self._most, float(bound[order[most]]))
        return labels.take(np.sort(order[:most]))

    def _cut_per_visit(self, labels: Labels, most: int) -> Labels:
        bound = self._bound(labels)
        order = np.lexsort((-bound, labels.node))
        first = np.flatnonzero(np.diff(labels.node[order], prepend=-1))
        place = np.arange(len(order)) - np.repeat(first, np.diff(np.append(first, len(order))))
        dropped = order[place >= most]
        self._most = max(self._most, float(bound[dropped].max(initial=-np.inf)))
        return labels.take(np.sort(order[place < most]))

    def _finish(self, labels: Labels) -> None:
        """Note the beginnings that may end here and bring more than asked."""
        kind, home = self._kind, self._home[labels.node]
        gain = labels.gain - self._asked.per_min * home
        ends = (
            (labels.ready_min + home <= kind.ends_min)
            & (labels.spent_min + home <= kind.usable_min)
            & (labels.driving_min + home <= kind.max_driving_min)
            & (gain > self._asked.least)
        )
        rows = np.flatnonzero(ends)
        rows = rows[np.argsort(-gain[rows], kind="stable")[: 3 * MOST_GIVEN]]
        depth = len(self._history) - 1
        self._ends += [(float(gain[row]), depth, int(row)) for row in rows]

    def _extend(self, labels: Labels) -> Labels:
        block = max(1, BLOCK // len(self._nodes))
        parts = [
            self._extend_block(labels, np.arange(start, min(start + block, len(labels))))
            for start in range(0, len(labels), block)
        ]
        return joined(parts)

    def _extend_block(self, labels: Labels, rows: NDArray[np.int64]) -> Labels:
        kind, from_node = self._kind, labels.node[rows]
        drive = self._drive[from_node]
        start = np.maximum(labels.ready_min[rows][:, None] + drive, self._opens[None, :])
        ready = start + self._service[None, :]
        spent = labels.spent_min[rows][:, None] + drive + self._service[None, :]
        driving = labels.driving_min[rows][:, None] + drive
        left = np.minimum(kind.usable_min - spent, kind.ends_min - ready)
        gain = labels.gain[rows][:, None] + self._gains[None, :] - self._asked.per_min * drive
        fits = (start <= self._last[None, :]) & (left >= self._home[None, :])
        fits &= driving + self._home[None, :] <= kind.max_driving_min
        row, node = np.nonzero(fits)
        promise = gain[row, node] + self._completion.most(node, left[row, node])
        good = promise > self._asked.least
        row, node = row[good], node[good]
        memory = labels.memory[rows][row]
        free = self._memory.free(memory, node)
        row, node, memory = row[free], node[free], memory[free]
        return Labels(
            node=node,
            ready_min=ready[row, node],
            spent_min=spent[row, node],
            driving_min=driving[row, node],
            gain=gain[row, node],
            memory=self._memory.onward(memory, node),
            before=rows[row],
        )

    def _days(self) -> tuple[tuple[float, tuple[int, ...]], ...]:
        """Write out the best days, each set of visits once."""
        days: dict[frozenset[int], tuple[float, tuple[int, ...]]] = {}
        for gain, depth, row in self._ends:
            visits = self._visits(depth, row)
            days.setdefault(frozenset(visits), (gain, visits))
            if len(days) == MOST_GIVEN:
                break
        return tuple(days.values())

    def _visits(self, depth: int, row: int) -> tuple[int, ...]:
        visits = []
        for labels in reversed(self._history[: depth + 1]):
            visits.append(int(self._nodes[labels.node[row]]))
            row = int(labels.before[row])
        return tuple(reversed(visits))
