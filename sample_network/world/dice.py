"""Random draws that stay the same on every machine and Python version.

Only `random.Random.random` is used: Python promises to keep its sequence for a seed.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from math import exp
from statistics import NormalDist
from typing import TypeVar

T = TypeVar("T")
DEFAULT_SEED = 2026

_STANDARD = NormalDist()


class Dice:
    """A stream of draws with a name, so that one part's draws never shift another's."""

    seed = DEFAULT_SEED

    def __init__(self, *name: object) -> None:
        self._random = random.Random("/".join(str(part) for part in (Dice.seed, *name)))

    def share(self) -> float:
        """Draw from (0, 1)."""
        return min(max(self._random.random(), 1e-12), 1 - 1e-12)

    def uniform(self, low: float, high: float) -> float:
        return low + (high - low) * self.share()

    def normal(self, mean: float, sd: float) -> float:
        return mean + sd * _STANDARD.inv_cdf(self.share())

    def spread(self, sd: float) -> float:
        """Draw a factor around 1 whose logarithm has the standard deviation given."""
        return exp(self.normal(0.0, sd))

    def whole(self, low: int, high: int) -> int:
        """Draw a whole number, both ends allowed."""
        return low + int((high - low + 1) * self.share())

    def chance(self, probability: float) -> bool:
        return self.share() < probability

    def choose(self, items: Sequence[T]) -> T:
        return items[int(len(items) * self.share())]

    def weighted(self, weights: Mapping[T, float]) -> T:
        mark = self.share() * sum(weights.values())
        for item, weight in weights.items():
            mark -= weight
            if mark <= 0:
                return item
        return list(weights)[-1]
