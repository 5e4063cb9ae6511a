"""Where an instrument stood, what was found of it there, and where it was between."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.audit.kept import InstrumentKept
from fleet.domain.audit.tolerance import judge_phase
from fleet.domain.check import Judgement
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord


class SerialEvent(StrEnum):
    """What a line of a serial's history is about."""

    STOOD = "stood"
    CHECKED = "checked"
    AWAY = "away"


@dataclass(frozen=True, slots=True)
class SerialPlace:
    """Where a line of the history was; missing while it stood nowhere."""

    depot_code: str | None = None
    site_code: str | None = None
    site_name: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True)
class SerialCheck:
    """What a check found; missing on lines that are none, figures where nothing was measured."""

    visit_ref: str | None = None
    technicians: str | None = None
    as_found_error_percent: float | None = None
    as_found_verdict: str | None = None
    as_left_error_percent: float | None = None
    as_left_verdict: str | None = None
    adjusted: str | None = None


@dataclass(frozen=True, slots=True)
class SerialRow:
    """One line in the life of an instrument; ``until_on`` is missing while it lasts.

    ``days`` counts a stay, or a time away, until the day asked about at most.
    """

    serial: str
    type_code: str
    status: str
    from_on: date | None
    until_on: date | None
    days: int | None
    event: str
    place: SerialPlace
    check: SerialCheck
    sentence: str


def serial_history(evidence: Evidence, ask: Ask) -> list[SerialRow]:
    """Tell the life of instruments, stay by stay and check by check.

    Parameters
    ----------
    evidence : Evidence
        With the register of instruments.
    ask : Ask
        ``codes`` are the serials; none is every instrument. With ``since`` what was over before
        that day is left out.

    Returns
    -------
    list of SerialRow
        In order of serial and day; a stay comes before the checks in it. An instrument that
        never stood anywhere has one line without days.
    """
    stays: dict[str, list[AuditedGauge]] = defaultdict(list)
    for audited in sorted(evidence.gauges, key=lambda audited: audited.gauge.installed_on):
        stays[audited.gauge.serial].append(audited)
    rows = [
        row
        for kept in sorted(evidence.instruments, key=lambda kept: kept.serial)
        if not ask.codes or kept.serial in ask.codes
        for row in _life(evidence, kept, stays[kept.serial], as_of=ask.as_of)
    ]
    return [row for row in rows if ask.since is None or (row.until_on or ask.as_of) >= ask.since]


def _life(
    evidence: Evidence, kept: InstrumentKept, stays: list[AuditedGauge], *, as_of: date
) -> Iterator[SerialRow]:
    left_on: date | None = None
    for audited in stays:
        if left_on is not None and left_on < audited.gauge.installed_on:
            yield _away(kept, left_on, audited.gauge.installed_on, as_of=as_of)
        yield _stood(kept, audited, as_of=as_of)
        for record in audited.checks():
            yield _checked(evidence, kept, audited, record)
        left_on = audited.removed_on
    if not stays or left_on is not None:
        yield _away(kept, left_on, None, as_of=as_of)


def _place(audited: AuditedGauge) -> SerialPlace:
    gauge = audited.gauge
    return SerialPlace(gauge.depot_code, gauge.site_code, audited.site_name, gauge.position)


def _stood(kept: InstrumentKept, audited: AuditedGauge, *, as_of: date) -> SerialRow:
    gauge, until = audited.gauge, audited.removed_on
    end = "until today" if until is None else f"until {until}"
    checks = len(audited.checks())
    return SerialRow(
        serial=kept.serial,
        type_code=kept.type_code,
        status=kept.status.value,
        from_on=gauge.installed_on,
        until_on=until,
        days=((until or as_of) - gauge.installed_on).days,
        event=SerialEvent.STOOD.value,
        place=_place(audited),
        check=SerialCheck(),
        sentence=(
            f"Stood at {gauge.site_code} position {gauge.position} from {gauge.installed_on} "
            f"{end.replace('today', str(as_of))}, with {checks} check{'' if checks == 1 else 's'}."
        ),
    )


def _away(
    kept: InstrumentKept, since: date | None, until: date | None, *, as_of: date
) -> SerialRow:
    words = f"Stood nowhere from {since} " if since else "Never stood anywhere so far"
    if since:
        words += f"until {until or as_of}"
    note = f" Note: {kept.note}" if kept.note and until is None else ""
    status = f"; the register says {kept.status.replace('_', ' ')}" if until is None else ""
    return SerialRow(
        serial=kept.serial,
        type_code=kept.type_code,
        status=kept.status.value,
        from_on=since,
        until_on=until,
        days=None if since is None else ((until or as_of) - since).days,
        event=SerialEvent.AWAY.value,
        place=SerialPlace(),
        check=SerialCheck(),
        sentence=f"{words}{status}.{note}",
    )


def _checked(
    evidence: Evidence, kept: InstrumentKept, audited: AuditedGauge, record: CheckRecord
) -> SerialRow:
    found, left = (judge_phase(evidence, audited.gauge, record, phase=phase) for phase in Phase)
    adjusted = "adjusted" if record.adjusted else "not adjusted"
    return SerialRow(
        serial=kept.serial,
        type_code=kept.type_code,
        status=kept.status.value,
        from_on=record.visited_on,
        until_on=record.visited_on,
        days=None,
        event=SerialEvent.CHECKED.value,
        place=_place(audited),
        check=SerialCheck(
            visit_ref=record.visit_ref,
            technicians=" ".join(record.technicians),
            as_found_error_percent=_error(found),
            as_found_verdict=found.verdict.value,
            as_left_error_percent=_error(left),
            as_left_verdict=left.verdict.value,
            adjusted="yes" if record.adjusted else "no",
        ),
        sentence=(
            f"Visit {record.visit_ref}: as found {_words(found)}, as left {_words(left)}, "
            f"{adjusted}."
        ),
    )


def _error(judgement: Judgement) -> float | None:
    return None if judgement.error is None else judgement.error.error_percent


def _words(judgement: Judgement) -> str:
    error = _error(judgement)
    verdict = judgement.verdict.replace("_", " ")
    return verdict if error is None else f"{error:+.1f} % ({verdict})"
