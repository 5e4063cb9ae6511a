"""A visit as one whole: what was measured, found and done, compared as one.

An amendment of any part makes a new version of the whole visit, so that what a visit said on
any past day stays readable with all its parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.services.record_map import DEVICE, SERIAL, SITE, TECHNICIAN, Codes, from_stored
from fleet.store.base import Base, table_of
from fleet.store.journal import Work
from fleet.store.models.visit import (
    Finding,
    GaugeCheck,
    SwitchReading,
    TipRun,
    Visit,
    VisitTechnician,
    VisitVersion,
)

Row = Mapping[str, Any]
Key = tuple[object, ...]

_ID_COLUMNS = frozenset({"id", "entry_id", "visit_version_id", "gauge_check_id"})
_VISIT_OWN = frozenset(
    {"id", "entry_id", "known_from", "known_until", "closing_entry_id", "visit_id"}
)


@dataclass(frozen=True, slots=True)
class Part:
    """One of the tables below a visit; ``key`` names a row within its visit."""

    table: str
    model: type[Base]
    key: tuple[str, ...]
    references: Mapping[str, Any]


PARTS: tuple[Part, ...] = (
    Part("gauge_checks", GaugeCheck, ("serial",), {"serial": SERIAL}),
    Part("tip_runs", TipRun, ("serial", "phase", "run_number"), {"device_code": DEVICE}),
    Part("switch_readings", SwitchReading, ("serial", "phase", "kind"), {"device_code": DEVICE}),
    Part("findings", Finding, ("finding_number",), {"serial": SERIAL}),
)
VISIT_REFERENCES: Mapping[str, Any] = {"site_code": SITE}


@dataclass(slots=True)
class VisitAggregate:
    """One visit in the words of the input: its own row, its technicians and its parts by key."""

    row: dict[str, Any] = field(default_factory=dict)
    parts: dict[str, dict[Key, dict[str, Any]]] = field(
        default_factory=lambda: {part.table: {} for part in PARTS}
    )

    def put(self, part: Part, row: Row) -> None:
        """Take in one row of a part, in place of one with the same key."""
        key = tuple(row[name] for name in part.key)
        self.parts[part.table][key] = {k: v for k, v in row.items() if k != "visit_ref"}

    def merged(self, newer: VisitAggregate) -> VisitAggregate:
        """Give this visit with every row that the newer one holds in place of its own."""
        parts = {
            name: {
                **rows,
                **{key: {**rows.get(key, {}), **row} for key, row in newer.parts[name].items()},
            }
            for name, rows in self.parts.items()
        }
        return VisitAggregate({**self.row, **newer.row}, parts)

    def replaced(self, newer: VisitAggregate) -> VisitAggregate:
        """Give the newer visit, which is given whole: parts that it lacks are gone."""
        return VisitAggregate({**self.row, **newer.row}, newer.parts)

    def differences(self, newer: VisitAggregate) -> dict[str, tuple[object, object]]:
        """Give every field that differs, named by its table and row, with old and new value.

        The fields of a part that the newer visit lacks have None as new value.
        """
        found = _row_differences("visits", self.row, newer.row)
        for name, rows in newer.parts.items():
            for key, row in rows.items():
                label = f"{name}[{' '.join(str(part) for part in key)}]"
                found |= _row_differences(label, self.parts[name].get(key, {}), row)
            for key, row in self.parts[name].items():
                if key not in rows:
                    label = f"{name}[{' '.join(str(part) for part in key)}]"
                    found |= _row_differences(label, row, dict.fromkeys(row))
        return found


def _row_differences(label: str, old: Row, new: Row) -> dict[str, tuple[object, object]]:
    return {
        f"{label}.{name}": (old.get(name), value)
        for name, value in new.items()
        if old.get(name) != value
    }


def gather_visits(rows: Mapping[str, Sequence[Row]]) -> dict[str, VisitAggregate]:
    """Gather checked input rows by visit, in order of first mention.

    Parameters
    ----------
    rows : mapping
        Table name to rows in the words of the input; tables other than visits and their parts
        are passed over.

    Returns
    -------
    dict
        Visit reference to what the input says of it, which may be only some parts.
    """
    visits: dict[str, VisitAggregate] = {}
    for row in rows.get("visits", ()):
        values = {k: v for k, v in row.items() if k != "visit_ref"}
        visits.setdefault(row["visit_ref"], VisitAggregate()).row = with_local_day(values)
    for part in PARTS:
        for row in rows.get(part.table, ()):
            visits.setdefault(row["visit_ref"], VisitAggregate()).put(part, row)
    return visits


def with_local_day(row: dict[str, Any]) -> dict[str, Any]:
    """Add the local day and the offset that the arrival's own clock gives."""
    arrived = row["arrived_at"]
    offset = arrived.utcoffset()
    return {
        **row,
        "visited_on": arrived.date(),
        "utc_offset_minutes": round(offset.total_seconds() / 60),
    }


def read_visits(
    work: Work, refs: Iterable[str], codes: Codes
) -> dict[str, tuple[int, VisitAggregate]]:
    """Read current visits with all their parts.

    Parameters
    ----------
    work : Work
        The open transaction.
    refs : iterable of str
        Visit references; those that do not exist are left out.
    codes : Codes
        Of this transaction.

    Returns
    -------
    dict
        Reference to the id of the current version and the visit.
    """
    wanted = {row_id: ref for ref, row_id in codes.find(Visit, refs).items()}
    current = VisitVersion.known_until.is_(None)
    versions = _select(work.session, VisitVersion, VisitVersion.visit_id, wanted, current)
    found = _read_whole(work.session, versions, codes)
    return {
        wanted[version["visit_id"]]: (version["id"], found[version["id"]]) for version in versions
    }


def read_versions(
    session: Session, ref: str, codes: Codes
) -> list[tuple[dict[str, Any], VisitAggregate]]:
    """Read every version of one visit with all its parts, the oldest first.

    Parameters
    ----------
    session : Session
        Only read from.
    ref : str
        Visit reference.
    codes : Codes
        Of this session.

    Returns
    -------
    list of tuple
        The stored row of the version, and the visit; empty when there is no such visit.
    """
    if not codes.find(Visit, [ref]):
        return []
    visit_id = codes.id_of(Visit, ref)
    versions = _select(session, VisitVersion, VisitVersion.visit_id, [visit_id])
    found = _read_whole(session, versions, codes)
    return [(version, found[version["id"]]) for version in versions]


def _read_whole(
    session: Session, versions: Sequence[Mapping[str, Any]], codes: Codes
) -> dict[int, VisitAggregate]:
    found: dict[int, VisitAggregate] = {}
    for version in versions:
        row = {name: value for name, value in version.items() if name not in _VISIT_OWN}
        aggregate = VisitAggregate(from_stored(VISIT_REFERENCES, row, codes))
        aggregate.row["technician_codes"] = ()
        found[version["id"]] = aggregate
    _read_parts(session, found, codes)
    return found


def _read_parts(session: Session, found: Mapping[int, VisitAggregate], codes: Codes) -> None:
    for row in _select(session, VisitTechnician, VisitTechnician.visit_version_id, found):
        aggregate = found[row["visit_version_id"]]
        code = codes.code_of(TECHNICIAN[1], row["technician_id"])
        aggregate.row["technician_codes"] = (*aggregate.row["technician_codes"], code)
    checks: dict[int, tuple[VisitAggregate, str]] = {}
    for part in PARTS:
        below_check = part.table in ("tip_runs", "switch_readings")
        model: Any = part.model
        parent = model.gauge_check_id if below_check else model.visit_version_id
        for stored in _select(session, part.model, parent, checks if below_check else found):
            values = {k: v for k, v in stored.items() if k not in _ID_COLUMNS}
            row = from_stored(part.references, values, codes)
            if below_check:
                aggregate, row["serial"] = checks[stored["gauge_check_id"]]
            else:
                aggregate = found[stored["visit_version_id"]]
            if part.table == "gauge_checks":
                checks[stored["id"]] = (aggregate, str(row["serial"]))
            aggregate.put(part, row)


def _select(
    session: Session, model: type[Base], parent: Any, ids: Iterable[int], *where: Any
) -> list[dict[str, Any]]:
    table = table_of(model)
    wanted = sorted(ids)
    rows: list[dict[str, Any]] = []
    for start in range(0, len(wanted), 500):
        query = select(table).where(parent.in_(wanted[start : start + 500]), *where)
        rows += [dict(row) for row in session.execute(query.order_by(table.c.id)).mappings()]
    return rows
