"""Which gauges' histories a ledger entry touched, found from the rows that it wrote."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import ColumnElement, Select, or_, select, union
from sqlalchemy.orm import Session, aliased

from fleet.store.base import Versioned
from fleet.store.models.instrument import (
    Certificate,
    GaugeTypeVersion,
    Installation,
    InstrumentVersion,
)
from fleet.store.models.visit import GaugeCheck, TipRun, VisitVersion

Ids = Select[int]

STANDING: tuple[ColumnElement[bool], ...] = (
    Installation.known_until.is_(None),
    Installation.removed_on.is_(None),
)
"""A gauge that stands there with no end: one whose state is kept."""


TOUCHING = frozenset(
    {
        "visit_version",
        "installation",
        "instrument_version",
        "gauge_type_version",
        "certificate",
        "learned_rates",
    }
)
"""Tables whose rows bear on kept states; the rows of a visit come with a version of it."""


def standing_installations(session: Session) -> list[int]:
    """Give the installation of every gauge that stands with no end, in order of site and id."""
    query = select(Installation.id).where(*STANDING)
    return list(session.execute(query.order_by(Installation.site_id, Installation.id)).scalars())


def touched_installations(session: Session, entry_id: int, tables: Collection[str]) -> list[int]:
    """Give the standing gauges whose history differs by what an entry wrote.

    Parameters
    ----------
    session : Session
        The rows are written, perhaps not yet committed.
    entry_id : int
        The entry.
    tables : collection of str
        Names of the tables that it wrote; the others are not looked at.

    Returns
    -------
    list of int
        Ids of installations in order of site and id; may hold gauges that came out the same.

    Notes
    -----
    A visit touches the gauges of its site, and those of the instruments that were checked in it,
    wherever they stand now; an installation those of every place where its instrument ever stood;
    a type those of its instruments; a certificate those that were tested with its device since.
    """
    sites: list[Ids] = []
    instruments: list[Ids] = []
    if "visit_version" in tables:
        written = _written(VisitVersion, entry_id)
        sites.append(select(VisitVersion.site_id).where(written))
        instruments.append(_checked().where(written))
    if "installation" in tables:
        moved = select(Installation.instrument_id).where(_written(Installation, entry_id))
        stood = aliased(Installation)
        sites.append(select(stood.site_id).where(stood.instrument_id.in_(moved)))
        instruments.append(moved)
    if "instrument_version" in tables:
        written = _written(InstrumentVersion, entry_id)
        instruments.append(select(InstrumentVersion.instrument_id).where(written))
    if "gauge_type_version" in tables:
        types = select(GaugeTypeVersion.gauge_type_id).where(_written(GaugeTypeVersion, entry_id))
        of_type = InstrumentVersion.gauge_type_id.in_(types)
        instruments.append(select(InstrumentVersion.instrument_id).where(of_type))
    if "certificate" in tables:
        instruments += _tested_with(session, entry_id)
    return _standing_of(session, sites, instruments)


def superseded_installations(session: Session, entry_id: int) -> list[int]:
    """Give the installations that an entry superseded: their kept states stand for no gauge."""
    query = select(Installation.id).where(Installation.closing_entry_id == entry_id)
    return list(session.execute(query.order_by(Installation.id)).scalars())


def _written(model: type[Versioned], entry_id: int) -> ColumnElement[bool]:
    """Give the condition for the rows that an entry added or superseded."""
    table: Any = model
    return or_(table.entry_id == entry_id, table.closing_entry_id == entry_id)


def _checked() -> Ids:
    return select(GaugeCheck.instrument_id).join(
        VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id
    )


def _tested_with(session: Session, entry_id: int) -> list[Ids]:
    """Give the instruments tested with each device since the first day of its certificate."""
    certificates = session.execute(
        select(Certificate.device_id, Certificate.valid_from)
        .where(_written(Certificate, entry_id))
        .order_by(Certificate.device_id, Certificate.valid_from.desc())
    )
    since = {device_id: first for device_id, first in certificates}  # the earliest comes last
    return [
        _checked().where(
            VisitVersion.visited_on >= first,
            VisitVersion.known_until.is_(None),
            select(TipRun.id)
            .where(TipRun.gauge_check_id == GaugeCheck.id, TipRun.device_id == device_id)
            .exists(),
        )
        for device_id, first in since.items()
    ]


def _standing_of(session: Session, sites: list[Ids], instruments: list[Ids]) -> list[int]:
    """Find the standing gauges of sites and instruments, each by its own index."""
    found: set[tuple[int, int]] = set()
    for column, queries in (
        (Installation.site_id, sites),
        (Installation.instrument_id, instruments),
    ):
        if queries:
            named = column.in_(union(*queries))
            query = select(Installation.site_id, Installation.id).where(*STANDING, named)
            found.update((site_id, row_id) for site_id, row_id in session.execute(query))
    return [row_id for _, row_id in sorted(found)]
