"""Gauges as they stood on a day: instrument, site, type and place in one row."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session

from fleet.domain.history import Gauge
from fleet.store.models.instrument import (
    GaugeType,
    GaugeTypeVersion,
    Installation,
    Instrument,
    InstrumentVersion,
)
from fleet.store.models.people import Depot
from fleet.store.models.site import Site, SiteVersion
from fleet.store.queries.known import known


@dataclass(frozen=True, slots=True)
class InstalledGauge:
    """A gauge with the ids by which its records are found, and the day it was taken away."""

    gauge: Gauge
    site_id: int
    instrument_id: int
    removed_on: date | None = None


def installed_gauges(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
    site_codes: Collection[str] | None = None,
    since: date | None = None,
) -> list[InstalledGauge]:
    """Give every gauge that was installed on a day, or within a span of days.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        The day; an instrument removed on that day no longer counts.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code, site_codes : optional
        Filters; None is no filter, an empty collection gives no rows.
    since : date, optional
        Gauges removed on this day or later count too.

    Returns
    -------
    list of InstalledGauge
        In order of site code, position and day of installation; ``removed_on`` may lie ahead.
    """
    query = _gauges(known_on).where(*_standing(as_of, since))
    if depot_code is not None:
        query = query.where(Depot.code == depot_code)
    if site_codes is not None:
        query = query.where(Site.code.in_(site_codes))
    return [_installed(row) for row in session.execute(query)]


def gauge_arrays(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> dict[str, NDArray[Any]]:
    """Give every gauge that was installed on a day as arrays, without an object for each.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        The day; an instrument removed on that day no longer counts.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    dict of str to ndarray, shape (n,)
        The fields of `fleet.domain.history.Gauge` by name, in the order of `installed_gauges`; the
        day of installation as an ordinal under ``installed_day``, no ``loop_ohm`` as nan.
    """
    query = _gauges(known_on).where(*_standing(as_of, None))
    cursor: Any = session.connection().execute(query).cursor  # as the driver gives them: quicker
    rows = cursor.fetchall()
    lists = dict(zip(query.selected_columns.keys(), zip(*rows, strict=True), strict=True))
    named = {"orifice_area_cm2": "area_cm2"}
    arrays = {
        name: np.array(lists.get(named.get(name, name), ()), dtype=kind)
        for name, kind in _KINDS.items()
    }
    days = lists.get("installed_on", ())
    ordinal = {day: _ordinal(day) for day in set(days)}
    installed = np.array([ordinal[day] for day in days], dtype=np.int64)
    return {**arrays, "installed_day": installed}


def _ordinal(day: date | str) -> int:
    """Count a day as a driver gives it: SQLite keeps texts."""
    return (date.fromisoformat(day) if isinstance(day, str) else day).toordinal()


_KINDS: dict[str, Any] = {
    "installation_id": np.int64,
    **dict.fromkeys(("site_code", "position", "serial", "type_code", "depot_code"), np.object_),
    **dict.fromkeys(("importance", "bucket_mm", "orifice_area_cm2"), np.float64),
    **dict.fromkeys(("test_volume_ml", "loop_ohm"), np.float64),  # None becomes nan
    "siphon": np.bool_,
}


def gauges_named(
    session: Session, installation_ids: Collection[int], *, known_on: datetime | None = None
) -> list[InstalledGauge]:
    """Give gauges by their installations.

    Parameters
    ----------
    session : Session
        Only read from.
    installation_ids : collection of int
        Rows of installations; at most some thousands, for databases bound what a query may name.
    known_on : datetime, optional
        As the records were known then; None is now. A row not known then gives no gauge.

    Returns
    -------
    list of InstalledGauge
        In order of site code, position and day of installation.
    """
    query = _gauges(known_on).where(Installation.id.in_(installation_ids))
    return [_installed(row) for row in session.execute(query)]


def _standing(as_of: date, since: date | None) -> tuple[ColumnElement[bool], ...]:
    stood_there = Installation.removed_on > as_of
    if since is not None:
        stood_there = Installation.removed_on >= since
    return (
        Installation.installed_on <= as_of,
        or_(Installation.removed_on.is_(None), stood_there),
    )


def _installed(row: Any) -> InstalledGauge:
    return InstalledGauge(
        Gauge(
            installation_id=row.installation_id,
            site_code=row.site_code,
            position=row.position,
            serial=row.serial,
            type_code=row.type_code,
            installed_on=row.installed_on,
            bucket_mm=row.bucket_mm,
            orifice_area_cm2=row.area_cm2,
            test_volume_ml=row.test_volume_ml,
            siphon=row.siphon,
            depot_code=row.depot_code,
            importance=row.importance,
            loop_ohm=row.loop_ohm,
        ),
        site_id=row.site_id,
        instrument_id=row.instrument_id,
        removed_on=row.removed_on,
    )


def installed_count(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> int:
    """Count the gauges that `installed_gauges` gives for a day."""
    there = _gauges(known_on).where(
        Installation.installed_on <= as_of,
        or_(Installation.removed_on.is_(None), Installation.removed_on > as_of),
    )
    if depot_code is not None:
        there = there.where(Depot.code == depot_code)
    count: int = session.execute(
        select(func.count()).select_from(there.order_by(None).subquery())
    ).scalar_one()
    return count


def _gauges(known_on: datetime | None) -> Any:  # a Select of 16 columns
    return (
        select(
            Installation.id.label("installation_id"),
            Installation.position,
            Installation.installed_on,
            Installation.removed_on,
            Installation.loop_ohm,
            Installation.site_id,
            Installation.instrument_id,
            Site.code.label("site_code"),
            Instrument.code.label("serial"),
            GaugeType.code.label("type_code"),
            GaugeTypeVersion.bucket_mm,
            func.coalesce(
                InstrumentVersion.orifice_area_cm2, GaugeTypeVersion.orifice_area_cm2
            ).label("area_cm2"),
            GaugeTypeVersion.test_volume_ml,
            GaugeTypeVersion.siphon,
            Depot.code.label("depot_code"),
            SiteVersion.importance,
        )
        .join(Site, Site.id == Installation.site_id)
        .join(SiteVersion, (SiteVersion.site_id == Site.id) & known(SiteVersion, known_on))
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .join(Instrument, Instrument.id == Installation.instrument_id)
        .join(
            InstrumentVersion,
            (InstrumentVersion.instrument_id == Instrument.id) & known(InstrumentVersion, known_on),
        )
        .join(GaugeType, GaugeType.id == InstrumentVersion.gauge_type_id)
        .join(
            GaugeTypeVersion,
            (GaugeTypeVersion.gauge_type_id == GaugeType.id) & known(GaugeTypeVersion, known_on),
        )
        .where(known(Installation, known_on))
        .order_by(Site.code, Installation.position, Installation.installed_on)
    )
