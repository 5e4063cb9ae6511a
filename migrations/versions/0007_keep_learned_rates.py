"""Keep the rates that were learned, and where each gauge stands under them.

Two new tables: `learned_rates`, guarded like all kept rows, and `gauge_state`, which follows from
the records and is rewritten at will; and a view of each for free questions.
Way down: loses the learned rates (a ledger entry that wrote them then has no rows) and the states.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_TEXT = sa.String().with_variant(sa.String(collation="C"), "postgresql")
_DAYS = (
    "last_record_day",
    "last_service_day",
    "last_visit_day",
    "level_day",
    "switch_ohm_day",
    "site_seen_day",
    "way_clean_day",
    "switch_seen_day",
    "switch_new_day",
)
_COUNTS = ("attempts_since_service", "services", "drift_doubted", "ohm_doubted")
_SIGNS = ("left_blocked", "switch_left_dead", "left_disconnected", "never_verified")
_NUMBERS = (
    "level_variance",
    "drift_rate",
    "drift_rate_variance",
    "ohm_rate",
    "ohm_rate_variance",
    "knock_events",
    "knock_exposure",
    "blockage_events",
    "blockage_exposure",
    "death_events",
    "death_exposure",
)
_MISSING = ("level_percent", "switch_ohm")
_DAY_OF = {  # an ordinal of 1 is the first of January of the year 1; 0 is none
    "sqlite": "CASE WHEN g.{0} > 0 THEN date(1721424.5 + g.{0}) END",
    "postgresql": "CASE WHEN g.{0} > 0 THEN DATE '0001-01-01' + (g.{0} - 1) END",
}


def upgrade() -> None:
    _make_rates()
    _make_states()
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite("learned_rates")
    else:
        _guard_postgresql("learned_rates")
    _make_views()


def downgrade() -> None:
    op.execute("DROP VIEW gauge_state_now")
    op.execute("DROP VIEW rates_learned")
    op.drop_table("gauge_state")
    op.drop_table("learned_rates")


def _make_rates() -> None:
    op.create_table(
        "learned_rates",
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("format_number", sa.Integer(), nullable=False),
        sa.Column("rates", _TEXT, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "format_number BETWEEN 1 AND 999", name=op.f("ck_learned_rates_format_number_range")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_learned_rates_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learned_rates")),
    )
    op.create_index(op.f("ix_learned_rates_as_of"), "learned_rates", ["as_of"], unique=False)
    op.create_index(op.f("ix_learned_rates_entry_id"), "learned_rates", ["entry_id"], unique=False)


def _make_states() -> None:
    whole = [sa.Column(name, sa.Integer(), nullable=False) for name in (*_DAYS, *_COUNTS)]
    signs = [sa.Column(name, sa.Boolean(), nullable=False) for name in _SIGNS]
    numbers = [sa.Column(name, sa.Double(), nullable=False) for name in _NUMBERS]
    missing = [sa.Column(name, sa.Double(), nullable=True) for name in _MISSING]
    op.create_table(
        "gauge_state",
        sa.Column("installation_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rates_id", sa.Integer(), nullable=False),
        *whole,
        *signs,
        *numbers,
        *missing,
        sa.ForeignKeyConstraint(
            ["installation_id"],
            ["installation.id"],
            name=op.f("fk_gauge_state_installation_id_installation"),
        ),
        sa.ForeignKeyConstraint(
            ["rates_id"],
            ["learned_rates.id"],
            name=op.f("fk_gauge_state_rates_id_learned_rates"),
        ),
        sa.PrimaryKeyConstraint("installation_id", name=op.f("pk_gauge_state")),
    )
    op.create_index(op.f("ix_gauge_state_rates_id"), "gauge_state", ["rates_id"], unique=False)


def _guard_sqlite(table: str) -> None:
    for name, never in (("delete", "are never deleted"), ("update", "never change")):
        op.execute(
            f"CREATE TRIGGER {table}_no_{name} BEFORE {name.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: rows {never}'); END"
        )
    op.execute(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) "
        f"BEGIN SELECT RAISE(ABORT, '{table} holds such a row: rows are never replaced'); END"
    )


def _guard_postgresql(table: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION fleet_refuse_change()"
    )
    op.execute(
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION fleet_refuse_change()"
    )


def _make_views() -> None:
    day = _DAY_OF[op.get_bind().dialect.name]
    days = ", ".join(f"{day.format(name)} AS {name[:-4]}_on" for name in _DAYS)
    plain = ", ".join(f"g.{name}" for name in (*_COUNTS, *_SIGNS, *_MISSING, *_NUMBERS))
    op.execute(
        f"CREATE VIEW gauge_state_now AS SELECT s.code AS site_code, n.position, i.code AS serial, "
        f"{days}, {plain}, r.as_of AS rates_of "
        "FROM gauge_state g JOIN installation n ON n.id = g.installation_id "
        "JOIN site s ON s.id = n.site_id JOIN instrument i ON i.id = n.instrument_id "
        "JOIN learned_rates r ON r.id = g.rates_id"
    )
    op.execute(
        "CREATE VIEW rates_learned AS SELECT r.as_of, e.at, e.actor, e.reason, r.format_number, "
        "r.rates FROM learned_rates r JOIN ledger_entry e ON e.id = r.entry_id"
    )
