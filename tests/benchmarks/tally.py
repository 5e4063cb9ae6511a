"""Keeps what was measured against what was asked, and prints it as a table."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Entry:
    """One measurement: what, what was found, what was asked, and the time it took in s."""

    what: str
    found: str
    asked: str
    met: bool | None
    clock_s: float
    busy_s: float


@dataclass
class Tally:
    """Keeps an entry for each measurement, in order."""

    entries: list[Entry] = field(default_factory=list)

    def table(self) -> list[str]:
        """Give a line an entry, as a Markdown table; nothing when nothing was measured."""
        if not self.entries:
            return []
        words = {True: "yes", False: "NO", None: "-"}
        rows = [
            f"| {e.what} | {e.found} | {e.asked} | {words[e.met]} "
            f"| {e.clock_s:.1f} | {e.busy_s:.1f} |"
            for e in self.entries
        ]
        head = "| what | found | asked | met | clock s | processor s |"
        return [head, "|---|---|---|---|---|---|", *rows]
