"""Hold the past: rows are append-only, superseded once; installations do not overlap.

SQLite: triggers, also against INSERT OR REPLACE. PostgreSQL: trigger functions, also against
TRUNCATE, and exclusion constraints (btree_gist).
A later batch change on SQLite drops a table's triggers silently: call `guard` again there.
Way down: removes the guards, loses no rows.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

KEPT = (
    "ledger_entry",
    "ledger_change",
    "depot",
    "technician",
    "site",
    "gauge_type",
    "instrument",
    "device",
    "visit",
    "follow_up",
    "round",
    "visit_technician",
    "gauge_check",
    "tip_run",
    "switch_reading",
    "finding",
    "round_event",
    "round_day",
    "round_crew",
    "round_stop",
    "round_stop_gauge",
    "round_left_out",
)
VERSIONED = (
    "depot_version",
    "closure",
    "technician_version",
    "skill",
    "absence",
    "site_version",
    "access_rule",
    "hold",
    "gauge_type_version",
    "instrument_version",
    "installation",
    "policy",
    "device_version",
    "certificate",
    "visit_version",
    "follow_up_version",
    "daily_total",
    "round_version",
    "stop_result",
)
MUTABLE = ("known_until", "closing_entry_id")
OVERLAP = (
    ("instrument", "{0}.instrument_id = {1}.instrument_id"),
    ("position", "{0}.site_id = {1}.site_id AND {0}.position = {1}.position"),
)


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in (*KEPT, *VERSIONED):
            op.execute(f"DROP TRIGGER {table}_no_delete")
            op.execute(f"DROP TRIGGER {table}_no_replace")
            op.execute(f"DROP TRIGGER {table}_no_update")
        for name, _ in OVERLAP:
            op.execute(f"DROP TRIGGER installation_no_overlap_{name}")
        return
    for table in (*KEPT, *VERSIONED):
        op.execute(f"DROP TRIGGER {table}_append_only ON {table}")
        op.execute(f"DROP TRIGGER {table}_no_truncate ON {table}")
    op.execute("ALTER TABLE installation DROP CONSTRAINT ex_installation_instrument")
    op.execute("ALTER TABLE installation DROP CONSTRAINT ex_installation_position")
    op.execute("DROP FUNCTION fleet_refuse_change()")
    op.execute("DROP FUNCTION fleet_close_only()")


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
    for name, condition in OVERLAP:
        op.execute(
            f"CREATE TRIGGER installation_no_overlap_{name} BEFORE INSERT ON installation "
            "WHEN NEW.known_until IS NULL AND EXISTS (SELECT 1 FROM installation AS other "
            f"WHERE other.known_until IS NULL AND {condition.format('other', 'NEW')} "
            "AND other.installed_on < coalesce(NEW.removed_on, '9999-12-31') "
            "AND NEW.installed_on < coalesce(other.removed_on, '9999-12-31')) "
            f"BEGIN SELECT RAISE(ABORT, 'installation overlaps another of the {name}'); END"
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
    op.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    op.execute(
        "CREATE FUNCTION fleet_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only: rows never change', TG_TABLE_NAME; END $$"
    )
    op.execute(
        "CREATE FUNCTION fleet_close_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF TG_OP <> 'UPDATE' OR OLD.known_until IS NOT NULL OR NEW.known_until IS NULL "
        "OR NEW.closing_entry_id IS NULL "
        "OR to_jsonb(OLD) - 'known_until' - 'closing_entry_id' "
        "<> to_jsonb(NEW) - 'known_until' - 'closing_entry_id' THEN "
        "RAISE EXCEPTION '% is append-only: a row is superseded once', TG_TABLE_NAME; END IF; "
        "RETURN NEW; END $$"
    )
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
    span = "daterange(installed_on, removed_on) WITH &&"
    op.execute(
        "ALTER TABLE installation ADD CONSTRAINT ex_installation_instrument EXCLUDE USING gist "
        f"(instrument_id WITH =, {span}) WHERE (known_until IS NULL)"
    )
    op.execute(
        "ALTER TABLE installation ADD CONSTRAINT ex_installation_position EXCLUDE USING gist "
        f"(site_id WITH =, position WITH =, {span}) WHERE (known_until IS NULL)"
    )
