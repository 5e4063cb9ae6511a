"""Shares in date and in tolerance with their exact interval."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.domain.audit.evidence import Ask, Evidence
from fleet.domain.audit.share import Measure, ShareCount, share_counts

CONFIDENCE = 0.95

_WHAT = {
    Measure.IN_DATE: "gauges are in date",
    Measure.IN_TOLERANCE_AS_FOUND: "checks with a verdict were in tolerance as found",
    Measure.IN_TOLERANCE_AS_LEFT: "checks with a verdict were in tolerance as left",
}


@dataclass(frozen=True, slots=True)
class ShareRow:
    """A share in percent with its exact two-sided 95 % interval; missing where ``n`` is 0."""

    depot_code: str
    measure: str
    hits: int
    n: int
    share_percent: float | None
    low_percent: float | None
    high_percent: float | None
    undecided: int
    not_measured: int
    sentence: str


def summary_rows(evidence: Evidence, ask: Ask) -> list[ShareRow]:
    """Give the shares by depot, then of all depots together, each with its interval."""
    return [_row(count) for count in share_counts(evidence, ask)]


def _row(count: ShareCount) -> ShareRow:
    share, low, high = _interval(count)
    return ShareRow(
        depot_code=count.depot_code,
        measure=count.measure.value,
        hits=count.hits,
        n=count.n,
        share_percent=share,
        low_percent=low,
        high_percent=high,
        undecided=count.undecided,
        not_measured=count.not_measured,
        sentence=_words(count, share, low, high),
    )


def _interval(count: ShareCount) -> tuple[float | None, float | None, float | None]:
    if count.n == 0:
        return None, None, None
    from fleet.stats.interval import share_interval

    found = share_interval(count.hits, count.n, confidence=CONFIDENCE)
    return 100.0 * found.share, 100.0 * found.low, 100.0 * found.high


def _words(count: ShareCount, share: float | None, low: float | None, high: float | None) -> str:
    words = f"{count.hits} of {count.n} {_WHAT[count.measure]}"
    if share is not None:
        words += f": {share:.1f} % (95 % interval {low:.1f} to {high:.1f} %)"
    if count.measure is not Measure.IN_DATE:
        words += (
            f"; undecided {count.undecided}, gauges not measured {count.not_measured}, "
            "neither of which is a pass"
        )
    return f"{words}."
