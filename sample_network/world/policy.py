"""The service policies: dated rows with honest basis texts."""

from __future__ import annotations

from datetime import date

PRACTICE = "common practice, no published source"
INVENTED = "invented for the sample network"

FIRST_POLICY_ON = date(2020, 1, 1)
NEW_POLICY_ON = date(2025, 3, 1)
OLD_INTERVAL_DAYS = 240
INTERVAL_DAYS = 182
SITE_INTERVAL_DAYS = {"SE06": 91, "LI01": 120, "SH05": 91}
"""Sites with a shorter interval: two below trees, one that warns of floods."""

_NETWORK = {
    "scope": "network",
    "minimum_as_found_runs": 2,
    "minimum_as_left_runs": 2,
    "reject_limit_percent": 10,
    "closed_field_limit_ohm": 5,
    "closed_workshop_limit_ohm": 1,
    "open_limit_ohm": 1000000,
    "decision_rule": "simple",
    "target_reliability": 0.9,
}


def policies() -> list[dict[str, object]]:
    """Give the rows of the policy table."""
    old = {
        **_NETWORK,
        "valid_from": FIRST_POLICY_ON,
        "service_interval_days": OLD_INTERVAL_DAYS,
        "as_found_tolerance_percent": 7.5,
        "as_left_tolerance_percent": 5,
        "compliance_record_days": 0,
        "basis": f"{INVENTED}; replaced on {NEW_POLICY_ON.isoformat()}",
    }
    new = {
        **_NETWORK,
        "valid_from": NEW_POLICY_ON,
        "service_interval_days": INTERVAL_DAYS,
        "as_found_tolerance_percent": 5,
        "as_left_tolerance_percent": 3,
        "compliance_record_days": 0.05,
        "basis": f"tolerances, runs, switch limits, interval of half a year: {PRACTICE}; "
        f"worth of a day overdue and target reliability: {INVENTED}",
    }
    return [old, new, _type_row(), *_site_rows()]


def _type_row() -> dict[str, object]:
    return {
        "scope": "type",
        "scope_code": "TB05-400",
        "valid_from": FIRST_POLICY_ON,
        "as_found_low_tips": 37,
        "as_found_high_tips": 43,
        "as_left_low_tips": 39,
        "as_left_high_tips": 41,
        "basis": f"37 to 43 tips for 40 of 0.5 mm as found: {PRACTICE}; "
        f"39 to 41 tips as left: {INVENTED}",
    }


def _site_rows() -> list[dict[str, object]]:
    tree = f"leaf fall, seen often: {PRACTICE}"
    flood = f"warns of floods, tested oftener and with a guard band: {INVENTED}"
    rows: list[dict[str, object]] = []
    for code, interval in SITE_INTERVAL_DAYS.items():
        row: dict[str, object] = {
            "scope": "site",
            "scope_code": code,
            "valid_from": NEW_POLICY_ON,
            "service_interval_days": interval,
            "basis": tree if interval < 100 else flood,
        }
        if interval >= 100:
            row["decision_rule"] = "guard_band"
        rows.append(row)
    return rows


def interval_days(site_code: str, day: date) -> int:
    """Give the interval that the coordinator works to."""
    if day < NEW_POLICY_ON:
        return OLD_INTERVAL_DAYS
    return SITE_INTERVAL_DAYS.get(site_code, INTERVAL_DAYS)
