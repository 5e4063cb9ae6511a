"""What a check found, cause by cause: the truth that forecasts and intervals are held against."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import AuditedGauge
from fleet.domain.check import judge, limits_percent, phase_error
from fleet.domain.code import Phase, Verdict
from fleet.domain.history import CheckRecord, Gauge, PhaseRuns
from fleet.domain.policy import Policy
from fleet.domain.switch import judge_switch

_KNOWN = {Verdict.PASSED: False, Verdict.FAILED: True, Verdict.REJECTED: True}
"""Verdicts that tell whether a gauge was out of tolerance; the others tell nothing."""


@dataclass(frozen=True, slots=True)
class Found:
    """A gauge as found: True is a cause of being unfit, None is not known.

    ``drift`` is not known of a gauge that was blocked or whose switch failed, for its tips then
    tell of that. ``limit_share`` is the error over the tolerance on its side, not negative;
    above 1 is out of tolerance. None where drift is not known to be the error's only cause.
    """

    drift: bool | None
    blockage: bool
    switch: bool | None
    limit_share: float | None = None

    @property
    def unfit(self) -> bool | None:
        """Tell whether the gauge was unfit; None where nothing failed but no test passed.

        A passed test also shows that the switch counts.
        """
        if self.drift or self.blockage or self.switch:
            return True
        return None if self.drift is None else False


def found_of(record: CheckRecord, gauge: Gauge, policy: Policy) -> Found:
    """Hold a gauge as it was found against a policy.

    Parameters
    ----------
    record : CheckRecord
        A check of the gauge.
    gauge : Gauge
        Which was checked.
    policy : Policy
        Whose tolerances and limits count.

    Returns
    -------
    Found
        Too few runs, or an error too near the edge to tell, is neither fit nor unfit.
    """
    switch = _switch(record, policy)
    if record.blocked_found or switch or record.as_found is None:
        return Found(None, record.blocked_found, switch)
    verdict = judge(
        record.as_found,
        gauge.tip_ml,
        policy=policy,
        phase=Phase.AS_FOUND,
        test_volume_ml=gauge.test_volume_ml,
    ).verdict
    share = _limit_share(record.as_found, gauge, policy)
    return Found(_KNOWN.get(verdict), record.blocked_found, switch, share)


def _switch(record: CheckRecord, policy: Policy) -> bool | None:
    readings = record.switch_found
    verdict = judge_switch(readings, policy=policy, phase=Phase.AS_FOUND).verdict
    return _KNOWN.get(verdict)


def _limit_share(runs: PhaseRuns, gauge: Gauge, policy: Policy) -> float:
    error_percent = phase_error(runs, gauge.tip_ml).error_percent
    nominal_tips = gauge.test_volume_ml / gauge.tip_ml
    low, high = limits_percent(policy, Phase.AS_FOUND, nominal_tips=nominal_tips)
    limit = high if error_percent > 0 else low
    if limit == 0:
        return 0.0 if error_percent == 0 else float("inf")
    return error_percent / limit


@dataclass(frozen=True, slots=True)
class AgedFinding:
    """What a check found, and how old the gauge's service was by then.

    ``age_days`` is None before the first service on record, 0 for a second check of a day.
    ``serviced`` tells that the check left the gauge freshly serviced, or newly installed.
    """

    record: CheckRecord
    found: Found
    age_days: int | None
    serviced: bool


def aged_findings(audited: AuditedGauge, policy_on: Callable[[date], Policy]) -> list[AgedFinding]:
    """Give what each check of a gauge found, and how old its service was by then.

    Parameters
    ----------
    audited : AuditedGauge
        With its records in order of day.
    policy_on : callable
        Gives the policy to judge by for the day of a check.

    Returns
    -------
    list of AgedFinding
        In order of day. An installation counts as a service only where a check of that day is
        on record: often the records begin years after it, and the services between are lost.
    """
    findings: list[AgedFinding] = []
    serviced_on: date | None = None
    for record in audited.checks():
        day = record.visited_on
        found = found_of(record, audited.gauge, policy_on(day))
        age_days = None if serviced_on is None else (day - serviced_on).days
        serviced = record.serviced or day == audited.gauge.installed_on
        findings.append(AgedFinding(record, found, age_days, serviced))
        serviced_on = day if serviced else serviced_on
    return findings
