"""Troubles of visits, people and equipment are in the sample network, where its README says.

Each trouble is worked out afresh from the CSV files by code that shares nothing with the script
that made them or with the package.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

LAST_DAY = "2026-11-20"
Row = dict[str, str]


def days_between(first: str, last: str) -> int:
    return (date.fromisoformat(last) - date.fromisoformat(first)).days


def overdue(data: Any) -> set[str]:
    policies = data.read("policies")
    found = set()
    for serial, gauge in data.gauges.items():
        served = [
            data.day(row["visit_ref"])
            for row in data.checks
            if row["serial"] == serial and row["cleaned"] == "yes"
        ]
        rows = [p for p in policies if p["scope_code"] in ("", gauge[:4]) and p["scope"] != "type"]
        interval = int(
            max(rows, key=lambda p: (p["scope"], p["valid_from"]))["service_interval_days"]
        )
        if served and days_between(max(served), LAST_DAY) > interval:
            found.add(gauge)
    return found


def never_serviced(data: Any) -> set[str]:
    seen = {row["serial"] for row in data.checks}
    return {gauge for serial, gauge in data.gauges.items() if serial not in seen}


def swapped(data: Any) -> set[str]:
    taken = {(r["site_code"], r["position"], r["removed_on"]) for r in data.installations}
    return {
        f"{row['site_code']}/{row['position']}"
        for row in data.installations
        if (row["site_code"], row["position"], row["installed_on"]) in taken
    }


def _stays(data: Any) -> dict[str, list[Row]]:
    stays = defaultdict(list)
    for row in sorted(data.installations, key=lambda row: row["installed_on"]):
        stays[row["serial"]].append(row)
    return {serial: rows for serial, rows in stays.items() if len(rows) > 1}


def moved(data: Any) -> set[str]:
    return {
        serial
        for serial, (first, second, *_) in _stays(data).items()
        if days_between(first["removed_on"], second["installed_on"]) <= 14
        and first["site_code"] != second["site_code"]
    }


def workshop_then_elsewhere(data: Any) -> set[str]:
    return {
        serial
        for serial, (first, second, *_) in _stays(data).items()
        if days_between(first["removed_on"], second["installed_on"]) > 30
        and "overhauled" in data.instruments[serial]["note"]
    }


def _without(data: Any, phase: str) -> set[str]:
    return {
        row["visit_ref"]
        for row in data.checks
        if row["cleaned"] == "yes" and (row["visit_ref"], row["serial"], phase) not in data.runs
    }


def missing_as_found(data: Any) -> set[str]:
    return _without(data, "as_found")


def missing_as_left(data: Any) -> set[str]:
    return _without(data, "as_left")


def failed_attempt(data: Any) -> set[str]:
    return {ref for ref, row in data.visits.items() if row["outcome"] == "not_done"}


def left_disconnected(data: Any) -> set[str]:
    tested = {row["serial"] for row in data.checks}
    return {
        gauge
        for serial, gauge in data.gauges.items()
        if serial in tested and data.latest(serial)["restoration_proven"] != "yes"
    }


def corrected(data: Any) -> set[str]:
    known = {(*key, run["run_number"]): run for key, runs in data.runs.items() for run in runs}
    found = set()
    for run in data.read("tip_runs", below="corrections"):
        before = known[run["visit_ref"], run["serial"], run["phase"], run["run_number"]]
        changed = {name for name in run if run[name] != before[name]}
        assert changed <= {"tips"}
        if changed:
            found.add(run["visit_ref"])
    return found


def equipment_out_of_date(data: Any) -> set[str]:
    papers = defaultdict(list)
    for row in data.read("certificates"):
        papers[row["device_code"]].append((row["valid_from"], row["valid_until"]))
    used = {(key[0], run["device_code"]) for key, runs in data.runs.items() for run in runs}
    used |= {(r["visit_ref"], r["device_code"]) for r in data.readings if r["device_code"]}
    return {
        device
        for ref, device in used
        if not any(first <= data.day(ref) <= last for first, last in papers[device])
    }


def expired_skill(data: Any) -> set[str]:
    held = [
        (r["technician_code"], r["skill"], r["valid_from"], r["valid_until"])
        for r in data.read("skills")
    ]
    found = set()
    for ref, row in data.visits.items():
        skill = data.sites[row["site_code"]]["required_skill"]
        holders = {
            who
            for who, what, first, last in held
            if what == skill and first <= data.day(ref) <= last
        }
        if (
            skill
            and row["outcome"] != "not_done"
            and not holders & set(row["technician_codes"].split())
        ):
            found.add(ref)
    return found


TROUBLES: dict[str, tuple[Callable[[Any], set[str]], int]] = {
    "overdue": (overdue, 15),
    "never serviced": (never_serviced, 2),
    "swapped": (swapped, 2),
    "moved": (moved, 2),
    "workshop and elsewhere": (workshop_then_elsewhere, 2),
    "missing as-found": (missing_as_found, 2),
    "missing as-left": (missing_as_left, 2),
    "failed attempt": (failed_attempt, 20),
    "left disconnected": (left_disconnected, 2),
    "corrected": (corrected, 2),
    "test equipment out of date": (equipment_out_of_date, 2),
    "expired skill": (expired_skill, 2),
}


@pytest.mark.parametrize("name", sorted(TROUBLES))
def test_trouble_is_there_where_the_readme_says(
    name: str, data: Any, promised: dict[str, set[str]]
) -> None:
    find, least = TROUBLES[name]

    found = find(data)

    assert len(found) >= least
    assert promised[name]
    assert promised[name] <= found


@pytest.mark.parametrize("reason", ["no_access", "weather", "livestock", "unsafe"])
def test_failed_attempts_carry_each_common_reason(reason: str, data: Any) -> None:
    told = [row["not_done_reason"] for row in data.visits.values() if row["outcome"] == "not_done"]

    assert told.count(reason) >= 2
