"""Record nights away from home and how far plans can be from the best there is.

New tables only: bases to sleep at, leave to stay out, the nights and the proven bound of a round's
version, guarded like all kept rows. Way down: loses the rows of these tables.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

KEPT = ("night_base", "round_night", "round_bound")
VERSIONED = ("night_base_version", "nights_out")
MUTABLE = ("known_until", "closing_entry_id")


def upgrade() -> None:
    _make_tables()
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def downgrade() -> None:
    for table in ("round_bound", "round_night", "nights_out", "night_base_version", "night_base"):
        op.drop_table(table)


def _make_tables() -> None:
    op.create_table(
        "night_base",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_night_base_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_base")),
        sa.UniqueConstraint("code", name=op.f("uq_night_base_code")),
    )
    op.create_index(op.f("ix_night_base_entry_id"), "night_base", ["entry_id"], unique=False)
    op.create_table(
        "night_base_version",
        sa.Column("night_base_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=False),
        sa.Column("night_cost", sa.Double(), nullable=False),
        sa.Column("money_per_record_day", sa.Double(), nullable=True),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("contact", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "capacity BETWEEN 0 AND 1000", name=op.f("ck_night_base_version_capacity_range")
        ),
        sa.CheckConstraint(
            "known_until > known_from", name=op.f("ck_night_base_version_known_order")
        ),
        sa.CheckConstraint(
            "latitude_deg BETWEEN -90 AND 90", name=op.f("ck_night_base_version_latitude_deg_range")
        ),
        sa.CheckConstraint(
            "longitude_deg BETWEEN -180 AND 180",
            name=op.f("ck_night_base_version_longitude_deg_range"),
        ),
        sa.CheckConstraint(
            "money_per_record_day BETWEEN 0.0001 AND 100000",
            name=op.f("ck_night_base_version_money_per_record_day_range"),
        ),
        sa.CheckConstraint(
            "night_cost BETWEEN 0 AND 100000",
            name=op.f("ck_night_base_version_night_cost_range"),
        ),
        sa.CheckConstraint(
            "valid_until >= valid_from", name=op.f("ck_night_base_version_valid_order")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_night_base_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_night_base_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["night_base_id"],
            ["night_base.id"],
            name=op.f("fk_night_base_version_night_base_id_night_base"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_base_version")),
    )
    op.create_index(
        op.f("ix_night_base_version_closing_entry_id"),
        "night_base_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_night_base_version_entry_id"), "night_base_version", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_night_base_version_night_base_id"),
        "night_base_version",
        ["night_base_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_table(
        "nights_out",
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("first_evening", sa.Date(), nullable=False),
        sa.Column("last_evening", sa.Date(), nullable=True),
        sa.Column("most_nights_in_a_row", sa.Integer(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_nights_out_known_order")),
        sa.CheckConstraint(
            "last_evening >= first_evening", name=op.f("ck_nights_out_evening_order")
        ),
        sa.CheckConstraint(
            "most_nights_in_a_row BETWEEN 1 AND 30",
            name=op.f("ck_nights_out_most_nights_in_a_row_range"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_nights_out_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_nights_out_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["technician.id"],
            name=op.f("fk_nights_out_technician_id_technician"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_nights_out")),
    )
    op.create_index(
        op.f("ix_nights_out_closing_entry_id"), "nights_out", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_nights_out_entry_id"), "nights_out", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_nights_out_technician_id_first_evening"),
        "nights_out",
        ["technician_id", "first_evening"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_table(
        "round_bound",
        sa.Column("round_version_id", sa.Integer(), nullable=False),
        sa.Column("plan_record_days", sa.Double(), nullable=False),
        sa.Column("best_record_days", sa.Double(), nullable=False),
        sa.Column("proof", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "best_record_days >= plan_record_days", name=op.f("ck_round_bound_bound_order")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_bound_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_version_id"],
            ["round_version.id"],
            name=op.f("fk_round_bound_round_version_id_round_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_bound")),
    )
    op.create_index(op.f("ix_round_bound_entry_id"), "round_bound", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_bound_round_version_id"), "round_bound", ["round_version_id"], unique=True
    )
    op.create_table(
        "round_night",
        sa.Column("round_version_id", sa.Integer(), nullable=False),
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("evening", sa.Date(), nullable=False),
        sa.Column("night_base_id", sa.Integer(), nullable=False),
        sa.Column("cost_record_days", sa.Double(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_night_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["night_base_id"],
            ["night_base.id"],
            name=op.f("fk_round_night_night_base_id_night_base"),
        ),
        sa.ForeignKeyConstraint(
            ["round_version_id"],
            ["round_version.id"],
            name=op.f("fk_round_night_round_version_id_round_version"),
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["technician.id"],
            name=op.f("fk_round_night_technician_id_technician"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_night")),
    )
    op.create_index(op.f("ix_round_night_entry_id"), "round_night", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_night_round_version_id_technician_id_evening"),
        "round_night",
        ["round_version_id", "technician_id", "evening"],
        unique=True,
    )


def _guard_sqlite() -> None:
    for table in (*KEPT, *VERSIONED):
        op.execute(
            f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: rows are never deleted'); END"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN {' OR '.join(_collisions(table))} "
            f"BEGIN SELECT RAISE(ABORT, '{table} holds such a row: rows are never replaced'); END"
        )
    for table in KEPT:
        op.execute(
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: rows never change'); END"
        )
    for table in VERSIONED:
        same = " AND ".join(f"OLD.{name} IS NEW.{name}" for name in _fixed_columns(table))
        op.execute(
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
            "WHEN NOT (OLD.known_until IS NULL AND NEW.known_until IS NOT NULL "
            f"AND NEW.closing_entry_id IS NOT NULL AND {same}) "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: a row is superseded once'); END"
        )


def _collisions(table: str) -> Iterator[str]:
    """Give a condition for each unique key that a new row may hit.

    INSERT OR REPLACE deletes the row in its way, and past the trigger on deletion where the
    connection has not set recursive_triggers.
    """
    inspector = sa.inspect(op.get_bind())
    yield f"EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)"
    for unique in (*inspector.get_unique_constraints(table), *inspector.get_indexes(table)):
        if not unique.get("unique", True):
            continue
        same = " AND ".join(f"{name} = NEW.{name}" for name in unique["column_names"])
        if unique.get("dialect_options", {}).get("sqlite_where") is not None:
            same += " AND known_until IS NULL AND NEW.known_until IS NULL"
        yield f"EXISTS (SELECT 1 FROM {table} WHERE {same})"


def _fixed_columns(table: str) -> Iterator[str]:
    for column in sa.inspect(op.get_bind()).get_columns(table):
        if column["name"] not in MUTABLE:
            yield column["name"]


def _guard_postgresql() -> None:
    """Hold the new tables by the functions that revision 0002 made."""
    for tables, function in ((KEPT, "fleet_refuse_change"), (VERSIONED, "fleet_close_only")):
        for table in tables:
            op.execute(
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION {function}()"
            )
            op.execute(
                f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION fleet_refuse_change()"
            )
