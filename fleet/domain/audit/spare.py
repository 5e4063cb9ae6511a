"""Instruments that stand nowhere: spares, those in the workshop, and what does not fit."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.audit.kept import InstrumentKept
from fleet.domain.audit.tolerance import judge_phase, runs_of
from fleet.domain.code import InstrumentStatus, Phase
from fleet.domain.history import CheckRecord


@dataclass(frozen=True, slots=True)
class SpareRow:
    """An instrument that stands nowhere on the day, or whose status does not fit where it stands.

    ``ready`` tells whether it may go out as it is, as far as the records say.
    """

    serial: str
    type_code: str
    status: str
    ready: bool
    last_site_code: str | None
    last_position: str | None
    away_since: date | None
    days_away: int | None
    last_tested_on: date | None
    last_visit_ref: str | None
    last_verdict: str | None
    note: str | None
    sentence: str


def spares(evidence: Evidence, ask: Ask) -> list[SpareRow]:
    """List the instruments that stand nowhere, and those whose status does not fit.

    Parameters
    ----------
    evidence : Evidence
        With the register of instruments.
    ask : Ask
        ``codes`` names serials; none is all. Retired instruments are left out, unless they
        stand somewhere.

    Returns
    -------
    list of SpareRow
        In order of type, status and serial.
    """
    stays = stays_by_serial(evidence)
    rows = [
        _spare_row(evidence, kept, stays[kept.serial], as_of=ask.as_of)
        for kept in evidence.instruments
        if (not ask.codes or kept.serial in ask.codes) and _is_listed(kept, stays[kept.serial])
    ]
    return sorted(rows, key=lambda row: (row.type_code, row.status, row.serial))


def stays_by_serial(evidence: Evidence) -> dict[str, list[AuditedGauge]]:
    """Give the stays of each instrument, in order of day."""
    stays: dict[str, list[AuditedGauge]] = defaultdict(list)
    for audited in sorted(evidence.gauges, key=lambda audited: audited.gauge.installed_on):
        stays[audited.gauge.serial].append(audited)
    return stays


def stands(stays: Sequence[AuditedGauge]) -> bool:
    """Tell whether an instrument stands somewhere on the day asked about."""
    return bool(stays) and stays[-1].stands


def _is_listed(kept: InstrumentKept, stays: Sequence[AuditedGauge]) -> bool:
    if stands(stays):
        return kept.status is not InstrumentStatus.IN_SERVICE
    return kept.status is not InstrumentStatus.RETIRED


def _is_ready(kept: InstrumentKept, stays: Sequence[AuditedGauge]) -> bool:
    return kept.status is InstrumentStatus.SPARE and not stands(stays)


def _spare_row(
    evidence: Evidence, kept: InstrumentKept, stays: Sequence[AuditedGauge], *, as_of: date
) -> SpareRow:
    last = stays[-1] if stays else None
    away = None if last is None else last.removed_on
    tested, verdict = _last_test(evidence, stays)
    return SpareRow(
        serial=kept.serial,
        type_code=kept.type_code,
        status=kept.status.value,
        ready=_is_ready(kept, stays),
        last_site_code=None if last is None else last.gauge.site_code,
        last_position=None if last is None else last.gauge.position,
        away_since=away,
        days_away=None if away is None else (as_of - away).days,
        last_tested_on=None if tested is None else tested.visited_on,
        last_visit_ref=None if tested is None else tested.visit_ref,
        last_verdict=verdict,
        note=kept.note,
        sentence=_spare_words(kept, stays, as_of),
    )


def _last_test(
    evidence: Evidence, stays: Sequence[AuditedGauge]
) -> tuple[CheckRecord | None, str | None]:
    """Give the last check with a tip test in the field, and the verdict of its last phase."""
    for audited in reversed(stays):
        for record in reversed(audited.checks()):
            for phase in (Phase.AS_LEFT, Phase.AS_FOUND):
                if runs_of(record, phase) is not None:
                    judged = judge_phase(evidence, audited.gauge, record, phase=phase)
                    return record, judged.verdict.value
    return None, None


def _spare_words(kept: InstrumentKept, stays: Sequence[AuditedGauge], as_of: date) -> str:
    status = kept.status.replace("_", " ")
    if stands(stays):
        gauge = stays[-1].gauge
        return (
            f"The register says {status}, yet it stands at {gauge.site_code} position "
            f"{gauge.position} since {gauge.installed_on}: one of the two is wrong."
        )
    if kept.status is InstrumentStatus.IN_SERVICE:
        return "The register says in service, yet it stands nowhere: one of the two is wrong."
    words = "Ready to go out" if _is_ready(kept, stays) else "In the workshop, not ready"
    away = stays[-1].removed_on if stays else None
    if away is None:
        return f"{words}; it never stood anywhere so far."
    days = (as_of - away).days
    return (
        f"{words}; it left {stays[-1].gauge.site_code} on {away}, {days} "
        f"day{'' if days == 1 else 's'} ago."
    )


def ready_by_type(evidence: Evidence, stays: dict[str, list[AuditedGauge]]) -> Counter[str]:
    """Count the instruments that may go out, by type."""
    return Counter(
        kept.type_code for kept in evidence.instruments if _is_ready(kept, stays[kept.serial])
    )
