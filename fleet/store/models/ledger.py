"""The append-only journal of every change."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.base import Base


class LedgerEntry(Base):
    """One transaction: who, when, what and why, chained by hash to the entry before."""

    __tablename__ = "ledger_entry"
    __table_args__ = (CheckConstraint("length(hash) = 64", name="hash_length"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    actor: Mapped[str]
    action: Mapped[str]
    reason: Mapped[str]
    previous_hash: Mapped[str]
    hash: Mapped[str] = mapped_column(unique=True)


class LedgerChange(Base):
    """What one entry did to one table: rows added (as a digest) or one row superseded.

    ``digest`` covers every added row in order of id. A superseded row is named by ``row_key``
    and ``row_id``, with the fields that changed as JSON ``{"field": [old, new]}``.
    """

    __tablename__ = "ledger_change"
    __table_args__ = (
        CheckConstraint("kind IN ('added', 'superseded')", name="kind"),
        Index(None, "entry_id", "number", unique=True),
    )

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    entry_id: Mapped[int] = mapped_column(
        ForeignKey("ledger_entry.id", deferrable=True, initially="DEFERRED")
    )
    number: Mapped[int]
    kind: Mapped[str]
    table_name: Mapped[str]
    row_count: Mapped[int]
    row_id: Mapped[int | None]
    row_key: Mapped[str | None]
    digest: Mapped[str | None]
    fields: Mapped[str | None]
