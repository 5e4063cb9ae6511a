"""Times what is done several times over and keeps a table of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median
from time import perf_counter
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Timing:
    """What was done, on how much, and how long each time took in s."""

    what: str
    size: str
    seconds: tuple[float, ...]


@dataclass
class Stopwatch:
    """Keeps a timing for each thing measured."""

    timings: list[Timing] = field(default_factory=list)

    def measure(self, what: str, act: Callable[[], T], *, size: str = "", runs: int = 1) -> T:
        """Do something ``runs`` times and give what the last time gave."""
        if runs < 1:
            raise ValueError(f"{runs} runs, at least 1 is expected")
        seconds = []
        for _ in range(runs):
            start = perf_counter()
            given = act()
            seconds.append(perf_counter() - start)
        self.timings.append(Timing(what, size, tuple(seconds)))
        return given

    def table(self) -> list[str]:
        """Give a line a timing, as a Markdown table; nothing when nothing was measured."""
        if not self.timings:
            return []
        rows = [
            f"| {t.what} | {t.size} | {len(t.seconds)} | {median(t.seconds):.2f} "
            f"| {min(t.seconds):.2f} | {max(t.seconds):.2f} |"
            for t in self.timings
        ]
        head = ["| what | size | runs | median s | least s | most s |", "|---|---|---|---|---|---|"]
        return [*head, *rows]
