"""The declarative base: column types, constraint names, and what every kept row carries."""

from __future__ import annotations

from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Date,
    DateTime,
    Dialect,
    Double,
    Enum,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    TypeDecorator,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

CONSTRAINT_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """An instant: aware in Python, UTC in the database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an aware instant into UTC; a naive one is a mistake of the code."""
        del dialect
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"naive instant {value!r}: every instant carries its offset")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the instant back aware, in UTC."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Base of every table; ids are given by the journal, never by the database."""

    metadata = MetaData(naming_convention=CONSTRAINT_NAMES)
    type_annotation_map = {  # noqa: RUF012  # read by SQLAlchemy as a class attribute
        str: String(),
        int: Integer(),
        float: Double(),
        date: Date(),
        datetime: UtcDateTime(),
    }


def table_of(model: type[Any]) -> Table:
    """Give the table behind a mapped class (or a mixin of which only mapped classes are handed)."""
    table = model.__table__
    if not isinstance(table, Table):
        raise TypeError(f"{model.__name__} is not mapped to a table")
    return table


class Kept:
    """A row that is written once and never changed: it carries the ledger entry that wrote it."""

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)

    @declared_attr
    def entry_id(cls) -> Mapped[int]:  # noqa: N805  # declared_attr is handed the class
        """Ledger entry that wrote the row."""
        return mapped_column(
            ForeignKey("ledger_entry.id", deferrable=True, initially="DEFERRED"), index=True
        )


class Versioned(Kept):
    """A row that may be superseded: known from one instant until another, never overwritten."""

    known_from: Mapped[datetime]
    known_until: Mapped[datetime | None]

    @declared_attr
    def closing_entry_id(cls) -> Mapped[int | None]:  # noqa: N805
        """Ledger entry that superseded the row."""
        return mapped_column(
            ForeignKey("ledger_entry.id", deferrable=True, initially="DEFERRED"), index=True
        )


class Anchor(Kept):
    """The unchanging identity of a thing; what is known of it stands in its versions."""

    code: Mapped[str] = mapped_column(unique=True)


MUTABLE_COLUMNS = frozenset({"known_until", "closing_entry_id"})
"""The only columns that may change after a row was written, once, from NULL."""


def word(words: type[StrEnum], name: str) -> Enum:
    """Give the column type of a closed word list, stored by value and held by a constraint."""
    return Enum(
        words,
        name=name,
        native_enum=False,
        create_constraint=True,
        values_callable=lambda members: [member.value for member in members],
    )


def within(column: str, low: float, high: float) -> CheckConstraint:
    """Give a range constraint on a column, both ends allowed; NULL passes."""
    return CheckConstraint(f"{column} BETWEEN {low:g} AND {high:g}", name=f"{column}_range")


def versioned_args(*more: Any, current: tuple[str, ...]) -> tuple[Any, ...]:
    """Give the table arguments of a versioned table.

    ``current`` names the columns that are unique among the rows not yet superseded.
    """
    from sqlalchemy import Index, text

    unique = Index(
        None,
        *current,
        unique=True,
        sqlite_where=text("known_until IS NULL"),
        postgresql_where=text("known_until IS NULL"),
    )
    ordered = CheckConstraint("known_until > known_from", name="known_order")
    return (unique, ordered, *more)
