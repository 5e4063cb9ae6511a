"""What the records of a group of gauges say of its interval, by each published method."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.domain.found import AgedFinding
from fleet.domain.spell import Spell
from fleet.errors import TooFewPointsError
from fleet.stats.interval import ShareInterval, share_interval
from fleet.stats.reliability import balanced_factor, balancing_reduction, exponential_interval
from fleet.stats.staircase import Step, staircase_step
from fleet.stats.weibull import AgeInterval, WeibullFit, age_at_reliability, fit_weibull

AROUND_END = (0.5, 1.5)
"""Checks at ages of half to one and a half intervals tell of the interval's end: a choice of
this program, for few visits come on the very day."""

FURTHEST = 2.0
"""An interval is not carried beyond twice the age at which it was tried: a choice of this
program."""


@dataclass(frozen=True, slots=True)
class EndOfInterval:
    """Checks made around the end of an interval: how many found the gauge fit, and how old."""

    seen: ShareInterval
    mean_age_days: float
    youngest_days: int
    oldest_days: int


@dataclass(frozen=True, slots=True)
class CappedInterval:
    """An interval in days with its own exact interval; ``capped`` where any was cut off."""

    days: float
    low_days: float
    high_days: float
    capped: bool


@dataclass(frozen=True, slots=True)
class ReactiveInterval:
    """Method A1: a pass extends by ``extension``, a failure reduces by ``reduction`` (shares)."""

    extension: float
    reduction: float
    days: float


@dataclass(frozen=True, slots=True)
class LifeRecord:
    """The Weibull law of how long services last; ``fit`` is None where ``why_not`` says why."""

    spells: int
    failures: int
    fit: WeibullFit | None = None
    age: AgeInterval | None = None
    why_not: str = ""


def end_of_interval(findings: Iterable[AgedFinding], interval_days: int) -> EndOfInterval | None:
    """Count how many gauges were fit around the end of the interval.

    Parameters
    ----------
    findings : iterable of AgedFinding
        Of any number of gauges.
    interval_days : int
        The interval reviewed.

    Returns
    -------
    EndOfInterval or None
        From the checks with a verdict at ages of `AROUND_END` intervals, with the exact 95 %
        interval of the share; None where there is none. A gauge mended earlier than that does
        not count: that is told by the life of the services alone.
    """
    first, last = (share * interval_days for share in AROUND_END)
    told = [
        (finding.age_days, finding.found.unfit)
        for finding in findings
        if finding.age_days is not None
        and first <= finding.age_days <= last
        and finding.found.unfit is not None
    ]
    if not told:
        return None
    ages = [age_days for age_days, _ in told]
    fit = sum(not unfit for _, unfit in told)
    return EndOfInterval(
        share_interval(fit, len(told)), sum(ages) / len(ages), min(ages), max(ages)
    )


def memoryless_interval(end: EndOfInterval, target: float) -> CappedInterval:
    """Give the interval of the exponential rule, at the observed share and at its bounds.

    Parameters
    ----------
    end : EndOfInterval
        What was observed.
    target : float
        Reliability to be kept, between 0 and 1.

    Returns
    -------
    CappedInterval
        At most `FURTHEST` times the mean age of the checks.
    """
    shares = (end.seen.share, end.seen.low, end.seen.high)
    free = [exponential_interval(end.mean_age_days, share, target=target) for share in shares]
    furthest = FURTHEST * end.mean_age_days
    days, low, high = (min(one, furthest) for one in free)
    return CappedInterval(days, low, high, max(free) > furthest)


def reactive_interval(
    end: EndOfInterval, interval_days: int, *, extension: float, target: float
) -> ReactiveInterval:
    """Give the interval after one mean step of method A1.

    Parameters
    ----------
    end : EndOfInterval
        What was observed.
    interval_days : int
        The interval to be changed.
    extension, target : float
        Share by which a pass extends it; reliability to be kept.

    Returns
    -------
    ReactiveInterval
    """
    seen = end.seen
    factor = balanced_factor(seen.hits, seen.trials, extension=extension, target=target)
    reduction = balancing_reduction(extension, target=target)
    return ReactiveInterval(extension, reduction, interval_days * factor)


def staircase_counts(histories: Iterable[Sequence[AgedFinding]]) -> Counter[Step]:
    """Count what the newest result of each gauge asks of its interval.

    Parameters
    ----------
    histories : iterable of sequence of AgedFinding
        One a gauge, in order of day.

    Returns
    -------
    Counter
        By step. A blocked gauge or a failed switch asks to reduce: an instrument with any
        parameter out is out (a metrology guide's reading of NCSLI RP-1).
    """
    steps = (_newest_step(findings) for findings in histories)
    return Counter(step for step in steps if step is not None)


def life_of_services(spells: Sequence[Spell], target: float) -> LifeRecord:
    """Fit how long services last, and give the age at which the target is reached.

    Parameters
    ----------
    spells : sequence of Spell
        Of any number of gauges.
    target : float
        Reliability to be kept, between 0 and 1.

    Returns
    -------
    LifeRecord
        Without a fit where the evidence is not enough.
    """
    low = np.array([spell.fit_days for spell in spells], dtype=np.float64)
    ends = [np.inf if spell.unfit_days is None else spell.unfit_days for spell in spells]
    failures = sum(spell.unfit_days is not None for spell in spells)
    try:
        fit = fit_weibull(low, np.array(ends, dtype=np.float64))
    except TooFewPointsError as error:
        return LifeRecord(len(spells), failures, why_not=str(error))
    return LifeRecord(len(spells), failures, fit, age_at_reliability(fit, target))


def _newest_step(findings: Sequence[AgedFinding]) -> Step | None:
    for finding in reversed(findings):
        found = finding.found
        if found.blockage or found.switch:
            return Step.REDUCE
        if found.limit_share is not None:
            return staircase_step(found.limit_share)
    return None
