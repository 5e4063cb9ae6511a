"""Bind the working day: rest rules, homes, vehicles, dated access windows; tell a plan's costs.

New tables only, beside wider word lists and ranges of three that are there: a column more in a kept
table would change the digests of the entries that wrote its rows.
Way down: the new tables go with all their rows; refused where a round or a hold uses a new word or
ends after midnight, since the narrower conditions do not hold then.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

MUTABLE = ("known_until", "closing_entry_id")
KEPT = (
    "round_day_place",
    "round_pause",
    "round_note",
    "round_stop_cost",
    "round_left_out_offer",
)
VERSIONED = ("rest_rule", "home", "vehicle", "access_window", "stop_acceptance")
REBUILT_KEPT = ("round_day", "round_left_out")
REBUILT_VERSIONED = ("hold",)

REASONS = (
    "held",
    "closed",
    "too_far",
    "no_skill",
    "no_crew",
    "technician_away",
    "no_room",
    "not_worth_drive",
)
NEW_REASONS = (*REASONS[:5], "no_capacity", "elsewhere", *REASONS[5:])
HOLDS = ("must_visit", "not_this_week", "technician")
RANGES = {
    "leave_min": ("leave_min BETWEEN 0 AND 1440", "leave_min BETWEEN 0 AND 2880"),
    "back_min": ("back_min BETWEEN 0 AND 1440", "back_min BETWEEN 0 AND 2880"),
    "rest_min": ("rest_min BETWEEN 0 AND 480", "rest_min BETWEEN 0 AND 1440"),
    "rest_at_min": ("rest_at_min BETWEEN 0 AND 1440", "rest_at_min BETWEEN 0 AND 2880"),
}


def upgrade() -> None:
    _make_duty()
    _make_access_window()
    _make_round_parts()
    _widen(NEW_REASONS, (*HOLDS, "these_days"), new=1)
    _guard((*KEPT, *REBUILT_KEPT), (*VERSIONED, *REBUILT_VERSIONED), new=(*KEPT, *VERSIONED))


def downgrade() -> None:
    _require_narrow()
    for table in (*KEPT, *VERSIONED):
        op.drop_table(table)
    _widen(REASONS, HOLDS, new=0)
    _guard(REBUILT_KEPT, REBUILT_VERSIONED, new=())


def _require_narrow() -> None:
    asked = {
        "SELECT count(*) FROM hold WHERE kind = 'these_days'": "hold(s) of kind these_days",
        "SELECT count(*) FROM round_left_out WHERE reason IN ('no_capacity', 'elsewhere')": (
            "left-out site(s) with a reason that is new here"
        ),
        "SELECT count(*) FROM round_day WHERE back_min > 1440 OR rest_min > 480": (
            "round day(s) that end after midnight or rest for more than 8 hours"
        ),
    }
    for query, words in asked.items():
        count = op.get_bind().execute(sa.text(query)).scalar_one()
        if count:
            raise RuntimeError(f"{count} {words}: the way down would lose what they say")


def _entry(table: str, column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column],
        ["ledger_entry.id"],
        name=op.f(f"fk_{table}_{column}_ledger_entry"),
        initially="DEFERRED",
        deferrable=True,
    )


def _to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name)


def _check(table: str, name: str, condition: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(condition, name=op.f(f"ck_{table}_{name}"))


def _range(table: str, column: str, low: str, high: str) -> sa.CheckConstraint:
    return _check(table, f"{column}_range", f"{column} BETWEEN {low} AND {high}")


def _make_kept(table: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        *parts,
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        _entry(table, "entry_id"),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    )
    op.create_index(op.f(f"ix_{table}_entry_id"), table, ["entry_id"], unique=False)


def _make_versioned(table: str, *parts: sa.schema.SchemaItem, current: tuple[str, ...]) -> None:
    _make_kept(
        table,
        *parts,
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        _check(table, "known_order", "known_until > known_from"),
        _entry(table, "closing_entry_id"),
    )
    closing = op.f(f"ix_{table}_closing_entry_id")
    op.create_index(closing, table, ["closing_entry_id"], unique=False)
    op.create_index(
        op.f(f"ix_{table}_{'_'.join(current)}"),
        table,
        list(current),
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )


def _make_duty() -> None:
    _make_versioned(
        "rest_rule",
        sa.Column(
            "scope",
            sa.Enum(
                "network",
                "depot",
                "technician",
                name="rest_scope",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("scope_code", sa.String(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("after_driving_minutes", sa.Integer(), nullable=True),
        sa.Column("after_duty_minutes", sa.Integer(), nullable=True),
        sa.Column("break_minutes", sa.Integer(), nullable=False),
        sa.Column("basis", sa.String(), nullable=False),
        _range("rest_rule", "after_driving_minutes", "30", "1440"),
        _range("rest_rule", "after_duty_minutes", "30", "1440"),
        _range("rest_rule", "break_minutes", "0", "240"),
        _check("rest_rule", "scope_coded", "(scope = 'network') = (scope_code = '')"),
        current=("scope", "scope_code", "valid_from"),
    )
    _make_versioned(
        "home",
        *_dated_technician("home"),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("starts_here", sa.Boolean(), nullable=False),
        sa.Column("ends_here", sa.Boolean(), nullable=False),
        _range("home", "latitude_deg", "-90", "90"),
        _range("home", "longitude_deg", "-180", "180"),
        current=("technician_id", "valid_from"),
    )
    _make_versioned(
        "vehicle",
        *_dated_technician("vehicle"),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("water_litres", sa.Double(), nullable=False),
        sa.Column("spare_parts", sa.Integer(), nullable=False),
        _range("vehicle", "water_litres", "0", "5000"),
        _range("vehicle", "spare_parts", "0", "1000"),
        current=("technician_id", "valid_from"),
    )


def _dated_technician(table: str) -> tuple[sa.schema.SchemaItem, ...]:
    return (
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        _check(table, "valid_order", "valid_until >= valid_from"),
        _to(table, "technician_id", "technician"),
    )


def _make_access_window() -> None:
    _make_versioned(
        "access_window",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("opens", sa.Integer(), nullable=False),
        sa.Column("closes", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        _range("access_window", "opens", "0", "1439"),
        _range("access_window", "closes", "1", "1440"),
        _check("access_window", "clock_order", "closes > opens"),
        _to("access_window", "site_id", "site"),
        current=("site_id", "day", "opens"),
    )


def _make_round_parts() -> None:
    ends = [
        sa.Column(f"{end}_{name}", kind(), nullable=False)
        for end in ("start", "end")
        for name, kind in (
            ("key", sa.String),
            ("latitude_deg", sa.Double),
            ("longitude_deg", sa.Double),
        )
    ]
    _make_part("round_day_place", "round_day", *ends)
    _make_part(
        "round_pause",
        "round_day",
        sa.Column("starts_min", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        _range("round_pause", "starts_min", "0", "2880"),
        _range("round_pause", "minutes", "1", "1440"),
        more="starts_min",
    )
    _make_part(
        "round_note",
        "round_version",
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        more="sequence",
    )
    _make_part(
        "round_stop_cost",
        "round_stop",
        sa.Column("extra_min", sa.Integer(), nullable=False),
        sa.Column("extra_driving_min", sa.Integer(), nullable=False),
    )
    _make_part(
        "round_left_out_offer",
        "round_left_out",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("crew", sa.String(), nullable=False),
        sa.Column("extra_min", sa.Integer(), nullable=False),
        sa.Column("over_min", sa.Integer(), nullable=True),
    )
    _make_versioned(
        "stop_acceptance",
        sa.Column("round_stop_id", sa.Integer(), nullable=False),
        _to("stop_acceptance", "round_stop_id", "round_stop"),
        current=("round_stop_id",),
    )


def _make_part(table: str, whole: str, *parts: sa.schema.SchemaItem, more: str = "") -> None:
    column = f"{whole}_id"
    _make_kept(
        table, sa.Column(column, sa.Integer(), nullable=False), *parts, _to(table, column, whole)
    )
    unique = [column, *([more] if more else [])]
    op.create_index(op.f(f"ix_{table}_{'_'.join(unique)}"), table, unique, unique=True)


def _widen(reasons: tuple[str, ...], holds: tuple[str, ...], *, new: int) -> None:
    words = {
        ("round_left_out", "left_out_reason", "reason"): reasons,
        ("hold", "hold_kind", "kind"): holds,
    }
    for (table, name, column), allowed in words.items():
        listed = ", ".join(f"'{word}'" for word in allowed)
        with op.batch_alter_table(table) as batch:
            batch.drop_constraint(op.f(f"ck_{table}_{name}"), type_="check")
            batch.create_check_constraint(op.f(f"ck_{table}_{name}"), f"{column} IN ({listed})")
    with op.batch_alter_table("round_day") as batch:
        for column, conditions in RANGES.items():
            name = op.f(f"ck_round_day_{column}_range")
            batch.drop_constraint(name, type_="check")
            batch.create_check_constraint(name, conditions[new])


def _guard(kept: tuple[str, ...], versioned: tuple[str, ...], *, new: tuple[str, ...]) -> None:
    """Make the tables append-only; on PostgreSQL a changed table keeps its triggers."""
    if op.get_bind().dialect.name == "sqlite":
        for table in (*kept, *versioned):
            _guard_sqlite(table, versioned=table in versioned)
        return
    for table in new:
        function = "fleet_close_only" if table in versioned else "fleet_refuse_change"
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {function}()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION fleet_refuse_change()"
        )


def _guard_sqlite(table: str, *, versioned: bool) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: rows are never deleted'); END"
    )
    op.execute(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN {' OR '.join(_collisions(table))} "
        f"BEGIN SELECT RAISE(ABORT, '{table} holds such a row: rows are never replaced'); END"
    )
    if not versioned:
        op.execute(
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: rows never change'); END"
        )
        return
    columns = [column["name"] for column in sa.inspect(op.get_bind()).get_columns(table)]
    same = " AND ".join(f"OLD.{name} IS NEW.{name}" for name in columns if name not in MUTABLE)
    op.execute(
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
        "WHEN NOT (OLD.known_until IS NULL AND NEW.known_until IS NOT NULL "
        f"AND NEW.closing_entry_id IS NOT NULL AND {same}) "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: a row is superseded once'); END"
    )


def _collisions(table: str) -> Iterator[str]:
    """Give a condition for each unique key that a new row may hit."""
    inspector = sa.inspect(op.get_bind())
    yield f"EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)"
    for unique in (*inspector.get_unique_constraints(table), *inspector.get_indexes(table)):
        if not unique.get("unique", True):
            continue
        same = " AND ".join(f"{name} = NEW.{name}" for name in unique["column_names"])
        if unique.get("dialect_options", {}).get("sqlite_where") is not None:
            same += " AND known_until IS NULL AND NEW.known_until IS NULL"
        yield f"EXISTS (SELECT 1 FROM {table} WHERE {same})"
