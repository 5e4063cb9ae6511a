"""Write input rows into the records: add what is new, supersede what differs, count the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Date

from fleet.services.record_map import (
    Codes,
    RecordMap,
    current_rows,
    from_stored,
    to_stored,
)
from fleet.store.base import Anchor, table_of
from fleet.store.journal import Work

_MOST_NAMED = 10_000
"""Beyond so many things a query reads the whole table: databases bound what a query may name."""


@dataclass(slots=True)
class TableCount:
    """What became of the rows of one input table."""

    table: str
    read: int = 0
    added: int = 0
    changed: int = 0
    unchanged: int = 0


@dataclass(frozen=True, slots=True)
class Difference:
    """A row that differs from the records: the fields, old and new, in the input's words."""

    table: str
    key: str
    fields: Mapping[str, tuple[object, object]]

    def __str__(self) -> str:
        words = ", ".join(
            f"{name} {in_words(old)} -> {in_words(new)}" for name, (old, new) in self.fields.items()
        )
        return f"{self.table} {self.key}: {words}"


def in_words(value: object) -> str:
    """Write a value as an input file has it; nothing is told as ``blank``."""
    if value is None or value in ("", ()):
        return "blank"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    return " ".join(value) if isinstance(value, tuple) else str(value)


@dataclass(slots=True)
class Writing:
    """The running result of writing one batch."""

    counts: dict[str, TableCount] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)

    def absorb(self, more: Writing) -> None:
        """Take in what became of further rows."""
        for table, count in more.counts.items():
            own = self.count(table)
            for name in ("read", "added", "changed", "unchanged"):
                setattr(own, name, getattr(own, name) + getattr(count, name))
        self.differences += more.differences

    def count(self, table: str) -> TableCount:
        """Give the count of a table, starting one where there is none."""
        return self.counts.setdefault(table, TableCount(table))


def write_rows(
    work: Work, record: RecordMap, rows: Sequence[Mapping[str, object]], *, codes: Codes
) -> Writing:
    """Write the rows of one input table.

    Parameters
    ----------
    work : Work
        The open transaction.
    record : RecordMap
        Where the table is kept.
    rows : sequence of mapping
        Checked rows in the words of the input; keys are unique.
    codes : Codes
        Of this transaction; learns the identities that are added.

    Returns
    -------
    Writing
        Counts and differences of this table.
    """
    result = Writing()
    count = result.count(record.table)
    count.read = len(rows)
    _add_identities(work, record, rows, codes)
    wanted = [to_stored(record.references, row, codes) for row in rows]
    current = _current_by_key(work, record, wanted) if rows else {}
    fresh: list[dict[str, object]] = []
    for row, stored in zip(rows, wanted, strict=True):
        known = current.get(_key(record, stored))
        if known is None:
            count.added += 1
            fresh.append(stored)
            continue
        row_id, old = known
        fields = _changed_fields(record, old, {**old, **stored}, codes)
        if not fields:
            count.unchanged += 1
            continue
        count.changed += 1
        key = record.key_text(row)
        result.differences.append(Difference(record.table, key, fields))
        work.supersede(record.model, row_id, key=key, fields=fields)
        fresh.append({**old, **stored})
    work.add(record.model, fresh)  # type: ignore[arg-type]  # every versioned table is mapped
    return result


def _key(record: RecordMap, stored: Mapping[str, Any]) -> tuple[object, ...]:
    columns = (
        record.references[name][0] if name in record.references else name for name in record.key
    )
    return tuple(stored[column] for column in columns)


def _current_by_key(
    work: Work, record: RecordMap, wanted: Sequence[Mapping[str, Any]]
) -> dict[tuple[object, ...], tuple[int, dict[str, Any]]]:
    """Give the kept rows by key: only those of the things, and between the days, of its key."""
    columns = table_of(record.model).c
    within: list[ColumnElement[bool]] = []
    for name in record.key:
        column = columns[record.references[name][0] if name in record.references else name]
        values = {row[column.name] for row in wanted}
        if isinstance(column.type, Date):
            within.append(column.between(min(values), max(values)))
        elif name in record.references and len(values) <= _MOST_NAMED:
            within.append(column.in_(sorted(values)))
    return {
        _key(record, values): (row_id, values)
        for row_id, values in current_rows(work.session, record.model, *within)
    }


def _changed_fields(
    record: RecordMap, old: Mapping[str, Any], new: Mapping[str, Any], codes: Codes
) -> dict[str, tuple[object, object]]:
    names = [name for name, value in new.items() if old[name] != value]
    if not names:
        return {}
    before = from_stored(record.references, {name: old[name] for name in names}, codes)
    after = from_stored(record.references, {name: new[name] for name in names}, codes)
    return {name: (before[name], after[name]) for name in before}


def _add_identities(
    work: Work, record: RecordMap, rows: Sequence[Mapping[str, object]], codes: Codes
) -> None:
    if record.own is None:
        return
    anchor = record.references[record.own][1]
    add_codes(work, anchor, [str(row[record.own]) for row in rows], codes)


def add_codes(work: Work, anchor: type[Anchor], wanted: Sequence[str], codes: Codes) -> None:
    """Add the identities that do not exist yet, in the order given."""
    known = codes.find(anchor, wanted)
    missing = [code for code in dict.fromkeys(wanted) if code not in known]
    ids = work.add(anchor, [{"code": code} for code in missing])  # type: ignore[arg-type]
    codes.learn(anchor, missing, ids)
