"""lay the records.

Every table of the records, with named constraints. Way down: drops everything; all rows are lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "ledger_entry",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint("length(hash) = 64", name=op.f("ck_ledger_entry_hash_length")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ledger_entry")),
        sa.UniqueConstraint("hash", name=op.f("uq_ledger_entry_hash")),
    )
    op.create_table(
        "depot",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_depot_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_depot")),
        sa.UniqueConstraint("code", name=op.f("uq_depot_code")),
    )
    op.create_index(op.f("ix_depot_entry_id"), "depot", ["entry_id"], unique=False)

    op.create_table(
        "device",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_device_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device")),
        sa.UniqueConstraint("code", name=op.f("uq_device_code")),
    )
    op.create_index(op.f("ix_device_entry_id"), "device", ["entry_id"], unique=False)

    op.create_table(
        "follow_up",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_follow_up_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_follow_up")),
        sa.UniqueConstraint("code", name=op.f("uq_follow_up_code")),
    )
    op.create_index(op.f("ix_follow_up_entry_id"), "follow_up", ["entry_id"], unique=False)

    op.create_table(
        "gauge_type",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_gauge_type_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gauge_type")),
        sa.UniqueConstraint("code", name=op.f("uq_gauge_type_code")),
    )
    op.create_index(op.f("ix_gauge_type_entry_id"), "gauge_type", ["entry_id"], unique=False)

    op.create_table(
        "instrument",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_instrument_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sa.UniqueConstraint("code", name=op.f("uq_instrument_code")),
    )
    op.create_index(op.f("ix_instrument_entry_id"), "instrument", ["entry_id"], unique=False)

    op.create_table(
        "ledger_change",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("table_name", sa.String(), nullable=False),
        sa.Column("row_count", sa.Integer(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=True),
        sa.Column("row_key", sa.String(), nullable=True),
        sa.Column("digest", sa.String(), nullable=True),
        sa.Column("fields", sa.String(), nullable=True),
        sa.CheckConstraint("kind IN ('added', 'superseded')", name=op.f("ck_ledger_change_kind")),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_ledger_change_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ledger_change")),
    )
    op.create_index(
        op.f("ix_ledger_change_entry_id_number"),
        "ledger_change",
        ["entry_id", "number"],
        unique=True,
    )

    op.create_table(
        "policy",
        sa.Column(
            "scope",
            sa.Enum(
                "network",
                "type",
                "site",
                name="policy_scope",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("scope_code", sa.String(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("service_interval_days", sa.Integer(), nullable=True),
        sa.Column("as_found_tolerance_percent", sa.Double(), nullable=True),
        sa.Column("as_left_tolerance_percent", sa.Double(), nullable=True),
        sa.Column("reject_limit_percent", sa.Double(), nullable=True),
        sa.Column("as_found_low_tips", sa.Integer(), nullable=True),
        sa.Column("as_found_high_tips", sa.Integer(), nullable=True),
        sa.Column("as_left_low_tips", sa.Integer(), nullable=True),
        sa.Column("as_left_high_tips", sa.Integer(), nullable=True),
        sa.Column("minimum_as_found_runs", sa.Integer(), nullable=True),
        sa.Column("minimum_as_left_runs", sa.Integer(), nullable=True),
        sa.Column("closed_field_limit_ohm", sa.Double(), nullable=True),
        sa.Column("closed_workshop_limit_ohm", sa.Double(), nullable=True),
        sa.Column("open_limit_ohm", sa.Double(), nullable=True),
        sa.Column(
            "decision_rule",
            sa.Enum(
                "simple",
                "guard_band",
                name="decision_rule",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column("target_reliability", sa.Double(), nullable=True),
        sa.Column("compliance_record_days", sa.Double(), nullable=True),
        sa.Column("basis", sa.String(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(scope = 'network') = (scope_code = '')", name=op.f("ck_policy_scope_coded")
        ),
        sa.CheckConstraint(
            "as_found_high_tips BETWEEN 0 AND 100000",
            name=op.f("ck_policy_as_found_high_tips_range"),
        ),
        sa.CheckConstraint(
            "as_found_low_tips BETWEEN 0 AND 100000", name=op.f("ck_policy_as_found_low_tips_range")
        ),
        sa.CheckConstraint(
            "as_left_high_tips BETWEEN 0 AND 100000", name=op.f("ck_policy_as_left_high_tips_range")
        ),
        sa.CheckConstraint(
            "as_left_low_tips BETWEEN 0 AND 100000", name=op.f("ck_policy_as_left_low_tips_range")
        ),
        sa.CheckConstraint(
            "as_found_high_tips >= as_found_low_tips", name=op.f("ck_policy_as_found_band")
        ),
        sa.CheckConstraint(
            "as_found_tolerance_percent BETWEEN 0 AND 100",
            name=op.f("ck_policy_as_found_tolerance_percent_range"),
        ),
        sa.CheckConstraint(
            "as_left_high_tips >= as_left_low_tips", name=op.f("ck_policy_as_left_band")
        ),
        sa.CheckConstraint(
            "as_left_tolerance_percent BETWEEN 0 AND 100",
            name=op.f("ck_policy_as_left_tolerance_percent_range"),
        ),
        sa.CheckConstraint(
            "closed_field_limit_ohm BETWEEN 0 AND 1e+09",
            name=op.f("ck_policy_closed_field_limit_ohm_range"),
        ),
        sa.CheckConstraint(
            "closed_workshop_limit_ohm BETWEEN 0 AND 1e+09",
            name=op.f("ck_policy_closed_workshop_limit_ohm_range"),
        ),
        sa.CheckConstraint(
            "compliance_record_days BETWEEN 0 AND 1000",
            name=op.f("ck_policy_compliance_record_days_range"),
        ),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_policy_known_order")),
        sa.CheckConstraint(
            "minimum_as_found_runs BETWEEN 0 AND 20",
            name=op.f("ck_policy_minimum_as_found_runs_range"),
        ),
        sa.CheckConstraint(
            "minimum_as_left_runs BETWEEN 0 AND 20",
            name=op.f("ck_policy_minimum_as_left_runs_range"),
        ),
        sa.CheckConstraint(
            "open_limit_ohm BETWEEN 0 AND 1e+09", name=op.f("ck_policy_open_limit_ohm_range")
        ),
        sa.CheckConstraint(
            "reject_limit_percent BETWEEN 0 AND 100",
            name=op.f("ck_policy_reject_limit_percent_range"),
        ),
        sa.CheckConstraint(
            "service_interval_days BETWEEN 1 AND 3650",
            name=op.f("ck_policy_service_interval_days_range"),
        ),
        sa.CheckConstraint(
            "target_reliability BETWEEN 0.5 AND 0.999",
            name=op.f("ck_policy_target_reliability_range"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_policy_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_policy_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_policy")),
    )
    op.create_index(
        op.f("ix_policy_closing_entry_id"), "policy", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_policy_entry_id"), "policy", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_policy_scope_scope_code_valid_from"),
        "policy",
        ["scope", "scope_code", "valid_from"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "round",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round")),
        sa.UniqueConstraint("code", name=op.f("uq_round_code")),
    )
    op.create_index(op.f("ix_round_entry_id"), "round", ["entry_id"], unique=False)

    op.create_table(
        "site",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_site_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
        sa.UniqueConstraint("code", name=op.f("uq_site_code")),
    )
    op.create_index(op.f("ix_site_entry_id"), "site", ["entry_id"], unique=False)

    op.create_table(
        "technician",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_technician_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_technician")),
        sa.UniqueConstraint("code", name=op.f("uq_technician_code")),
    )
    op.create_index(op.f("ix_technician_entry_id"), "technician", ["entry_id"], unique=False)

    op.create_table(
        "visit",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_visit_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
        sa.UniqueConstraint("code", name=op.f("uq_visit_code")),
    )
    op.create_index(op.f("ix_visit_entry_id"), "visit", ["entry_id"], unique=False)

    op.create_table(
        "absence",
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_absence_known_order")),
        sa.CheckConstraint("last_day >= first_day", name=op.f("ck_absence_day_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_absence_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_absence_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technician.id"], name=op.f("fk_absence_technician_id_technician")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_absence")),
    )
    op.create_index(
        op.f("ix_absence_closing_entry_id"), "absence", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_absence_entry_id"), "absence", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_absence_technician_id_first_day"),
        "absence",
        ["technician_id", "first_day"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "access_rule",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("rule_number", sa.Integer(), nullable=False),
        sa.Column("weekdays", sa.String(), nullable=True),
        sa.Column("opens", sa.Integer(), nullable=True),
        sa.Column("closes", sa.Integer(), nullable=True),
        sa.Column("first_day", sa.Date(), nullable=True),
        sa.Column("last_day", sa.Date(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("closes > opens", name=op.f("ck_access_rule_clock_order")),
        sa.CheckConstraint("closes BETWEEN 1 AND 1440", name=op.f("ck_access_rule_closes_range")),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_access_rule_known_order")),
        sa.CheckConstraint("last_day >= first_day", name=op.f("ck_access_rule_day_order")),
        sa.CheckConstraint("opens BETWEEN 0 AND 1439", name=op.f("ck_access_rule_opens_range")),
        sa.CheckConstraint(
            "rule_number BETWEEN 1 AND 999", name=op.f("ck_access_rule_rule_number_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_access_rule_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_access_rule_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_access_rule_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_rule")),
    )
    op.create_index(
        op.f("ix_access_rule_closing_entry_id"), "access_rule", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_access_rule_entry_id"), "access_rule", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_access_rule_site_id_rule_number"),
        "access_rule",
        ["site_id", "rule_number"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "certificate",
        sa.Column("device_id", sa.Integer(), nullable=False),
        sa.Column("certificate_number", sa.String(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("volume_ml", sa.Double(), nullable=True),
        sa.Column("expanded_uncertainty_ml", sa.Double(), nullable=True),
        sa.Column("issuer", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "expanded_uncertainty_ml BETWEEN 0 AND 1000",
            name=op.f("ck_certificate_expanded_uncertainty_ml_range"),
        ),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_certificate_known_order")),
        sa.CheckConstraint("valid_until >= valid_from", name=op.f("ck_certificate_valid_order")),
        sa.CheckConstraint(
            "volume_ml BETWEEN 1 AND 20000", name=op.f("ck_certificate_volume_ml_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_certificate_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["device_id"], ["device.id"], name=op.f("fk_certificate_device_id_device")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_certificate_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_certificate")),
    )
    op.create_index(
        op.f("ix_certificate_closing_entry_id"), "certificate", ["closing_entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_certificate_device_id_certificate_number"),
        "certificate",
        ["device_id", "certificate_number"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(op.f("ix_certificate_entry_id"), "certificate", ["entry_id"], unique=False)

    op.create_table(
        "closure",
        sa.Column("depot_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_closure_known_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_closure_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["depot_id"], ["depot.id"], name=op.f("fk_closure_depot_id_depot")),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_closure_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_closure")),
    )
    op.create_index(
        op.f("ix_closure_closing_entry_id"), "closure", ["closing_entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_closure_depot_id_day"),
        "closure",
        ["depot_id", "day"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(op.f("ix_closure_entry_id"), "closure", ["entry_id"], unique=False)

    op.create_table(
        "daily_total",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("total_mm", sa.Double(), nullable=True),
        sa.Column("flag", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_daily_total_known_order")),
        sa.CheckConstraint(
            "total_mm BETWEEN 0 AND 3000", name=op.f("ck_daily_total_total_mm_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_daily_total_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_daily_total_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_daily_total_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_daily_total")),
    )
    op.create_index(
        op.f("ix_daily_total_closing_entry_id"), "daily_total", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_daily_total_entry_id"), "daily_total", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_daily_total_site_id_position_day"),
        "daily_total",
        ["site_id", "position", "day"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "depot_version",
        sa.Column("depot_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("time_zone", sa.String(), nullable=False),
        sa.Column("holiday_region", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_depot_version_known_order")),
        sa.CheckConstraint(
            "latitude_deg BETWEEN -90 AND 90", name=op.f("ck_depot_version_latitude_deg_range")
        ),
        sa.CheckConstraint(
            "longitude_deg BETWEEN -180 AND 180", name=op.f("ck_depot_version_longitude_deg_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_depot_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["depot_id"], ["depot.id"], name=op.f("fk_depot_version_depot_id_depot")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_depot_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_depot_version")),
    )
    op.create_index(
        op.f("ix_depot_version_closing_entry_id"),
        "depot_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_depot_version_depot_id"),
        "depot_version",
        ["depot_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(op.f("ix_depot_version_entry_id"), "depot_version", ["entry_id"], unique=False)

    op.create_table(
        "device_version",
        sa.Column("device_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "volumetric",
                "balance",
                "meter",
                name="device_kind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_device_version_known_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_device_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["device_id"], ["device.id"], name=op.f("fk_device_version_device_id_device")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_device_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device_version")),
    )
    op.create_index(
        op.f("ix_device_version_closing_entry_id"),
        "device_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_device_version_device_id"),
        "device_version",
        ["device_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(
        op.f("ix_device_version_entry_id"), "device_version", ["entry_id"], unique=False
    )

    op.create_table(
        "follow_up_version",
        sa.Column("follow_up_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column(
            "severity",
            sa.Enum(
                "urgent",
                "soon",
                "next_visit",
                name="severity",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("raised_on", sa.Date(), nullable=False),
        sa.Column("raised_by_visit_id", sa.Integer(), nullable=True),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("needs", sa.String(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("closed_by_visit_id", sa.Integer(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("closed_on >= raised_on", name=op.f("ck_follow_up_version_day_order")),
        sa.CheckConstraint(
            "known_until > known_from", name=op.f("ck_follow_up_version_known_order")
        ),
        sa.ForeignKeyConstraint(
            ["closed_by_visit_id"],
            ["visit.id"],
            name=op.f("fk_follow_up_version_closed_by_visit_id_visit"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_follow_up_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_follow_up_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["follow_up_id"],
            ["follow_up.id"],
            name=op.f("fk_follow_up_version_follow_up_id_follow_up"),
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_follow_up_version_instrument_id_instrument"),
        ),
        sa.ForeignKeyConstraint(
            ["raised_by_visit_id"],
            ["visit.id"],
            name=op.f("fk_follow_up_version_raised_by_visit_id_visit"),
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_follow_up_version_site_id_site")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_follow_up_version")),
    )
    op.create_index(
        op.f("ix_follow_up_version_closing_entry_id"),
        "follow_up_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_follow_up_version_entry_id"), "follow_up_version", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_follow_up_version_follow_up_id"),
        "follow_up_version",
        ["follow_up_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(
        op.f("ix_follow_up_version_site_id"), "follow_up_version", ["site_id"], unique=False
    )

    op.create_table(
        "gauge_type_version",
        sa.Column("gauge_type_id", sa.Integer(), nullable=False),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("bucket_mm", sa.Double(), nullable=False),
        sa.Column("orifice_area_cm2", sa.Double(), nullable=False),
        sa.Column("area_basis", sa.String(), nullable=False),
        sa.Column("siphon", sa.Boolean(), nullable=False),
        sa.Column("test_volume_ml", sa.Double(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "bucket_mm BETWEEN 0.05 AND 2", name=op.f("ck_gauge_type_version_bucket_mm_range")
        ),
        sa.CheckConstraint(
            "known_until > known_from", name=op.f("ck_gauge_type_version_known_order")
        ),
        sa.CheckConstraint(
            "orifice_area_cm2 BETWEEN 50 AND 5000",
            name=op.f("ck_gauge_type_version_orifice_area_cm2_range"),
        ),
        sa.CheckConstraint(
            "test_volume_ml BETWEEN 10 AND 10000",
            name=op.f("ck_gauge_type_version_test_volume_ml_range"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_gauge_type_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_gauge_type_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["gauge_type_id"],
            ["gauge_type.id"],
            name=op.f("fk_gauge_type_version_gauge_type_id_gauge_type"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gauge_type_version")),
    )
    op.create_index(
        op.f("ix_gauge_type_version_closing_entry_id"),
        "gauge_type_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_gauge_type_version_entry_id"), "gauge_type_version", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_gauge_type_version_gauge_type_id"),
        "gauge_type_version",
        ["gauge_type_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "hold",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "must_visit",
                "not_this_week",
                "technician",
                name="hold_kind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("technician_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "kind <> 'technician' OR technician_id IS NOT NULL",
            name=op.f("ck_hold_technician_named"),
        ),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_hold_known_order")),
        sa.CheckConstraint("last_day >= first_day", name=op.f("ck_hold_day_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_hold_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_hold_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_hold_site_id_site")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technician.id"], name=op.f("fk_hold_technician_id_technician")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
    )
    op.create_index(op.f("ix_hold_closing_entry_id"), "hold", ["closing_entry_id"], unique=False)
    op.create_index(op.f("ix_hold_entry_id"), "hold", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_hold_site_id_kind_first_day"),
        "hold",
        ["site_id", "kind", "first_day"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "installation",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("installed_on", sa.Date(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("loop_ohm", sa.Double(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_installation_known_order")),
        sa.CheckConstraint(
            "loop_ohm BETWEEN 0 AND 1000", name=op.f("ck_installation_loop_ohm_range")
        ),
        sa.CheckConstraint("removed_on > installed_on", name=op.f("ck_installation_day_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_installation_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_installation_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_installation_instrument_id_instrument"),
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_installation_site_id_site")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installation")),
    )
    op.create_index(
        op.f("ix_installation_closing_entry_id"), "installation", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_installation_entry_id"), "installation", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_installation_instrument_id"), "installation", ["instrument_id"], unique=False
    )
    op.create_index(
        op.f("ix_installation_site_id_position_installed_on"),
        "installation",
        ["site_id", "position", "installed_on"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "instrument_version",
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("gauge_type_id", sa.Integer(), nullable=False),
        sa.Column(
            "status",
            sa.Enum(
                "in_service",
                "spare",
                "workshop",
                "retired",
                name="instrument_status",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("orifice_area_cm2", sa.Double(), nullable=True),
        sa.Column("area_basis", sa.String(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "known_until > known_from", name=op.f("ck_instrument_version_known_order")
        ),
        sa.CheckConstraint(
            "orifice_area_cm2 BETWEEN 50 AND 5000",
            name=op.f("ck_instrument_version_orifice_area_cm2_range"),
        ),
        sa.CheckConstraint(
            "orifice_area_cm2 IS NULL OR area_basis IS NOT NULL",
            name=op.f("ck_instrument_version_area_has_basis"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_instrument_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_instrument_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["gauge_type_id"],
            ["gauge_type.id"],
            name=op.f("fk_instrument_version_gauge_type_id_gauge_type"),
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_instrument_version_instrument_id_instrument"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument_version")),
    )
    op.create_index(
        op.f("ix_instrument_version_closing_entry_id"),
        "instrument_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_instrument_version_entry_id"), "instrument_version", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_instrument_version_gauge_type_id"),
        "instrument_version",
        ["gauge_type_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_instrument_version_instrument_id"),
        "instrument_version",
        ["instrument_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "round_version",
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("depot_id", sa.Integer(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("evidence_as_of", sa.Date(), nullable=False),
        sa.Column("horizon_days", sa.Integer(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("iterations", sa.Integer(), nullable=False),
        sa.Column("drive_price_days_per_h", sa.Double(), nullable=False),
        sa.Column("solver", sa.String(), nullable=False),
        sa.Column("travel_source", sa.String(), nullable=False),
        sa.Column("worth_record_days", sa.Double(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_round_version_known_order")),
        sa.CheckConstraint("last_day >= first_day", name=op.f("ck_round_version_day_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["depot_id"], ["depot.id"], name=op.f("fk_round_version_depot_id_depot")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_id"], ["round.id"], name=op.f("fk_round_version_round_id_round")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_version")),
    )
    op.create_index(
        op.f("ix_round_version_closing_entry_id"),
        "round_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(op.f("ix_round_version_entry_id"), "round_version", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_version_round_id"),
        "round_version",
        ["round_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(
        op.f("ix_round_version_round_id_number"),
        "round_version",
        ["round_id", "number"],
        unique=True,
    )

    op.create_table(
        "site_version",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=True),
        sa.Column("time_zone", sa.String(), nullable=False),
        sa.Column("depot_id", sa.Integer(), nullable=False),
        sa.Column("importance", sa.Double(), nullable=False),
        sa.Column("access_minutes", sa.Integer(), nullable=False),
        sa.Column("persons_required", sa.Integer(), nullable=False),
        sa.Column("required_skill", sa.String(), nullable=True),
        sa.Column("ring_first", sa.Boolean(), nullable=False),
        sa.Column("contact", sa.String(), nullable=True),
        sa.Column("hazards", sa.String(), nullable=True),
        sa.Column("access_notes", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "access_minutes BETWEEN 0 AND 600", name=op.f("ck_site_version_access_minutes_range")
        ),
        sa.CheckConstraint(
            "elevation_m BETWEEN -500 AND 9000", name=op.f("ck_site_version_elevation_m_range")
        ),
        sa.CheckConstraint(
            "importance BETWEEN 0.01 AND 100", name=op.f("ck_site_version_importance_range")
        ),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_site_version_known_order")),
        sa.CheckConstraint(
            "latitude_deg BETWEEN -90 AND 90", name=op.f("ck_site_version_latitude_deg_range")
        ),
        sa.CheckConstraint(
            "longitude_deg BETWEEN -180 AND 180", name=op.f("ck_site_version_longitude_deg_range")
        ),
        sa.CheckConstraint(
            "persons_required BETWEEN 1 AND 2", name=op.f("ck_site_version_persons_required_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_site_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["depot_id"], ["depot.id"], name=op.f("fk_site_version_depot_id_depot")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_site_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_site_version_site_id_site")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_version")),
    )
    op.create_index(
        op.f("ix_site_version_closing_entry_id"), "site_version", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_site_version_depot_id"), "site_version", ["depot_id"], unique=False)
    op.create_index(op.f("ix_site_version_entry_id"), "site_version", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_site_version_site_id"),
        "site_version",
        ["site_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "skill",
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("skill", sa.String(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_skill_known_order")),
        sa.CheckConstraint("valid_until >= valid_from", name=op.f("ck_skill_valid_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_skill_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_skill_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technician.id"], name=op.f("fk_skill_technician_id_technician")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_skill")),
    )
    op.create_index(op.f("ix_skill_closing_entry_id"), "skill", ["closing_entry_id"], unique=False)
    op.create_index(op.f("ix_skill_entry_id"), "skill", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_skill_technician_id_skill_valid_from"),
        "skill",
        ["technician_id", "skill", "valid_from"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "technician_version",
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("depot_id", sa.Integer(), nullable=False),
        sa.Column("active_from", sa.Date(), nullable=False),
        sa.Column("active_until", sa.Date(), nullable=True),
        sa.Column("shift_start", sa.Integer(), nullable=False),
        sa.Column("shift_end", sa.Integer(), nullable=False),
        sa.Column("weekdays", sa.String(), nullable=False),
        sa.Column("max_driving_minutes", sa.Integer(), nullable=False),
        sa.Column("break_minutes", sa.Integer(), nullable=False),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "active_until >= active_from", name=op.f("ck_technician_version_active_order")
        ),
        sa.CheckConstraint(
            "break_minutes BETWEEN 0 AND 480",
            name=op.f("ck_technician_version_break_minutes_range"),
        ),
        sa.CheckConstraint(
            "known_until > known_from", name=op.f("ck_technician_version_known_order")
        ),
        sa.CheckConstraint(
            "max_driving_minutes BETWEEN 1 AND 1440",
            name=op.f("ck_technician_version_max_driving_minutes_range"),
        ),
        sa.CheckConstraint(
            "shift_end > shift_start", name=op.f("ck_technician_version_shift_order")
        ),
        sa.CheckConstraint(
            "shift_end BETWEEN 1 AND 1440", name=op.f("ck_technician_version_shift_end_range")
        ),
        sa.CheckConstraint(
            "shift_start BETWEEN 0 AND 1439", name=op.f("ck_technician_version_shift_start_range")
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_technician_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["depot_id"], ["depot.id"], name=op.f("fk_technician_version_depot_id_depot")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_technician_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["technician.id"],
            name=op.f("fk_technician_version_technician_id_technician"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_technician_version")),
    )
    op.create_index(
        op.f("ix_technician_version_closing_entry_id"),
        "technician_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_technician_version_entry_id"), "technician_version", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_technician_version_technician_id"),
        "technician_version",
        ["technician_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )

    op.create_table(
        "visit_version",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("visited_on", sa.Date(), nullable=False),
        sa.Column("arrived_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("departed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("utc_offset_minutes", sa.Integer(), nullable=False),
        sa.Column(
            "purpose",
            sa.Enum(
                "routine",
                "repair",
                "installation",
                "removal",
                "inspection",
                name="visit_purpose",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column(
            "outcome",
            sa.Enum(
                "done",
                "partly_done",
                "not_done",
                name="visit_outcome",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column(
            "not_done_reason",
            sa.Enum(
                "no_access",
                "weather",
                "livestock",
                "unsafe",
                "no_time",
                "no_part",
                "equipment",
                "breakdown",
                "other",
                name="not_done_reason",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "outcome = 'done' OR not_done_reason IS NOT NULL",
            name=op.f("ck_visit_version_reason_given"),
        ),
        sa.CheckConstraint("departed_at > arrived_at", name=op.f("ck_visit_version_time_order")),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_visit_version_known_order")),
        sa.CheckConstraint(
            "utc_offset_minutes BETWEEN -1080 AND 1080",
            name=op.f("ck_visit_version_utc_offset_minutes_range"),
        ),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_visit_version_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_visit_version_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_visit_version_site_id_site")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_visit_version_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_version")),
    )
    op.create_index(
        op.f("ix_visit_version_closing_entry_id"),
        "visit_version",
        ["closing_entry_id"],
        unique=False,
    )
    op.create_index(op.f("ix_visit_version_entry_id"), "visit_version", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_visit_version_site_id_visited_on"),
        "visit_version",
        ["site_id", "visited_on"],
        unique=False,
    )
    op.create_index(
        op.f("ix_visit_version_visit_id"),
        "visit_version",
        ["visit_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )
    op.create_index(
        op.f("ix_visit_version_visited_on"), "visit_version", ["visited_on"], unique=False
    )

    op.create_table(
        "finding",
        sa.Column("visit_version_id", sa.Integer(), nullable=False),
        sa.Column("finding_number", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column(
            "component",
            sa.Enum(
                "funnel",
                "screen",
                "filter",
                "siphon",
                "bucket",
                "pivot",
                "drain",
                "level",
                "switch",
                "cable",
                "terminal",
                "enclosure",
                "foundation",
                "vegetation",
                "power",
                "other",
                name="component",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column(
            "condition_found",
            sa.Enum(
                "good",
                "dirty",
                "partly_blocked",
                "blocked",
                "infested",
                "loose",
                "worn",
                "corroded",
                "damaged",
                "disconnected",
                "missing",
                "other",
                name="condition_found",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column(
            "action",
            sa.Enum(
                "none",
                "cleaned",
                "cleared",
                "tightened",
                "levelled",
                "repaired",
                "replaced",
                "treated",
                "reported",
                name="action",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column(
            "condition_left",
            sa.Enum(
                "good",
                "dirty",
                "partly_blocked",
                "blocked",
                "infested",
                "loose",
                "worn",
                "corroded",
                "damaged",
                "disconnected",
                "missing",
                "other",
                name="condition_left",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "finding_number BETWEEN 1 AND 999", name=op.f("ck_finding_finding_number_range")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_finding_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name=op.f("fk_finding_instrument_id_instrument")
        ),
        sa.ForeignKeyConstraint(
            ["visit_version_id"],
            ["visit_version.id"],
            name=op.f("fk_finding_visit_version_id_visit_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
    )
    op.create_index(op.f("ix_finding_entry_id"), "finding", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_finding_visit_version_id_finding_number"),
        "finding",
        ["visit_version_id", "finding_number"],
        unique=True,
    )

    op.create_table(
        "gauge_check",
        sa.Column("visit_version_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("isolated_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("restored_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("restoration_proven", sa.Boolean(), nullable=True),
        sa.Column(
            "level_found",
            sa.Enum(
                "in_ring",
                "out_of_ring",
                name="level_found",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column(
            "level_left",
            sa.Enum(
                "in_ring",
                "out_of_ring",
                name="level_left",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column("cleaned", sa.Boolean(), nullable=False),
        sa.Column("adjusted", sa.Boolean(), nullable=False),
        sa.Column("parts", sa.String(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("restored_at >= isolated_at", name=op.f("ck_gauge_check_time_order")),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_gauge_check_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_gauge_check_instrument_id_instrument"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_version_id"],
            ["visit_version.id"],
            name=op.f("fk_gauge_check_visit_version_id_visit_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gauge_check")),
    )
    op.create_index(op.f("ix_gauge_check_entry_id"), "gauge_check", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_gauge_check_instrument_id"), "gauge_check", ["instrument_id"], unique=False
    )
    op.create_index(
        op.f("ix_gauge_check_visit_version_id_instrument_id"),
        "gauge_check",
        ["visit_version_id", "instrument_id"],
        unique=True,
    )

    op.create_table(
        "round_day",
        sa.Column("round_version_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("leave_min", sa.Integer(), nullable=False),
        sa.Column("back_drive_min", sa.Integer(), nullable=False),
        sa.Column("back_drive_km", sa.Double(), nullable=False),
        sa.Column("back_min", sa.Integer(), nullable=False),
        sa.Column("rest_min", sa.Integer(), nullable=False),
        sa.Column("rest_at_min", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("rest_min BETWEEN 0 AND 480", name=op.f("ck_round_day_rest_min_range")),
        sa.CheckConstraint(
            "rest_at_min BETWEEN 0 AND 1440", name=op.f("ck_round_day_rest_at_min_range")
        ),
        sa.CheckConstraint("back_min >= leave_min", name=op.f("ck_round_day_time_order")),
        sa.CheckConstraint("back_min BETWEEN 0 AND 1440", name=op.f("ck_round_day_back_min_range")),
        sa.CheckConstraint(
            "leave_min BETWEEN 0 AND 1440", name=op.f("ck_round_day_leave_min_range")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_day_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_version_id"],
            ["round_version.id"],
            name=op.f("fk_round_day_round_version_id_round_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_day")),
    )
    op.create_index(op.f("ix_round_day_entry_id"), "round_day", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_day_round_version_id_day"),
        "round_day",
        ["round_version_id", "day"],
        unique=False,
    )

    op.create_table(
        "round_event",
        sa.Column("round_version_id", sa.Integer(), nullable=False),
        sa.Column(
            "status",
            sa.Enum(
                "planned",
                "issued",
                "closed",
                name="round_status",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_event_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_version_id"],
            ["round_version.id"],
            name=op.f("fk_round_event_round_version_id_round_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_event")),
    )
    op.create_index(op.f("ix_round_event_entry_id"), "round_event", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_event_round_version_id_status"),
        "round_event",
        ["round_version_id", "status"],
        unique=True,
    )

    op.create_table(
        "round_left_out",
        sa.Column("round_version_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column(
            "reason",
            sa.Enum(
                "held",
                "closed",
                "too_far",
                "no_skill",
                "no_crew",
                "technician_away",
                "no_room",
                "not_worth_drive",
                name="left_out_reason",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("worth_record_days", sa.Double(), nullable=False),
        sa.Column("must_visit", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_left_out_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_version_id"],
            ["round_version.id"],
            name=op.f("fk_round_left_out_round_version_id_round_version"),
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name=op.f("fk_round_left_out_site_id_site")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_left_out")),
    )
    op.create_index(
        op.f("ix_round_left_out_entry_id"), "round_left_out", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_round_left_out_round_version_id_site_id"),
        "round_left_out",
        ["round_version_id", "site_id"],
        unique=True,
    )

    op.create_table(
        "visit_technician",
        sa.Column("visit_version_id", sa.Integer(), nullable=False),
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_visit_technician_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["technician.id"],
            name=op.f("fk_visit_technician_technician_id_technician"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_version_id"],
            ["visit_version.id"],
            name=op.f("fk_visit_technician_visit_version_id_visit_version"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_technician")),
    )
    op.create_index(
        op.f("ix_visit_technician_entry_id"), "visit_technician", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_visit_technician_visit_version_id_technician_id"),
        "visit_technician",
        ["visit_version_id", "technician_id"],
        unique=True,
    )

    op.create_table(
        "round_crew",
        sa.Column("round_day_id", sa.Integer(), nullable=False),
        sa.Column("technician_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_crew_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_day_id"], ["round_day.id"], name=op.f("fk_round_crew_round_day_id_round_day")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"],
            ["technician.id"],
            name=op.f("fk_round_crew_technician_id_technician"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_crew")),
    )
    op.create_index(op.f("ix_round_crew_entry_id"), "round_crew", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_crew_round_day_id_technician_id"),
        "round_crew",
        ["round_day_id", "technician_id"],
        unique=True,
    )

    op.create_table(
        "round_stop",
        sa.Column("round_day_id", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("drive_min", sa.Integer(), nullable=False),
        sa.Column("drive_km", sa.Double(), nullable=False),
        sa.Column("arrive_min", sa.Integer(), nullable=False),
        sa.Column("start_min", sa.Integer(), nullable=False),
        sa.Column("depart_min", sa.Integer(), nullable=False),
        sa.Column("worth_record_days", sa.Double(), nullable=False),
        sa.Column("must_visit", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "depart_min >= start_min AND start_min >= arrive_min",
            name=op.f("ck_round_stop_time_order"),
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_stop_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_day_id"], ["round_day.id"], name=op.f("fk_round_stop_round_day_id_round_day")
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_round_stop_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_stop")),
    )
    op.create_index(op.f("ix_round_stop_entry_id"), "round_stop", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_round_stop_round_day_id_sequence"),
        "round_stop",
        ["round_day_id", "sequence"],
        unique=True,
    )

    op.create_table(
        "switch_reading",
        sa.Column("gauge_check_id", sa.Integer(), nullable=False),
        sa.Column(
            "phase",
            sa.Enum("as_found", "as_left", name="phase", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column(
            "kind",
            sa.Enum(
                "closed_ohm",
                "open_ohm",
                "manual_tips",
                name="switch_reading_kind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("over_range", sa.Boolean(), nullable=False),
        sa.Column(
            "measured_at",
            sa.Enum(
                "gauge_terminals",
                "logger",
                "workshop",
                name="measured_at",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "over_range OR value IS NOT NULL", name=op.f("ck_switch_reading_value_given")
        ),
        sa.CheckConstraint("value BETWEEN 0 AND 1e+09", name=op.f("ck_switch_reading_value_range")),
        sa.ForeignKeyConstraint(
            ["device_id"], ["device.id"], name=op.f("fk_switch_reading_device_id_device")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_switch_reading_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["gauge_check_id"],
            ["gauge_check.id"],
            name=op.f("fk_switch_reading_gauge_check_id_gauge_check"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_switch_reading")),
    )
    op.create_index(
        op.f("ix_switch_reading_entry_id"), "switch_reading", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_switch_reading_gauge_check_id_phase_kind"),
        "switch_reading",
        ["gauge_check_id", "phase", "kind"],
        unique=True,
    )

    op.create_table(
        "tip_run",
        sa.Column("gauge_check_id", sa.Integer(), nullable=False),
        sa.Column(
            "phase",
            sa.Enum("as_found", "as_left", name="phase", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column("run_number", sa.Integer(), nullable=False),
        sa.Column("volume_ml", sa.Double(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=True),
        sa.Column("tips", sa.Integer(), nullable=False),
        sa.Column(
            "start_state",
            sa.Enum(
                "emptied", "unknown", name="start_state", native_enum=False, create_constraint=True
            ),
            nullable=False,
        ),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "duration_s BETWEEN 1 AND 86400", name=op.f("ck_tip_run_duration_s_range")
        ),
        sa.CheckConstraint("run_number BETWEEN 1 AND 99", name=op.f("ck_tip_run_run_number_range")),
        sa.CheckConstraint("tips BETWEEN 0 AND 100000", name=op.f("ck_tip_run_tips_range")),
        sa.CheckConstraint(
            "volume_ml BETWEEN 1 AND 20000", name=op.f("ck_tip_run_volume_ml_range")
        ),
        sa.ForeignKeyConstraint(
            ["device_id"], ["device.id"], name=op.f("fk_tip_run_device_id_device")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_tip_run_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["gauge_check_id"],
            ["gauge_check.id"],
            name=op.f("fk_tip_run_gauge_check_id_gauge_check"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tip_run")),
    )
    op.create_index(op.f("ix_tip_run_entry_id"), "tip_run", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_tip_run_gauge_check_id_phase_run_number"),
        "tip_run",
        ["gauge_check_id", "phase", "run_number"],
        unique=True,
    )

    op.create_table(
        "round_stop_gauge",
        sa.Column("round_stop_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("worth_record_days", sa.Double(), nullable=False),
        sa.Column("unfit_probability", sa.Double(), nullable=False),
        sa.Column("evidence", sa.String(), nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_round_stop_gauge_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_round_stop_gauge_instrument_id_instrument"),
        ),
        sa.ForeignKeyConstraint(
            ["round_stop_id"],
            ["round_stop.id"],
            name=op.f("fk_round_stop_gauge_round_stop_id_round_stop"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_stop_gauge")),
    )
    op.create_index(
        op.f("ix_round_stop_gauge_entry_id"), "round_stop_gauge", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_round_stop_gauge_round_stop_id_instrument_id"),
        "round_stop_gauge",
        ["round_stop_id", "instrument_id"],
        unique=True,
    )

    op.create_table(
        "stop_result",
        sa.Column("round_stop_id", sa.Integer(), nullable=False),
        sa.Column(
            "outcome",
            sa.Enum(
                "done", "skipped", name="stop_outcome", native_enum=False, create_constraint=True
            ),
            nullable=False,
        ),
        sa.Column(
            "reason",
            sa.Enum(
                "no_access",
                "weather",
                "livestock",
                "unsafe",
                "no_time",
                "no_part",
                "equipment",
                "breakdown",
                "other",
                name="stop_reason",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=True,
        ),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("known_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("known_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closing_entry_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "outcome = 'done' OR reason IS NOT NULL", name=op.f("ck_stop_result_reason_given")
        ),
        sa.CheckConstraint("known_until > known_from", name=op.f("ck_stop_result_known_order")),
        sa.ForeignKeyConstraint(
            ["closing_entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_stop_result_closing_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["ledger_entry.id"],
            name=op.f("fk_stop_result_entry_id_ledger_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["round_stop_id"],
            ["round_stop.id"],
            name=op.f("fk_stop_result_round_stop_id_round_stop"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_stop_result_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stop_result")),
    )
    op.create_index(
        op.f("ix_stop_result_closing_entry_id"), "stop_result", ["closing_entry_id"], unique=False
    )
    op.create_index(op.f("ix_stop_result_entry_id"), "stop_result", ["entry_id"], unique=False)
    op.create_index(
        op.f("ix_stop_result_round_stop_id"),
        "stop_result",
        ["round_stop_id"],
        unique=True,
        sqlite_where=sa.text("known_until IS NULL"),
        postgresql_where=sa.text("known_until IS NULL"),
    )


def downgrade() -> None:

    op.drop_table("stop_result")

    op.drop_table("round_stop_gauge")

    op.drop_table("tip_run")

    op.drop_table("switch_reading")

    op.drop_table("round_stop")

    op.drop_table("round_crew")

    op.drop_table("visit_technician")

    op.drop_table("round_left_out")

    op.drop_table("round_event")

    op.drop_table("round_day")

    op.drop_table("gauge_check")

    op.drop_table("finding")

    op.drop_table("visit_version")

    op.drop_table("technician_version")

    op.drop_table("skill")

    op.drop_table("site_version")

    op.drop_table("round_version")

    op.drop_table("instrument_version")

    op.drop_table("installation")

    op.drop_table("hold")

    op.drop_table("gauge_type_version")

    op.drop_table("follow_up_version")

    op.drop_table("device_version")

    op.drop_table("depot_version")

    op.drop_table("daily_total")

    op.drop_table("closure")

    op.drop_table("certificate")

    op.drop_table("access_rule")

    op.drop_table("absence")

    op.drop_table("visit")

    op.drop_table("technician")

    op.drop_table("site")

    op.drop_table("round")

    op.drop_table("policy")

    op.drop_table("ledger_change")

    op.drop_table("instrument")

    op.drop_table("gauge_type")

    op.drop_table("follow_up")

    op.drop_table("device")

    op.drop_table("depot")
    op.drop_table("ledger_entry")
