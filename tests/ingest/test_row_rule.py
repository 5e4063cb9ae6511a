"""Rules within a row: every one of every table, broken once, told at the right cell."""

import pytest

RULES = [
    (
        "technicians",
        {"technician_code": "T01"},
        {"active_until": "2021-12-31"},
        "technicians.csv row 2, column active_until: '2021-12-31' found; "
        "active_until must not be before active_from",
    ),
    (
        "technicians",
        {"technician_code": "T01"},
        {"shift_end": "07:30"},
        "technicians.csv row 2, column shift_end: '07:30' found; "
        "shift_end must be after shift_start",
    ),
    (
        "skills",
        {"technician_code": "T02"},
        {"valid_until": "2022-12-31"},
        "skills.csv row 3, column valid_until: '2022-12-31' found; "
        "valid_until must not be before valid_from",
    ),
    (
        "absences",
        {"technician_code": "T02"},
        {"last_day": "2025-06-02"},
        "absences.csv row 2, column last_day: '2025-06-02' found; "
        "last_day must not be before first_day",
    ),
    (
        "bases",
        {"base_code": "INN"},
        {"valid_until": "2022-12-31"},
        "bases.csv row 2, column valid_until: '2022-12-31' found; "
        "valid_until must not be before valid_from",
    ),
    (
        "nights_out",
        {"technician_code": "T03"},
        {"last_evening": "2023-12-31"},
        "nights_out.csv row 2, column last_evening: '2023-12-31' found; "
        "last_evening must not be before first_evening",
    ),
    (
        "access_rules",
        {"site_code": "S04"},
        {"closes": "09:00"},
        "access_rules.csv row 2, column closes: '09:00' found; closes must be after opens",
    ),
    (
        "access_rules",
        {"site_code": "S04"},
        {"first_day": "2025-06-02", "last_day": "2025-06-01"},
        "access_rules.csv row 2, column last_day: '2025-06-01' found; "
        "last_day must not be before first_day",
    ),
    (
        "instruments",
        {"serial": "00417"},
        {"orifice_area_cm2": "401.2"},
        "instruments.csv row 2, column area_basis: area_basis is required when "
        "orifice_area_cm2 is given",
    ),
    (
        "installations",
        {"serial": "00419"},
        {"removed_on": "2023-06-01"},
        "installations.csv row 5, column removed_on: '2023-06-01' found; "
        "removed_on must be after installed_on",
    ),
    (
        "policies",
        {"scope": "type"},
        {"scope_code": ""},
        "policies.csv row 4, column scope_code: scope_code is required when scope is type or site",
    ),
    (
        "policies",
        {"valid_from": "2025-01-01"},
        {"scope_code": "TB05"},
        "policies.csv row 3, column scope_code: 'TB05' found; "
        "scope_code must be blank unless scope is type or site",
    ),
    (
        "policies",
        {"scope": "type"},
        {"as_found_low_tips": "44"},
        "policies.csv row 4, column as_found_low_tips: '44' found; "
        "as_found_low_tips must not be above as_found_high_tips",
    ),
    (
        "policies",
        {"scope": "type"},
        {"as_left_low_tips": "42", "as_left_high_tips": "41"},
        "policies.csv row 4, column as_left_low_tips: '42' found; "
        "as_left_low_tips must not be above as_left_high_tips",
    ),
    (
        "certificates",
        {"device_code": "D01"},
        {"valid_until": "2022-12-31"},
        "certificates.csv row 2, column valid_until: '2022-12-31' found; "
        "valid_until must not be before valid_from",
    ),
    (
        "visits",
        {"visit_ref": "V001"},
        {"departed_at": "2023-12-05T09:00+01:00"},
        "visits.csv row 2, column departed_at: '2023-12-05T09:00+01:00' found; "
        "departed_at must be after arrived_at",
    ),
    (
        "visits",
        {"visit_ref": "V014"},
        {"departed_at": "2024-10-02T09:01+01:00"},
        "visits.csv row 15, column departed_at: '2024-10-02T09:01+01:00' found; "
        "departed_at must be within 24 hours of arrived_at",
    ),
    (
        "visits",
        {"visit_ref": "V012"},
        {"not_done_reason": ""},
        "visits.csv row 13, column not_done_reason: not_done_reason is required when outcome is "
        "not_done or partly_done",
    ),
    (
        "visits",
        {"visit_ref": "V001"},
        {"outcome": "partly_done"},
        "visits.csv row 2, column not_done_reason: not_done_reason is required when outcome is "
        "not_done or partly_done",
    ),
    (
        "visits",
        {"visit_ref": "V001"},
        {"not_done_reason": "weather"},
        "visits.csv row 2, column not_done_reason: 'weather' found; "
        "not_done_reason must be blank unless outcome is not_done or partly_done",
    ),
    (
        "gauge_checks",
        {"visit_ref": "V001"},
        {"restored_at": "2023-12-05T09:09+01:00"},
        "gauge_checks.csv row 2, column restored_at: '2023-12-05T09:09+01:00' found; "
        "restored_at must not be before isolated_at",
    ),
    (
        "switch_readings",
        {"visit_ref": "V003"},
        {"value": ""},
        "switch_readings.csv row 2, column value: value is required when over_range is no",
    ),
    (
        "switch_readings",
        {"visit_ref": "V003"},
        {"over_range": "yes"},
        "switch_readings.csv row 2, column value: '0.4' found; "
        "value must be blank unless over_range is no",
    ),
    (
        "switch_readings",
        {"visit_ref": "V003"},
        {"kind": "manual_tips", "value": "9.5"},
        "switch_readings.csv row 2, column value: '9.5' found; "
        "manual_tips is a whole number of tips",
    ),
    (
        "switch_readings",
        {"visit_ref": "V003"},
        {"kind": "manual_tips", "value": "", "over_range": "yes"},
        "switch_readings.csv row 2, column over_range: 'yes' found; "
        "over_range must be no when kind is manual_tips",
    ),
    (
        "follow_ups",
        {"follow_up_ref": "F001"},
        {"due_on": "2025-03-10"},
        "follow_ups.csv row 2, column due_on: '2025-03-10' found; "
        "due_on must not be before raised_on",
    ),
    (
        "follow_ups",
        {"follow_up_ref": "F002"},
        {"closed_on": "2024-06-03"},
        "follow_ups.csv row 3, column closed_on: '2024-06-03' found; "
        "closed_on must not be before raised_on",
    ),
    (
        "follow_ups",
        {"follow_up_ref": "F002"},
        {"closed_on": ""},
        "follow_ups.csv row 3, column closed_on: closed_on is required when closed_by_visit is "
        "given",
    ),
    (
        "holds",
        {"site_code": "S06"},
        {"last_day": "2025-06-01"},
        "holds.csv row 2, column last_day: '2025-06-01' found; "
        "last_day must not be before first_day",
    ),
    (
        "holds",
        {"site_code": "S06"},
        {"kind": "technician"},
        "holds.csv row 2, column technician_code: technician_code is required when kind is "
        "technician",
    ),
    (
        "holds",
        {"site_code": "S06"},
        {"technician_code": "T03"},
        "holds.csv row 2, column technician_code: 'T03' found; "
        "technician_code must be blank unless kind is technician",
    ),
]


@pytest.mark.parametrize(("table", "where", "cells", "message"), RULES)
def test_broken_rule_is_told_alone_at_its_cell(problems, network, table, where, cells, message):
    network.change(table, where, **cells)

    assert problems(network) == [message]


DUTY_RULES = [
    (
        "rest_rules",
        {"scope": "depot", "valid_from": "2025-01-01", "after_duty_minutes": 300},
        "rest_rules.csv row 2, column scope_code: "
        "scope_code is required when scope is depot or technician",
    ),
    (
        "rest_rules",
        {"scope": "network", "scope_code": "NORTH", "after_duty_minutes": 300},
        "rest_rules.csv row 2, column scope_code: 'NORTH' found; "
        "scope_code must be blank unless scope is depot or technician",
    ),
    (
        "rest_rules",
        {"scope": "network"},
        "rest_rules.csv row 2, column after_driving_minutes: "
        "after_driving_minutes or after_duty_minutes is required with a break",
    ),
    (
        "homes",
        {"valid_until": "2024-12-31"},
        "homes.csv row 2, column valid_until: '2024-12-31' found; "
        "valid_until must not be before valid_from",
    ),
    (
        "vehicles",
        {"valid_until": "2024-12-31"},
        "vehicles.csv row 2, column valid_until: '2024-12-31' found; "
        "valid_until must not be before valid_from",
    ),
    (
        "access_windows",
        {"closes": "09:00"},
        "access_windows.csv row 2, column closes: '09:00' found; closes must be after opens",
    ),
]
DUTY_ROWS = {
    "rest_rules": {"valid_from": "2025-01-01", "break_minutes": 30, "basis": "own rule"},
    "homes": {
        "technician_code": "T01",
        "valid_from": "2025-01-01",
        "latitude_deg": 44.9,
        "longitude_deg": -34.7,
        "starts_here": True,
        "ends_here": True,
    },
    "vehicles": {
        "technician_code": "T01",
        "valid_from": "2025-01-01",
        "description": "van",
        "water_litres": 20,
        "spare_parts": 4,
    },
    "access_windows": {"site_code": "S01", "day": "2025-06-03", "opens": "09:30"},
}


@pytest.mark.parametrize(("table", "cells", "message"), DUTY_RULES)
def test_broken_rule_of_the_working_day_is_told_alone(problems, network, table, cells, message):
    network.add(table, **{**DUTY_ROWS[table], **cells})

    assert problems(network) == [message]


def test_every_rule_of_every_table_is_broken_above():
    from fleet.ingest.catalogue import ALL_TABLES

    texts = {(table.name, rule.text) for table in ALL_TABLES for rule in table.rules}

    assert {
        (table, text)
        for table, *_, message in (*RULES, *DUTY_RULES)
        for t, text in texts
        if t == table and message.endswith(text)
    } == texts


@pytest.mark.parametrize(
    ("table", "where", "cells"),
    [
        ("skills", {"technician_code": "T02"}, {"valid_until": "2023-01-01"}),
        ("visits", {"visit_ref": "V014"}, {"departed_at": "2024-10-02T09:00+01:00"}),
        ("access_rules", {"site_code": "S04"}, {"opens": ""}),
        ("installations", {"serial": "00420"}, {"removed_on": "2024-09-11"}),
        ("gauge_checks", {"visit_ref": "V001"}, {"restored_at": "2023-12-05T09:10+01:00"}),
        ("switch_readings", {"visit_ref": "V003"}, {"kind": "manual_tips", "value": "9"}),
        ("switch_readings", {"visit_ref": "V003"}, {"kind": "manual_tips", "value": "9.0"}),
        (
            "holds",
            {"site_code": "S06"},
            {"kind": "technician", "technician_code": "T03", "last_day": "2025-06-02"},
        ),
    ],
)
def test_edge_of_a_rule_is_allowed(problems, network, table, where, cells):
    assert problems(network.change(table, where, **cells)) == []


def test_rule_is_not_asked_when_one_of_its_cells_is_wrong(problems, network):
    network.change("visits", {"visit_ref": "V001"}, arrived_at="2023-12-05T09:00")

    assert problems(network) == [
        "visits.csv row 2, column arrived_at: '2023-12-05T09:00' found; no offset from UTC; "
        "add the one of the site's clock, such as +01:00 (Z for UTC)"
    ]


def test_visits_and_totals_in_the_future_are_told(problems, network):
    network.change("visits", {"visit_ref": "V015"}, departed_at="2025-06-03T10:30+01:00")
    network.change("visits", {"visit_ref": "V015"}, arrived_at="2025-06-03T09:00+01:00")
    network.change("daily_totals", {"day": "2025-05-04"}, day="2025-06-03")

    told = problems(network)

    assert told[:2] == [
        "visits.csv row 16, column arrived_at: '2025-06-03T09:00+01:00' found; in the future; "
        "a day up to 2025-06-02 is expected",
        "visits.csv row 16, column departed_at: '2025-06-03T10:30+01:00' found; in the future; "
        "a day up to 2025-06-02 is expected",
    ]
    assert told[2:] == [
        "daily_totals.csv row 5, column day: '2025-06-03' found; in the future; "
        "a day up to 2025-06-02 is expected"
    ]
