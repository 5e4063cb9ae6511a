"""Beginnings of days in one go: many at once, each only kept while none is plainly better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]
Words = NDArray[np.uint64]

WORD = 64
"""Sites a word of memory holds, a bit each."""


@dataclass(frozen=True, slots=True)
class Labels:
    """Beginnings of days that end at a visit, one a row.

    ``ready_min`` is when the work there is done, ``spent_min`` driving and work since leaving,
    ``driving_min`` the driving in it, ``gain`` what they bring so far, ``memory`` the sites that
    must not come again, ``before`` the row of the beginning that each goes on from.
    """

    node: Whole
    ready_min: Whole
    spent_min: Whole
    driving_min: Whole
    gain: NDArray[np.float64]
    memory: Words
    before: Whole

    def __len__(self) -> int:
        return len(self.node)

    def take(self, rows: NDArray[np.int64] | NDArray[np.bool_]) -> Labels:
        """Give some of the rows."""
        return Labels(*(getattr(self, field.name)[rows] for field in fields(self)))

    def beats(self, other: Labels) -> NDArray[np.bool_]:
        """Tell for each pair of rows (own, other's) at one visit whether the own is plainly better.

        It brings at least as much, in no more time and driving, and may go wherever the other
        may.
        """
        better: NDArray[np.bool_] = self.gain[:, None] >= other.gain[None, :]
        for name in ("ready_min", "spent_min", "driving_min"):
            better &= getattr(self, name)[:, None] <= getattr(other, name)[None, :]
        own, theirs = np.nonzero(better)
        better[own, theirs] = ((self.memory[own] & ~other.memory[theirs]) == 0).all(axis=1)
        return better


def joined(parts: Sequence[Labels]) -> Labels:
    """Put labels together in the order given; at least one part."""
    return Labels(
        *(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Labels))
    )


class Memory:
    """Which sites a day remembers at each visit: those near enough to be tempting again.

    A site farther away may come again, which allows days that a plan may not have, so that a
    bound from them holds (the neighbourhoods of Baldacci, Mingozzi and Roberti, 2011).
    """

    def __init__(self, site: Whole, drive_min: Whole, reach: int) -> None:
        _, number = np.unique(site, return_inverse=True)
        words = max(1, -(-(int(number.max(initial=0)) + 1) // WORD))
        self.own = np.zeros((len(site), words), dtype=np.uint64)
        self.own[np.arange(len(site)), number // WORD] = np.uint64(1) << (number % WORD).astype(
            np.uint64
        )
        near = np.argsort(drive_min, axis=1, kind="stable")[:, :reach]
        kept: Words = np.bitwise_or.reduce(self.own[near], axis=1)
        self._kept = kept | self.own

    def free(self, memory: Words, node: Whole) -> NDArray[np.bool_]:
        """Tell whether each visit's site is not remembered."""
        free: NDArray[np.bool_] = ((memory & self.own[node]) == 0).all(axis=1)
        return free

    def onward(self, memory: Words, node: Whole) -> Words:
        """Give what is remembered after going on to visits."""
        remembered: Words = (memory & self._kept[node]) | self.own[node]
        return remembered


class Frontier:
    """The best beginnings known at each visit, to weigh new ones against."""

    def __init__(self) -> None:
        self._known: dict[int, Labels] = {}

    def admit(self, labels: Labels) -> NDArray[np.bool_]:
        """Take in new beginnings; tell for each whether none is plainly better."""
        stays = np.zeros(len(labels), dtype=np.bool_)
        order = np.lexsort((-labels.gain, labels.node))
        bounds = np.flatnonzero(np.diff(labels.node[order], prepend=-1))
        for rows in np.split(order, bounds[1:]) if len(order) else []:
            kept = rows[self._survive(labels.take(rows))]
            stays[kept] = True
            node = int(labels.node[rows[0]])
            new = labels.take(kept)
            known = self._known.get(node)
            self._known[node] = new if known is None else joined([known, new])
        return stays

    def _survive(self, new: Labels) -> NDArray[np.bool_]:
        """Tell which rows neither an older nor a better new one beats; best gains come first."""
        known = self._known.get(int(new.node[0]))
        alive = np.ones(len(new), dtype=np.bool_)
        if known is not None:
            alive &= ~known.beats(new).any(axis=0)
        rows = np.flatnonzero(alive)
        if len(rows) > 1:
            rest = new.take(rows)
            alive[rows] = ~np.triu(rest.beats(rest), 1).any(axis=0)
        return alive
