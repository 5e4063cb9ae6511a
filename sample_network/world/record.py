"""The rows that the simulated people write, table by table, and their columns in order."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

COLUMNS = {
    "depots": "depot_code name latitude_deg longitude_deg time_zone holiday_region",
    "closures": "depot_code day name",
    "technicians": "technician_code name depot_code active_from active_until shift_start shift_end "
    "weekdays max_driving_minutes break_minutes",
    "skills": "technician_code skill valid_from valid_until",
    "absences": "technician_code first_day last_day reason",
    "bases": "base_code name latitude_deg longitude_deg capacity night_cost money_per_record_day "
    "valid_from valid_until contact",
    "nights_out": "technician_code first_evening last_evening most_nights_in_a_row",
    "gauge_types": "type_code description bucket_mm orifice_area_cm2 area_basis siphon "
    "test_volume_ml",
    "sites": "site_code name latitude_deg longitude_deg elevation_m time_zone depot_code "
    "importance access_minutes persons_required required_skill ring_first contact hazards "
    "access_notes",
    "access_rules": "site_code rule_number weekdays opens closes first_day last_day note",
    "instruments": "serial type_code status orifice_area_cm2 area_basis note",
    "installations": "site_code position installed_on serial removed_on loop_ohm",
    "policies": "scope scope_code valid_from service_interval_days as_found_tolerance_percent "
    "as_left_tolerance_percent reject_limit_percent as_found_low_tips as_found_high_tips "
    "as_left_low_tips as_left_high_tips minimum_as_found_runs minimum_as_left_runs "
    "closed_field_limit_ohm closed_workshop_limit_ohm open_limit_ohm decision_rule "
    "target_reliability compliance_record_days basis",
    "devices": "device_code kind description serial",
    "certificates": "device_code certificate_number valid_from valid_until volume_ml "
    "expanded_uncertainty_ml issuer",
    "visits": "visit_ref site_code technician_codes arrived_at departed_at purpose outcome "
    "not_done_reason note",
    "gauge_checks": "visit_ref serial isolated_at restored_at restoration_proven level_found "
    "level_left cleaned adjusted parts",
    "tip_runs": "visit_ref serial phase run_number volume_ml duration_s tips start_state "
    "device_code",
    "switch_readings": "visit_ref serial phase kind value over_range measured_at device_code",
    "findings": "visit_ref finding_number serial component condition_found action "
    "condition_left note",
    "daily_totals": "site_code position day total_mm flag",
    "follow_ups": "follow_up_ref site_code serial severity raised_on raised_by_visit description "
    "needs due_on closed_on closed_by_visit",
    "holds": "site_code kind first_day last_day technician_code reason",
}
"""Columns of every table, in the order of the loading contract."""

Row = dict[str, object]


class Records:
    """Rows by table."""

    def __init__(self) -> None:
        self.tables: dict[str, list[Row]] = {name: [] for name in COLUMNS}

    def add(self, table: str, **row: object) -> Row:
        """Keep one row and give it back, so that it can be completed."""
        self.tables[table].append(row)
        return row

    def extend(self, table: str, rows: list[Row]) -> None:
        self.tables[table].extend(rows)

    def of_visit(self, table: str, visit_ref: str) -> list[Row]:
        return [row for row in self.tables[table] if row["visit_ref"] == visit_ref]


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".")
    return value.isoformat() if isinstance(value, date) else str(value)


def csv_text(table: str, rows: list[Row]) -> str:
    """Write rows as CSV after RFC 4180, with LF line ends."""
    columns = COLUMNS[table].split()
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        unknown = set(row) - set(columns)
        if unknown:
            raise ValueError(f"{table} has no column {', '.join(sorted(unknown))}")
        writer.writerow([_text(row.get(column)) for column in columns])
    return out.getvalue()


def write_tables(folder: Path, tables: dict[str, list[Row]]) -> None:
    """Write one file a table."""
    folder.mkdir(parents=True, exist_ok=True)
    for table, rows in tables.items():
        (folder / f"{table}.csv").write_bytes(csv_text(table, rows).encode("utf-8"))
