"""What the records hold already, in the words of the input, for checking new rows against it."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.ingest.known import InstallationSpan, Key, KnownCodes
from fleet.services.record_map import ANCHORS
from fleet.store.models.instrument import Installation, Instrument, PolicyTerm
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitVersion


def known_codes(session: Session) -> KnownCodes:
    """Give the keys that input rows may refer to or continue, and every installation.

    Parameters
    ----------
    session : Session
        Only read from.

    Returns
    -------
    KnownCodes
        Of the rows that are current; superseded ones count no more.
    """
    keys: dict[str, frozenset[Key]] = {
        table: frozenset((code,) for code in session.execute(select(anchor.code)).scalars())
        for table, anchor in ANCHORS.items()
    }
    keys["gauge_checks"] = _check_keys(session)
    keys["tip_runs"] = _run_keys(session)
    keys["policies"] = _policy_keys(session)
    return KnownCodes(keys=keys, installations=_installations(session))


def _check_keys(session: Session) -> frozenset[Key]:
    rows = session.execute(
        select(Visit.code, Instrument.code)
        .join(VisitVersion, VisitVersion.visit_id == Visit.id)
        .join(GaugeCheck, GaugeCheck.visit_version_id == VisitVersion.id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .where(VisitVersion.known_until.is_(None))
    )
    return frozenset((ref, serial) for ref, serial in rows)


def _run_keys(session: Session) -> frozenset[Key]:
    rows = session.execute(
        select(Visit.code, Instrument.code, TipRun.phase, TipRun.run_number)
        .join(VisitVersion, VisitVersion.visit_id == Visit.id)
        .join(GaugeCheck, GaugeCheck.visit_version_id == VisitVersion.id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .join(TipRun, TipRun.gauge_check_id == GaugeCheck.id)
        .where(VisitVersion.known_until.is_(None))
    )
    return frozenset((ref, serial, phase, number) for ref, serial, phase, number in rows)


def _policy_keys(session: Session) -> frozenset[Key]:
    rows = session.execute(
        select(PolicyTerm.scope, PolicyTerm.scope_code, PolicyTerm.valid_from).where(
            PolicyTerm.known_until.is_(None)
        )
    )
    return frozenset((scope, code or None, since) for scope, code, since in rows)


def _installations(session: Session) -> list[InstallationSpan]:
    rows = session.execute(
        select(
            Site.code,
            Installation.position,
            Installation.installed_on,
            Instrument.code,
            Installation.removed_on,
        )
        .join(Site, Site.id == Installation.site_id)
        .join(Instrument, Instrument.id == Installation.instrument_id)
        .where(Installation.known_until.is_(None))
        .order_by(Site.code, Installation.position, Installation.installed_on)
    )
    return [InstallationSpan(*row) for row in rows]
