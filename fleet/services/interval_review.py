"""Review the service intervals: what the policy says, what is forecast, and what was found."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

import numpy as np
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.found import AgedFinding, aged_findings
from fleet.domain.spell import spells_of
from fleet.domain.state import derive_state
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.stats.array import Floats
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.forecast import after_service
from fleet.stats.gauge_array import lay_out, stand_states
from fleet.stats.reliability import age_at_target
from fleet.stats.reliability_record import (
    CappedInterval,
    EndOfInterval,
    LifeRecord,
    ReactiveInterval,
    end_of_interval,
    life_of_services,
    memoryless_interval,
    reactive_interval,
    staircase_counts,
)
from fleet.stats.staircase import Step
from fleet.store.queries.crew import depot

By = Literal["type", "site"]

LONGEST_DAYS = 1827
"""Forecasts look five years ahead; an interval beyond that is told as such."""

STEP_DAYS = 7
A1_EXTENSION = 0.10
"""A pass extends by a tenth, the first of the worked values of method A1: change it at will."""

Terms = tuple[str, int, float]
"""Code of type or site, interval in days and target reliability of the policy."""


@dataclass(frozen=True, slots=True)
class ReviewOrder:
    """What to review: as of a day, the records known on an instant (None is now), of a depot."""

    as_of: date
    known_on: datetime | None = None
    depot_code: str | None = None
    by: By = "type"
    extension: float = A1_EXTENSION


@dataclass(frozen=True, slots=True)
class ForecastAge:
    """The age at which the forecast of freshly serviced gauges reaches the target, in days.

    ``shortest_days`` and ``longest_days`` are of the single gauges; infinite is beyond
    `LONGEST_DAYS`. ``unfit_at_interval`` is the mean probability at the policy's interval.
    """

    days: float
    shortest_days: float
    longest_days: float
    unfit_at_interval: float


@dataclass(frozen=True, slots=True)
class IntervalReview:
    """One type or site under one policy: forecast, records, and what each method makes of them.

    ``end``, ``memoryless`` and ``reactive`` are None where no check with a verdict came around
    the end of the interval.
    """

    code: str
    gauges: int
    interval_days: int
    target: float
    forecast: ForecastAge
    end: EndOfInterval | None
    memoryless: CappedInterval | None
    reactive: ReactiveInterval | None
    staircase: Counter[Step]
    life: LifeRecord


def review_intervals(sessions: sessionmaker[Session], order: ReviewOrder) -> list[IntervalReview]:
    """Review the interval of every type, or of every site.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from: the policy is never changed.
    order : ReviewOrder
        What to review.

    Returns
    -------
    list of IntervalReview
        One for each type (or site), interval and target in force on the day, in that order.
        Every as-found result is judged by the policy in force on the day of the review, so that
        old results and the present tolerance go together.

    Raises
    ------
    NotFoundError
        There is no such depot.
    """
    if order.depot_code is not None:
        with sessions() as session:
            depot(session, order.depot_code, known_on=order.known_on)
    asked = RecordsAsked(known_on=order.known_on)
    evidence = gather_evidence(sessions, Ask(order.as_of), asked=asked)
    shown = [a for a in evidence.gauges if order.depot_code in (None, a.gauge.depot_code)]
    histories = _by_terms(evidence, shown, order)
    days = np.arange(0.0, LONGEST_DAYS + STEP_DAYS, STEP_DAYS)
    curves = _curves(evidence, order, days)
    reviews = []
    for terms, gauges in sorted(histories.items()):
        unfit = [curves[gauge] for a in gauges if (gauge := a.gauge.installation_id) in curves]
        if unfit:
            findings = [_findings(evidence, audited, order.as_of) for audited in gauges]
            forecast = _forecast_age(np.array(unfit), days, terms)
            reviews.append(_review(terms, forecast, findings, gauges=len(unfit), order=order))
    return reviews


def _by_terms(
    evidence: Evidence, shown: Iterable[AuditedGauge], order: ReviewOrder
) -> dict[Terms, list[AuditedGauge]]:
    groups: dict[Terms, list[AuditedGauge]] = defaultdict(list)
    for audited in shown:
        gauge = audited.gauge
        policy = evidence.policy(gauge, order.as_of)
        code = gauge.type_code if order.by == "type" else gauge.site_code
        terms = (code, policy.service_interval_days, policy.target_reliability)
        groups[terms].append(audited)
    return groups


def _curves(evidence: Evidence, order: ReviewOrder, days: Floats) -> dict[int, Floats]:
    """Forecast every standing gauge had it just been serviced; the whole fleet teaches."""
    states = [derive_state(audited.history) for audited in evidence.standing()]
    if not states:
        return {}
    policies = [evidence.policy(state.gauge, order.as_of) for state in states]
    standings = stand_states(states, policies, model=fit_fleet(states), as_of=order.as_of)
    unfit = after_service(lay_out(standings), days).unfit()
    return {state.gauge.installation_id: row for state, row in zip(states, unfit, strict=True)}


def _findings(evidence: Evidence, audited: AuditedGauge, as_of: date) -> list[AgedFinding]:
    policy = evidence.policy(audited.gauge, as_of)
    return aged_findings(audited, lambda _: policy)


def _forecast_age(unfit: Floats, days: Floats, terms: Terms) -> ForecastAge:
    _, interval_days, target = terms
    mean = unfit.mean(axis=0)
    ages = [age_at_target(days, row, target=target) for row in unfit]
    return ForecastAge(
        days=age_at_target(days, mean, target=target),
        shortest_days=min(ages),
        longest_days=max(ages),
        unfit_at_interval=float(np.interp(interval_days, days, mean)),
    )


def _review(
    terms: Terms,
    forecast: ForecastAge,
    findings: Sequence[Sequence[AgedFinding]],
    *,
    gauges: int,
    order: ReviewOrder,
) -> IntervalReview:
    code, interval_days, target = terms
    end = end_of_interval((one for history in findings for one in history), interval_days)
    reactive = (
        None
        if end is None
        else reactive_interval(end, interval_days, extension=order.extension, target=target)
    )
    return IntervalReview(
        code=code,
        gauges=gauges,
        interval_days=interval_days,
        target=target,
        forecast=forecast,
        end=end,
        memoryless=None if end is None else memoryless_interval(end, target),
        reactive=reactive,
        staircase=staircase_counts(findings),
        life=life_of_services([s for history in findings for s in spells_of(history)], target),
    )
