"""Gather from the records what the audit rules look at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.due import past_due
from fleet.domain.audit.evidence import (
    Ask,
    AuditedGauge,
    Evidence,
)
from fleet.domain.audit.kept import (
    SkillSpan,
)
from fleet.domain.history import GaugeHistory
from fleet.services.neighbour_alarm import neighbour_alarms
from fleet.services.question import HISTORIES, About, Use
from fleet.store.queries.check import kept_checks
from fleet.store.queries.check_time import check_times
from fleet.store.queries.crew import depot, skills
from fleet.store.queries.device import certificate_spans, device_uses, devices
from fleet.store.queries.gauge import InstalledGauge, installed_count, installed_gauges
from fleet.store.queries.history import join_histories
from fleet.store.queries.instrument import instruments
from fleet.store.queries.ledger import amended_fields
from fleet.store.queries.place import KeptSite, sites
from fleet.store.queries.policy import policy_book
from fleet.store.queries.present import (
    failed_visit_sites,
    never_tested_sites,
    off_logger_sites,
)
from fleet.store.queries.rain import counted_days
from fleet.store.queries.service import last_services, services_told

SITES_A_READING = 500
"""So many sites are read at once where not all are."""

_SITES_ABOUT = {
    About.NEVER_TESTED: never_tested_sites,
    About.OFF_LOGGER: off_logger_sites,
    About.FAILED_VISIT: failed_visit_sites,
}


@dataclass(frozen=True, slots=True)
class RecordsAsked:
    """Which records are looked at: known on an instant (None is now), of a depot (None is all).

    ``uses`` is what is read beside policy, certificates and skills. ``about`` leaves out the sites
    of which a question about the present state can have no row; None leaves out none.
    """

    known_on: datetime | None = None
    depot_code: str | None = None
    uses: frozenset[Use] = HISTORIES
    about: About | None = None


def gather_evidence(sessions: sessionmaker[Session], ask: Ask, *, asked: RecordsAsked) -> Evidence:
    """Read everything that the rules may look at.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    ask : Ask
        Nothing after its ``as_of`` is read.
    asked : RecordsAsked
        Of which records.

    Returns
    -------
    Evidence
        Every gauge that ever stood there until that day, in order of site, position and day of
        installation.

    Raises
    ------
    NotFoundError
        The depot is not among those known then; the message names those that are.
    ConflictError
        Services are used, and a term of the policy was set by no row in force on the day.
    """
    known_on = asked.known_on
    rain = Use.RAIN in asked.uses
    alarms = neighbour_alarms(sessions, as_of=ask.as_of, known_on=known_on) if rain else ()
    with sessions() as session:
        if asked.depot_code is not None:
            depot(session, asked.depot_code, known_on=known_on)
        evidence = Evidence(
            gauges=_audited(session, ask, asked) if Use.HISTORIES in asked.uses else (),
            policies=policy_book(session, known_on=known_on),
            certificates=tuple(certificate_spans(session, known_on=known_on)),
            skills=tuple(
                SkillSpan(*span) for span in skills(session, date.min, date.max, known_on=known_on)
            ),
            alarms=alarms,
            **_more(session, ask.as_of, asked),
        )
        return _with_services(session, evidence, ask.as_of, asked)


def _more(session: Session, as_of: date, asked: RecordsAsked) -> dict[str, Any]:
    """Read what only some questions look at."""
    known_on = asked.known_on
    more: dict[str, Any] = {}
    if Use.DEVICES in asked.uses:
        more["device_uses"] = tuple(device_uses(session, as_of=as_of, known_on=known_on))
    if Use.TIMES in asked.uses:
        more["times"] = check_times(session, as_of=as_of, known_on=known_on)
    if Use.REGISTER in asked.uses:
        more["devices"] = tuple(devices(session, known_on=known_on))
        more["instruments"] = tuple(instruments(session, known_on=known_on))
    if Use.RAIN in asked.uses:
        more["counted_days"] = counted_days(session, as_of=as_of, known_on=known_on)
    if Use.LEDGER in asked.uses:
        more["amendments"] = tuple(amended_fields(session, as_of=as_of, known_on=known_on))
    return more


def _with_services(
    session: Session, evidence: Evidence, as_of: date, asked: RecordsAsked
) -> Evidence:
    """Add the last services, and what is told of those that are shown; or only count the gauges."""
    dates: Any = {"as_of": as_of, "known_on": asked.known_on}
    if Use.SERVICES not in asked.uses:
        count = installed_count(session, depot_code=asked.depot_code, **dates)
        return replace(evidence, installed=count)
    services = tuple(last_services(session, depot_code=asked.depot_code, **dates))
    dated = replace(evidence, services=services, installed=len(services))
    shown = services
    if Use.SERVICES_TOLD not in asked.uses:
        shown = tuple(last for last, _ in past_due(dated, as_of))
    ids = [last.installation_id for last in shown]
    return replace(dated, told=services_told(session, ids, **dates))


def _audited(session: Session, ask: Ask, asked: RecordsAsked) -> tuple[AuditedGauge, ...]:
    if asked.about is None or ask.since is not None:
        return tuple(_audited_at(session, ask, asked, None))
    find = _SITES_ABOUT[asked.about]
    codes = sorted(find(session, as_of=ask.as_of, known_on=asked.known_on))
    return tuple(
        audited
        for start in range(0, len(codes), SITES_A_READING)
        for audited in _audited_at(session, ask, asked, codes[start : start + SITES_A_READING])
    )


def _audited_at(
    session: Session, ask: Ask, asked: RecordsAsked, site_codes: Sequence[str] | None
) -> Iterator[AuditedGauge]:
    """Give the gauges of some sites, or of all, with their whole histories."""
    known_on, of_depot = asked.known_on, asked.depot_code
    installed = installed_gauges(
        session,
        as_of=ask.as_of,
        known_on=known_on,
        depot_code=of_depot,
        site_codes=site_codes,
        since=date.min,
    )
    about = None if site_codes is None else installed
    checks = kept_checks(session, as_of=ask.as_of, known_on=known_on, about=about)
    kept = sites(session, depot_code=of_depot, known_on=known_on, site_codes=site_codes)
    for gauge, history in zip(installed, join_histories(installed, checks), strict=True):
        yield _one(gauge, history, kept[history.gauge.site_code], ask.as_of)


def _one(
    installed: InstalledGauge, history: GaugeHistory, site: KeptSite, as_of: date
) -> AuditedGauge:
    removed_on = installed.removed_on
    return AuditedGauge(
        history=history,
        site_name=site.name,
        required_skill=site.required_skill,
        time_zone=site.time_zone,
        removed_on=removed_on if removed_on is not None and removed_on <= as_of else None,
    )
