"""The table of outcomes: means over the seeds, and each method against the better of two."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import sqrt
from statistics import fmean, stdev

from tests.benchmarks.season.season import Outcome
from tests.benchmarks.season.truth import CAUSES

HAND = ("a1", "a2")
"""What good hands do: the better of these, by its mean over the seeds, is the measure."""

HEAD = (
    "crew",
    "method",
    "lost %",
    "record-days lost",
    "of better hand",
    "in date %",
    "days overdue",
    "visits",
    *(f"{cause} %" for cause in CAUSES),
)

Outcomes = Mapping[str, Sequence[Outcome]]


def table_lines(crew: str, outcomes: Outcomes) -> list[str]:
    """Give a Markdown row a method."""
    hand = min(HAND, key=lambda name: fmean(o.lost for o in outcomes[name]))
    return [_row([crew, name, *_cells(seen, outcomes[hand])]) for name, seen in outcomes.items()]


def head_lines() -> list[str]:
    """Give the head of the table."""
    return [_row(HEAD), _row("---" for _ in HEAD)]


def _cells(seen: Sequence[Outcome], hand: Sequence[Outcome]) -> list[str]:
    ratio = fmean(o.lost for o in seen) / fmean(o.lost for o in hand)
    by_seed = [o.lost / h.lost for o, h in zip(seen, hand, strict=True)]
    spread = f" +-{stdev(by_seed) / sqrt(len(by_seed)):.3f}" if len(by_seed) > 1 else ""
    causes = [100.0 * fmean(o.lost_by_cause[k] for o in seen) for k in range(len(CAUSES))]
    return [
        f"{100.0 * fmean(o.lost for o in seen):.2f}",
        f"{fmean(o.lost_days for o in seen):,.0f}",
        f"{ratio:.3f}{spread}",
        f"{100.0 * fmean(o.in_date for o in seen):.1f}",
        f"{fmean(o.mean_days_overdue for o in seen):.1f}",
        f"{fmean(o.visits for o in seen):,.0f}",
        *(f"{cause:.2f}" for cause in causes),
    ]


def _row(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"
