"""Times what is done several times over and keeps a table of it."""

from __future__ import annotations

import resource
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median
from time import perf_counter
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Timing:
    """What was done, on how much, and how long each time took in s.

    ``clock_s`` is what a person waits; ``busy_s`` what processors worked on it, so that what else
    the machine did meanwhile is not counted.
    """

    what: str
    size: str
    clock_s: tuple[float, ...]
    busy_s: tuple[float, ...]


@dataclass
class Stopwatch:
    """Keeps a timing for each thing measured."""

    timings: list[Timing] = field(default_factory=list)

    def measure(self, what: str, act: Callable[[], T], *, size: str = "", runs: int = 1) -> T:
        """Do something ``runs`` times and give what the last time gave."""
        if runs < 1:
            raise ValueError(f"{runs} runs, at least 1 is expected")
        clock_s, busy_s = [], []
        for _ in range(runs):
            start, before = perf_counter(), busy_seconds()
            given = act()
            clock_s.append(perf_counter() - start)
            busy_s.append(busy_seconds() - before)
        self.timings.append(Timing(what, size, tuple(clock_s), tuple(busy_s)))
        return given

    def table(self) -> list[str]:
        """Give a line a timing, as a Markdown table; nothing when nothing was measured."""
        if not self.timings:
            return []
        rows = [
            f"| {t.what} | {t.size} | {len(t.clock_s)} | {median(t.clock_s):.2f} "
            f"| {min(t.clock_s):.2f} | {max(t.clock_s):.2f} | {median(t.busy_s):.2f} |"
            for t in self.timings
        ]
        head = "| what | size | runs | median s | least s | most s | processor s (median) |"
        return [head, "|---|---|---|---|---|---|---|", *rows]


def busy_seconds() -> float:
    """Give the processor time of this process and of those that it ran, in s."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)
