"""Add visits that are new, or anew as a whole: many at once, column by column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Any

from fleet.services.record_map import TECHNICIAN, Codes, Reference
from fleet.services.visit_aggregate import PARTS, VISIT_REFERENCES, Part, Row
from fleet.store.base import Base, table_of
from fleet.store.journal import Work
from fleet.store.models.visit import Visit, VisitTechnician, VisitVersion

VisitRows = Mapping[str, Sequence[Row]]
"""Input table to its rows, each with ``visit_ref``, in the order of the visits."""

_BELOW_CHECK = frozenset({"tip_runs", "switch_readings"})

Columns = dict[str, Sequence[Any]]


def add_visits(work: Work, rows: VisitRows, codes: Codes) -> None:
    """Add a new version of each visit with all its parts.

    Parameters
    ----------
    work : Work
        The open transaction; earlier versions are superseded already.
    rows : mapping
        The whole visits, local days included. Their references have identities already.
    codes : Codes
        Of this transaction.
    """
    heads = rows["visits"]
    refs = [row["visit_ref"] for row in heads]
    columns = _columns(VisitVersion, VISIT_REFERENCES, heads, codes)
    columns["visit_id"] = codes.ids_of(Visit, refs)
    version_ids = dict(zip(refs, _add(work, VisitVersion, columns, heads), strict=True))
    _add_technicians(work, heads, version_ids, codes)
    check_ids: dict[tuple[str, str], int] = {}
    for part in PARTS:
        _add_part(work, part, rows[part.table], (version_ids, check_ids), codes)


def _add_technicians(
    work: Work, heads: Sequence[Row], version_ids: Mapping[str, int], codes: Codes
) -> None:
    there = [(version_ids[row["visit_ref"]], row["technician_codes"]) for row in heads]
    people = [code for _, crew in there for code in crew]
    columns: Columns = {
        "visit_version_id": [version_id for version_id, crew in there for _ in crew],
        "technician_id": codes.ids_of(TECHNICIAN[1], people),
    }
    _add(work, VisitTechnician, columns, people)


def _add_part(
    work: Work,
    part: Part,
    rows: Sequence[Row],
    parents: tuple[Mapping[str, int], dict[tuple[str, str], int]],
    codes: Codes,
) -> None:
    version_ids, check_ids = parents
    columns = _columns(part.model, part.references, rows, codes)
    owners: list[tuple[str, str]] = list(map(itemgetter("visit_ref", "serial"), rows))
    if part.table in _BELOW_CHECK:
        columns["gauge_check_id"] = [check_ids[owner] for owner in owners]
    else:
        columns["visit_version_id"] = [version_ids[ref] for ref, _ in owners]
    ids = _add(work, part.model, columns, rows)
    if part.table == "gauge_checks":
        check_ids.update(zip(owners, ids, strict=True))


def _columns(
    model: type[Base], references: Mapping[str, Reference], rows: Sequence[Row], codes: Codes
) -> Columns:
    """Give the columns of a table that the rows tell of, codes turned to ids."""
    named = {column.name: column.name for column in table_of(model).columns}
    columns: Columns = {
        name: [row[name] for row in rows] for name in named if rows and name in rows[0]
    }
    for name, (column, anchor) in references.items():
        columns[column] = codes.ids_of(anchor, [row[name] for row in rows])
    return columns


def _add(work: Work, model: type[Base], columns: Columns, rows: Sequence[object]) -> range:
    return work.add_columns(model, columns, count=len(rows))
