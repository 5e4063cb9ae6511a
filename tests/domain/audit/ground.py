"""Hand-made evidence for the audit rules: one policy book, one kind of gauge, checks as literals.

The policy: until 2024-12-31 an interval of 240 days and 7.5 % / 5 %, from 2025-01-01 on 180 days
and 5 % / 3 %; reject limit 10 %, two runs a phase, switch limits 5 ohm closed and 1 Mohm open.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import count

from fleet.domain.audit.evidence import AuditedGauge, Evidence
from fleet.domain.audit.kept import LastService, ServiceTold
from fleet.domain.code import DecisionRule, PolicyScope
from fleet.domain.history import CheckRecord, GaugeHistory
from fleet.domain.policy import PolicyBook, PolicyRow, PolicyTerms
from fleet.domain.state import derive_state
from tests.factories import make_gauge

OLD_TERMS = PolicyTerms(
    service_interval_days=240,
    as_found_tolerance_percent=7.5,
    as_left_tolerance_percent=5.0,
    reject_limit_percent=10.0,
    minimum_as_found_runs=2,
    minimum_as_left_runs=2,
    closed_field_limit_ohm=5.0,
    closed_workshop_limit_ohm=1.0,
    open_limit_ohm=1e6,
    decision_rule=DecisionRule.SIMPLE,
    target_reliability=0.9,
    compliance_record_days=0.0,
)
NEW_TERMS = replace(
    OLD_TERMS,
    service_interval_days=180,
    as_found_tolerance_percent=5.0,
    as_left_tolerance_percent=3.0,
)

_IDS = count(1)


def book(**newer: object) -> PolicyBook:
    """Give the two network rows, the newer one with changed terms."""
    return PolicyBook(
        [
            PolicyRow(PolicyScope.NETWORK, "", date(2020, 1, 1), OLD_TERMS, "old terms"),
            PolicyRow(
                PolicyScope.NETWORK,
                "",
                date(2025, 1, 1),
                replace(NEW_TERMS, **newer),  # type: ignore[arg-type]
                "new terms",
            ),
        ]
    )


def audited(
    *records: CheckRecord,
    removed_on: date | None = None,
    required_skill: str | None = None,
    **gauge: object,
) -> AuditedGauge:
    """Give a gauge with its checks; fields of the gauge by name."""
    history = GaugeHistory(make_gauge(**{"installation_id": next(_IDS), **gauge}), records)
    return AuditedGauge(history, "Quellmoor", required_skill, removed_on)


def evidence(*gauges: AuditedGauge, **more: object) -> Evidence:
    """Give evidence on some gauges under the two network rows, with their last services."""
    standing = [audited for audited in gauges if audited.stands]
    told = {one.gauge.installation_id: service_told(one) for one in standing}
    services = tuple(last_service(one.history) for one in standing)
    fields = {"policies": book(), "services": services, "told": told, **more}
    return Evidence(gauges=gauges, **fields)  # type: ignore[arg-type]


def last_service(history: GaugeHistory) -> LastService:
    """Fold a history into the last service of its gauge."""
    gauge = history.gauge
    return LastService(
        installation_id=gauge.installation_id,
        site_code=gauge.site_code,
        type_code=gauge.type_code,
        depot_code=gauge.depot_code,
        installed_on=gauge.installed_on,
        last_service_on=derive_state(history).last_service_on,
    )


def service_told(audited: AuditedGauge) -> ServiceTold:
    """Fold a history into what is told of the last service of its gauge."""
    state = derive_state(audited.history)
    service = [one for one in audited.checks() if one.visit_ref == state.last_service_ref]
    return ServiceTold(
        site_name=audited.site_name,
        position=audited.gauge.position,
        serial=audited.gauge.serial,
        visit_ref=state.last_service_ref,
        by=" ".join(service[-1].technicians) if service else "",
        failed_attempts=state.attempts_since_service,
    )
