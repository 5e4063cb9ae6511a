"""How many gauges are in date and in tolerance, by depot, with everything that was left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from fleet.domain.audit.due import past_due
from fleet.domain.audit.evidence import Ask, Evidence
from fleet.domain.audit.tolerance import (
    OUT_OF_TOLERANCE,
    UNDECIDED,
    judge_phase,
    measured_checks,
)
from fleet.domain.code import Phase, Verdict

ALL_DEPOTS = "*"
"""Stands for every depot together; no depot can have this code."""


class Measure(StrEnum):
    """What a share is of."""

    IN_DATE = "in_date"
    IN_TOLERANCE_AS_FOUND = "in_tolerance_as_found"
    IN_TOLERANCE_AS_LEFT = "in_tolerance_as_left"


MEASURES = {
    Phase.AS_FOUND: Measure.IN_TOLERANCE_AS_FOUND,
    Phase.AS_LEFT: Measure.IN_TOLERANCE_AS_LEFT,
}


@dataclass(frozen=True, slots=True)
class ShareCount:
    """A share before its interval: ``hits`` of ``n``, and what could not be counted.

    ``undecided`` phases have too few runs or lie too near the edge; ``not_measured`` gauges have
    no such phase on record. Neither is in ``n``: they are no passes and no failures.
    """

    depot_code: str
    measure: Measure
    hits: int
    n: int
    undecided: int = 0
    not_measured: int = 0


def share_counts(evidence: Evidence, ask: Ask) -> list[ShareCount]:
    """Count gauges in date, and phases in tolerance.

    Parameters
    ----------
    evidence : Evidence
        Services and histories.
    ask : Ask
        Without ``since`` the latest measured phase of each gauge that stands there; with it
        each one from that day on.

    Returns
    -------
    list of ShareCount
        Depots in order of code, then all together under ``*`` where there is more than one.
    """
    depots = sorted(
        {
            audited.gauge.depot_code
            for audited in evidence.gauges
            if audited.stands or ask.since is not None
        }
    )
    counts = [
        *_dates(evidence, ask, depots),
        *(count for phase in Phase for count in _tolerances(evidence, ask, phase, depots)),
    ]
    order = {measure: number for number, measure in enumerate(Measure)}
    listed = sorted(counts, key=lambda count: (count.depot_code, order[count.measure]))
    return listed + (_together(listed) if len(depots) > 1 else [])


def counted_checks(evidence: Evidence, ask: Ask) -> frozenset[tuple[str, str | None]]:
    """Give visit and serial of the checks that the shares rest on: last services and phases."""
    services = {
        (told.visit_ref, told.serial)
        for told in evidence.told.values()
        if told.visit_ref is not None
    }
    measured = {
        (check.record.visit_ref, check.record.serial)
        for phase in Phase
        for check in measured_checks(evidence, ask, phase)
    }
    return frozenset(services | measured)


def _dates(evidence: Evidence, ask: Ask, depots: Iterable[str]) -> list[ShareCount]:
    gauges = Counter(last.depot_code for last in evidence.services)
    late = Counter(last.depot_code for last, _ in past_due(evidence, ask.as_of))
    return [
        ShareCount(depot, Measure.IN_DATE, gauges[depot] - late[depot], gauges[depot])
        for depot in depots
    ]


def _tolerances(
    evidence: Evidence, ask: Ask, phase: Phase, depots: Iterable[str]
) -> list[ShareCount]:
    verdicts: dict[str, list[Verdict]] = {depot: [] for depot in depots}
    measured: set[int] = set()
    for check in measured_checks(evidence, ask, phase):
        verdict = judge_phase(evidence, check.gauge, check.record, phase=phase).verdict
        verdicts[check.gauge.depot_code].append(verdict)
        measured.add(check.gauge.installation_id)
    unmeasured = Counter(
        audited.gauge.depot_code
        for audited in evidence.standing()
        if audited.gauge.installation_id not in measured
    )
    return [
        _count(depot, MEASURES[phase], listed, unmeasured[depot])
        for depot, listed in verdicts.items()
    ]


def _count(depot: str, measure: Measure, verdicts: list[Verdict], not_measured: int) -> ShareCount:
    passed = sum(verdict is Verdict.PASSED for verdict in verdicts)
    failed = sum(verdict in OUT_OF_TOLERANCE for verdict in verdicts)
    undecided = sum(verdict in UNDECIDED for verdict in verdicts)
    return ShareCount(depot, measure, passed, passed + failed, undecided, not_measured)


def _together(counts: Iterable[ShareCount]) -> list[ShareCount]:
    listed = list(counts)
    return [
        ShareCount(
            ALL_DEPOTS,
            measure,
            *(
                sum(getattr(count, name) for count in listed if count.measure is measure)
                for name in ("hits", "n", "undecided", "not_measured")
            ),
        )
        for measure in Measure
    ]
