"""Show the records in plain views, for free questions.

Each thing has a view `..._known` with every version of it (`known_from`, `known_until`), and a view
`..._now` with what is known now. No table changes. A later revision that changes a table of these
views must drop the views first and make them again, on both databases.
Way down: drops the views, loses no rows.
"""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0002"
branch_labels = None
depends_on = None

_CREW = {
    "sqlite": (
        "(SELECT group_concat(code, ' ') FROM (SELECT t.code FROM visit_technician vt "
        "JOIN technician t ON t.id = vt.technician_id WHERE vt.visit_version_id = v.id "
        "ORDER BY vt.id))"
    ),
    "postgresql": (
        "(SELECT string_agg(t.code, ' ' ORDER BY vt.id) FROM visit_technician vt "
        "JOIN technician t ON t.id = vt.technician_id WHERE vt.visit_version_id = v.id)"
    ),
}

_VISIT = (
    "visit_version v JOIN visit a ON a.id = v.visit_id JOIN site s ON s.id = v.site_id "
    "JOIN gauge_check k ON k.visit_version_id = v.id JOIN instrument i ON i.id = k.instrument_id"
)

# thing: (columns as they are computed and named, what they come from); v carries the versions
KNOWN = {
    "depot": (
        "a.code AS depot_code, v.name, v.latitude_deg, v.longitude_deg, v.time_zone, "
        "v.holiday_region",
        "depot_version v JOIN depot a ON a.id = v.depot_id",
    ),
    "technician": (
        "a.code AS technician_code, v.name, d.code AS depot_code, v.active_from, v.active_until",
        "technician_version v JOIN technician a ON a.id = v.technician_id "
        "JOIN depot d ON d.id = v.depot_id",
    ),
    "skill": (
        "a.code AS technician_code, v.skill, v.valid_from, v.valid_until",
        "skill v JOIN technician a ON a.id = v.technician_id",
    ),
    "absence": (
        "a.code AS technician_code, v.first_day, v.last_day, v.reason",
        "absence v JOIN technician a ON a.id = v.technician_id",
    ),
    "site": (
        "a.code AS site_code, v.name, d.code AS depot_code, v.latitude_deg, v.longitude_deg, "
        "v.elevation_m, v.time_zone, v.importance, v.access_minutes, v.persons_required, "
        "v.required_skill, v.ring_first, v.contact, v.hazards, v.access_notes",
        "site_version v JOIN site a ON a.id = v.site_id JOIN depot d ON d.id = v.depot_id",
    ),
    "gauge_type": (
        "a.code AS type_code, v.description, v.bucket_mm, v.orifice_area_cm2, v.area_basis, "
        "v.siphon, v.test_volume_ml",
        "gauge_type_version v JOIN gauge_type a ON a.id = v.gauge_type_id",
    ),
    "instrument": (
        "a.code AS serial, t.code AS type_code, v.status, v.orifice_area_cm2, v.area_basis, v.note",
        "instrument_version v JOIN instrument a ON a.id = v.instrument_id "
        "JOIN gauge_type t ON t.id = v.gauge_type_id",
    ),
    "installation": (
        "s.code AS site_code, v.position, i.code AS serial, v.installed_on, v.removed_on, "
        "v.loop_ohm",
        "installation v JOIN site s ON s.id = v.site_id "
        "JOIN instrument i ON i.id = v.instrument_id",
    ),
    "policy": (
        "v.scope, v.scope_code, v.valid_from, v.service_interval_days, "
        "v.as_found_tolerance_percent, v.as_left_tolerance_percent, v.reject_limit_percent, "
        "v.as_found_low_tips, v.as_found_high_tips, v.as_left_low_tips, v.as_left_high_tips, "
        "v.minimum_as_found_runs, v.minimum_as_left_runs, v.closed_field_limit_ohm, "
        "v.closed_workshop_limit_ohm, v.open_limit_ohm, v.decision_rule, v.target_reliability, "
        "v.compliance_record_days, v.basis",
        "policy v",
    ),
    "device": (
        "a.code AS device_code, v.kind, v.description, v.serial",
        "device_version v JOIN device a ON a.id = v.device_id",
    ),
    "certificate": (
        "a.code AS device_code, v.certificate_number, v.valid_from, v.valid_until, v.volume_ml, "
        "v.expanded_uncertainty_ml, v.issuer",
        "certificate v JOIN device a ON a.id = v.device_id",
    ),
    "visit": (
        "a.code AS visit_ref, s.code AS site_code, v.visited_on, v.arrived_at, v.departed_at, "
        "v.utc_offset_minutes, v.purpose, v.outcome, v.not_done_reason, {crew} AS technicians, "
        "v.note, v.entry_id",
        "visit_version v JOIN visit a ON a.id = v.visit_id JOIN site s ON s.id = v.site_id",
    ),
    "check": (
        "a.code AS visit_ref, s.code AS site_code, i.code AS serial, v.visited_on, "
        "k.isolated_at, k.restored_at, k.restoration_proven, k.level_found, k.level_left, "
        "k.cleaned, k.adjusted, k.parts",
        _VISIT,
    ),
    "run": (
        "a.code AS visit_ref, s.code AS site_code, i.code AS serial, v.visited_on, r.phase, "
        "r.run_number, r.volume_ml, r.duration_s, r.tips, r.start_state, d.code AS device_code",
        f"{_VISIT} JOIN tip_run r ON r.gauge_check_id = k.id LEFT JOIN device d "
        "ON d.id = r.device_id",
    ),
    "reading": (
        "a.code AS visit_ref, s.code AS site_code, i.code AS serial, v.visited_on, r.phase, "
        "r.kind, r.value, r.over_range, r.measured_at, d.code AS device_code",
        f"{_VISIT} JOIN switch_reading r ON r.gauge_check_id = k.id LEFT JOIN device d "
        "ON d.id = r.device_id",
    ),
    "finding": (
        "a.code AS visit_ref, s.code AS site_code, i.code AS serial, v.visited_on, "
        "f.finding_number, f.component, f.condition_found, f.action, f.condition_left, f.note",
        "visit_version v JOIN visit a ON a.id = v.visit_id JOIN site s ON s.id = v.site_id "
        "JOIN finding f ON f.visit_version_id = v.id "
        "LEFT JOIN instrument i ON i.id = f.instrument_id",
    ),
    "follow_up": (
        "a.code AS follow_up_ref, s.code AS site_code, i.code AS serial, v.severity, "
        "v.raised_on, r.code AS raised_by_visit, v.description, v.needs, v.due_on, v.closed_on, "
        "c.code AS closed_by_visit",
        "follow_up_version v JOIN follow_up a ON a.id = v.follow_up_id "
        "JOIN site s ON s.id = v.site_id LEFT JOIN instrument i ON i.id = v.instrument_id "
        "LEFT JOIN visit r ON r.id = v.raised_by_visit_id "
        "LEFT JOIN visit c ON c.id = v.closed_by_visit_id",
    ),
    "daily_total": (
        "s.code AS site_code, v.position, v.day, v.total_mm, v.flag",
        "daily_total v JOIN site s ON s.id = v.site_id",
    ),
    "hold": (
        "s.code AS site_code, v.kind, v.first_day, v.last_day, t.code AS technician_code, v.reason",
        "hold v JOIN site s ON s.id = v.site_id LEFT JOIN technician t ON t.id = v.technician_id",
    ),
}

# views that put current records together
TOGETHER = {
    "gauge_now": (
        "SELECT n.site_code, s.name AS site_name, s.depot_code, n.position, n.serial, "
        "i.type_code, t.bucket_mm, coalesce(i.orifice_area_cm2, t.orifice_area_cm2) "
        "AS orifice_area_cm2, t.siphon, t.test_volume_ml, s.importance, n.installed_on, n.loop_ohm "
        "FROM installation_now n JOIN site_now s ON s.site_code = n.site_code "
        "JOIN instrument_now i ON i.serial = n.serial "
        "JOIN gauge_type_now t ON t.type_code = i.type_code WHERE n.removed_on IS NULL"
    ),
    "run_error_now": (
        "SELECT r.visit_ref, r.site_code, r.serial, r.visited_on, r.phase, r.run_number, r.tips, "
        "10.0 * r.volume_ml / (t.bucket_mm * coalesce(i.orifice_area_cm2, t.orifice_area_cm2)) "
        "AS expected_tips, "
        "100.0 * (r.tips * t.bucket_mm * coalesce(i.orifice_area_cm2, t.orifice_area_cm2) "
        "/ (10.0 * r.volume_ml) - 1.0) AS error_percent "
        "FROM run_now r JOIN instrument_now i ON i.serial = r.serial "
        "JOIN gauge_type_now t ON t.type_code = i.type_code"
    ),
    "phase_error_now": (
        "SELECT visit_ref, site_code, serial, visited_on, phase, count(*) AS runs, "
        "sum(tips) AS tips, sum(expected_tips) AS expected_tips, "
        "100.0 * (sum(tips) / sum(expected_tips) - 1.0) AS error_percent FROM run_error_now "
        "GROUP BY visit_ref, site_code, serial, visited_on, phase"
    ),
    "ledger": (
        "SELECT id AS entry_id, at, actor, action, reason, previous_hash, hash FROM ledger_entry"
    ),
    "ledger_line": (
        "SELECT entry_id, number, kind, table_name, row_count, row_key, fields FROM ledger_change"
    ),
}


def upgrade() -> None:
    crew = _CREW[op.get_bind().dialect.name]
    for thing, (columns, source) in KNOWN.items():
        shown = columns.format(crew=crew)
        op.execute(
            f"CREATE VIEW {thing}_known AS SELECT {shown}, v.known_from, v.known_until "
            f"FROM {source}"
        )
        op.execute(
            f"CREATE VIEW {thing}_now AS SELECT {shown} FROM {source} WHERE v.known_until IS NULL"
        )
    for name, query in TOGETHER.items():
        op.execute(f"CREATE VIEW {name} AS {query}")


def downgrade() -> None:
    for name in reversed(TOGETHER):
        op.execute(f"DROP VIEW {name}")
    for thing in KNOWN:
        op.execute(f"DROP VIEW {thing}_now")
        op.execute(f"DROP VIEW {thing}_known")
