"""What the records hold already, in the words of the input, for checking new rows against it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from fleet.ingest.known import InstallationSpan, Key, KnownCodes
from fleet.services.record_map import ANCHORS
from fleet.store.models.instrument import Installation, Instrument, PolicyTerm
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitVersion

_REFS_A_QUERY = 500


class RecordsKnown:
    """What the records hold, asked for the visits that some input names.

    Parameters
    ----------
    session : Session
        Only read from. The register is read once; of the visits only those asked for.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._register: KnownCodes | None = None

    def __call__(self, visit_refs: Collection[str]) -> KnownCodes:
        """Give the keys that input rows may refer to or continue, and every installation.

        Parameters
        ----------
        visit_refs : collection of str
            Visits that the input names, known or not.

        Returns
        -------
        KnownCodes
            Of the rows that are current; superseded ones count no more.
        """
        if self._register is None:
            self._register = _register(self._session)
        known = _visit_keys(self._session, visit_refs)
        kept = [str(ref) for (ref,) in known]
        visits = {
            "visits": known,
            "gauge_checks": _check_keys(self._session, kept),
            "tip_runs": _run_keys(self._session, kept),
        }
        return replace(self._register, keys={**self._register.keys, **visits})


def _register(session: Session) -> KnownCodes:
    keys: dict[str, frozenset[Key]] = {
        table: frozenset((code,) for code in session.execute(select(anchor.code)).scalars())
        for table, anchor in ANCHORS.items()
        if anchor is not Visit
    }
    keys["policies"] = _policy_keys(session)
    return KnownCodes(keys=keys, installations=_installations(session))


def _visit_keys(session: Session, refs: Collection[str]) -> frozenset[Key]:
    return _of_visits(session, select(Visit.code), refs)


def _check_keys(session: Session, refs: Collection[str]) -> frozenset[Key]:
    return _of_visits(session, _checks(Visit.code, Instrument.code), refs)


def _run_keys(session: Session, refs: Collection[str]) -> frozenset[Key]:
    runs = _checks(Visit.code, Instrument.code, TipRun.phase, TipRun.run_number)
    return _of_visits(session, runs.join(TipRun, TipRun.gauge_check_id == GaugeCheck.id), refs)


def _checks(*columns: InstrumentedAttribute[Any]) -> Select[Any]:
    return (
        select(*columns)
        .select_from(Visit)
        .join(VisitVersion, VisitVersion.visit_id == Visit.id)
        .join(GaugeCheck, GaugeCheck.visit_version_id == VisitVersion.id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .where(VisitVersion.known_until.is_(None))
    )


def _of_visits(session: Session, query: Select[Any], refs: Collection[str]) -> frozenset[Key]:
    named = sorted(refs)
    return frozenset(
        tuple(row)
        for start in range(0, len(named), _REFS_A_QUERY)
        for row in session.execute(
            query.where(Visit.code.in_(named[start : start + _REFS_A_QUERY]))
        )
    )


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
