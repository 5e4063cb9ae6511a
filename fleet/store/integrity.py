"""What a database must hold besides its ledger: whole files, references, one version at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, ForeignKeyConstraint, Table, and_, func, or_, select, text
from sqlalchemy.orm import Session

from fleet.store.base import Anchor, Base, Versioned, table_of
from fleet.store.models.all import METADATA

_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that is wrong at a place: a table, an object of the database, or the file."""

    place: str
    text: str


def file_flaws(connection: Connection) -> Iterator[Flaw]:
    """Let SQLite look through its whole file: pages, indexes, conditions. None on PostgreSQL."""
    if connection.dialect.name == "sqlite":
        for line in connection.execute(text("PRAGMA integrity_check")).scalars():
            if line != "ok":
                yield Flaw("file", str(line))


def shape_flaws(connection: Connection) -> Iterator[Flaw]:
    """Compare tables, columns, indexes and unique keys with those of this version."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    context = MigrationContext.configure(connection, opts={"compare_type": True})
    for difference in compare_metadata(context, METADATA):
        first = difference[0] if isinstance(difference, list) else difference
        yield Flaw("tables", f"not as this version makes them: {_words(first)}")
    if connection.dialect.name == "postgresql":
        yield from _collation_flaws(connection)


def _words(difference: tuple[Any, ...]) -> str:
    kind, *rest = difference
    names = [str(getattr(part, "name", None) or part) for part in rest if part is not None]
    return f"{str(kind).replace('_', ' ')} {' '.join(names)}"


def _collation_flaws(connection: Connection) -> Iterator[Flaw]:
    """Texts must sort by their bytes, as on SQLite, so that rows come in the same order."""
    rows = connection.execute(
        text(
            "SELECT table_name, column_name FROM information_schema.columns "
            "WHERE table_schema = current_schema() AND collation_name IS DISTINCT FROM 'C' "
            "AND data_type IN ('character varying', 'text') ORDER BY 1, 2"
        )
    )
    for table, column in rows:
        if table in METADATA.tables:
            yield Flaw(table, f"the texts of {column} do not sort by their bytes (collation C)")


def reference_flaws(session: Session) -> Iterator[Flaw]:
    """Find rows that point to rows that are not there."""
    for table in METADATA.sorted_tables:
        for constraint in sorted(table.foreign_key_constraints, key=lambda each: str(each.name)):
            yield from _dangling(session, table, constraint)


def _dangling(session: Session, table: Table, constraint: ForeignKeyConstraint) -> Iterator[Flaw]:
    (element,) = constraint.elements
    own, target = element.parent, element.column.table.alias("target")
    (key,) = table.primary_key.columns
    found = session.execute(
        select(func.count(), func.min(key))
        .select_from(table.outerjoin(target, target.c[element.column.name] == own))
        .where(own.is_not(None), target.c[element.column.name].is_(None))
    ).one()
    if found[0]:
        aim = element.column.table.name
        yield Flaw(
            table.name,
            f"{found[0]} row(s) name a {aim} that is not there by {own.name}, first row {found[1]}",
        )


def version_flaws(session: Session) -> Iterator[Flaw]:
    """Find identities of which nothing is known, and rows of one key known at the same time."""
    for mapper in sorted(Base.registry.mappers, key=lambda each: each.class_.__name__):
        model = mapper.class_
        if issubclass(model, Anchor):
            yield from _unknown_identities(session, table_of(model))
        if issubclass(model, Versioned):
            yield from _overlapping(session, table_of(model))


def _unknown_identities(session: Session, anchor: Table) -> Iterator[Flaw]:
    versions = METADATA.tables.get(f"{anchor.name}_version")
    if versions is None:
        return
    own = versions.c[f"{anchor.name}_id"]
    unknown = select(anchor.c.id).except_(select(own))  # looks at each table once on both databases
    query = select(anchor.c.code).where(anchor.c.id.in_(unknown))
    codes = list(session.execute(query.order_by(anchor.c.code).limit(_SHOWN)).scalars())
    if codes:
        yield Flaw(anchor.name, f"nothing is known of {', '.join(codes)}")


def _overlapping(session: Session, table: Table) -> Iterator[Flaw]:
    """Hold each superseded row against the others of its key, which is that of the current rows.

    Two current rows of one key are refused by their unique index, so that few rows are looked at.
    """
    other = table.alias("other")
    same = and_(*(table.c[name] == other.c[name] for name in _current_key(table)))
    query = (
        select(table.c.id, other.c.id)
        .join(other, same)
        .where(
            table.c.known_until.is_not(None),
            or_(other.c.known_until.is_(None), table.c.id < other.c.id),
            table.c.known_until > other.c.known_from,
            or_(other.c.known_until.is_(None), other.c.known_until > table.c.known_from),
        )
    )
    for first, second in session.execute(query.order_by(table.c.id, other.c.id).limit(_SHOWN)):
        yield Flaw(table.name, f"rows {first} and {second} of one key are known at the same time")


def _current_key(table: Table) -> tuple[str, ...]:
    (index,) = [
        index
        for index in table.indexes
        if index.unique and index.dialect_options["sqlite"].get("where") is not None
    ]
    return tuple(column.name for column in index.columns)
