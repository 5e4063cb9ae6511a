"""The plain views for free questions: what each shows, and what each column means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fleet.store.view_state import STATE_VIEWS


@dataclass(frozen=True, slots=True)
class View:
    """A view of the database: its name, what a row is, and what each column means, in order."""

    name: str
    row: str
    columns: Mapping[str, str]


_VERSION = {
    "known_from": "instant (UTC) from which this was known",
    "known_until": "instant (UTC) until which it was known; empty while it still is",
}
_SITE = {"site_code": "the site"}
_CHECK = {
    "visit_ref": "the visit's own reference",
    "site_code": "the site",
    "serial": "the instrument",
    "visited_on": "local day of arrival",
}
_PLACE = {
    "latitude_deg": "WGS 84 latitude in degrees, north positive",
    "longitude_deg": "WGS 84 longitude in degrees, east positive",
}
_TERMS = {
    "service_interval_days": "longest time between services, in days",
    "as_found_tolerance_percent": "allowed error as found, +- percent of expected tips",
    "as_left_tolerance_percent": "allowed error as left, +- percent of expected tips",
    "reject_limit_percent": "error beyond which the record is in doubt, +- percent",
    "as_found_low_tips": "least tips as found, of one nominal run",
    "as_found_high_tips": "most tips as found, of one nominal run",
    "as_left_low_tips": "least tips as left, of one nominal run",
    "as_left_high_tips": "most tips as left, of one nominal run",
    "minimum_as_found_runs": "least runs as found",
    "minimum_as_left_runs": "least runs as left",
    "closed_field_limit_ohm": "most resistance of the closed switch in the field, in ohm",
    "closed_workshop_limit_ohm": "most resistance of the closed switch in the workshop, in ohm",
    "open_limit_ohm": "least resistance of the open switch, in ohm",
    "decision_rule": "simple or guard_band",
    "target_reliability": "wanted share of gauges fit when found, 0 to 1",
    "compliance_record_days": "worth of each day overdue, in record-days",
}

_THINGS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "depot": (
        "a depot",
        {
            "depot_code": "the depot's own code",
            "name": "its name",
            **_PLACE,
            "time_zone": "zone of its clocks",
            "holiday_region": "region whose public holidays it keeps",
        },
    ),
    "technician": (
        "a technician",
        {
            "technician_code": "the technician's own code",
            "name": "name",
            "depot_code": "home depot",
            "active_from": "first day at work",
            "active_until": "last day at work",
        },
    ),
    "skill": (
        "a skill of a technician",
        {
            "technician_code": "the technician",
            "skill": "the skill, as sites require it",
            "valid_from": "first day of validity",
            "valid_until": "last day of validity; empty for no end",
        },
    ),
    "absence": (
        "a technician's absence",
        {
            "technician_code": "the technician",
            "first_day": "first day away",
            "last_day": "last day away, included",
            "reason": "leave, training, illness ...",
        },
    ),
    "site": (
        "a site",
        {
            "site_code": "the site's own code",
            "name": "its name",
            "depot_code": "who looks after it",
            **_PLACE,
            "elevation_m": "elevation above mean sea level, in m",
            "time_zone": "zone of its clocks",
            "importance": "weight of its record; 1 is ordinary",
            "access_minutes": "walk in and out, one visit, in minutes",
            "persons_required": "persons for the job",
            "required_skill": "a skill that a visitor must hold",
            "ring_first": "whether to ring before coming",
            "contact": "whom to ring, and how",
            "hazards": "known hazards",
            "access_notes": "how to get in",
        },
    ),
    "gauge_type": (
        "a kind of gauge",
        {
            "type_code": "the type's own code",
            "description": "what it is, in words",
            "bucket_mm": "rainfall depth of one tip, in mm",
            "orifice_area_cm2": "receiving area, in cm2",
            "area_basis": "what the area rests on",
            "siphon": "whether a siphon feeds the bucket",
            "test_volume_ml": "nominal volume of one test run, in mL",
        },
    ),
    "instrument": (
        "an instrument",
        {
            "serial": "its serial",
            "type_code": "the gauge type",
            "status": "in_service, spare, workshop or retired",
            "orifice_area_cm2": "receiving area measured on it, in cm2; empty takes the type's",
            "area_basis": "how that area was measured",
            "note": "remark",
        },
    ),
    "installation": (
        "a stay of an instrument at a position",
        {
            **_SITE,
            "position": "the gauge's place at the site",
            "serial": "the instrument",
            "installed_on": "day of installation",
            "removed_on": "day of removal; empty while it stands there",
            "loop_ohm": "resistance of the cable from gauge to logger and back, in ohm",
        },
    ),
    "policy": (
        "a dated row of the service policy; empty terms are inherited",
        {
            "scope": "network, type or site",
            "scope_code": "type or site code; empty for the network",
            "valid_from": "first day in force",
            **_TERMS,
            "basis": "what the terms rest on",
        },
    ),
    "device": (
        "a piece of test equipment",
        {
            "device_code": "the device's own code",
            "kind": "volumetric, balance or meter",
            "description": "what it is",
            "serial": "its serial",
        },
    ),
    "certificate": (
        "a certificate of a device",
        {
            "device_code": "the device",
            "certificate_number": "number on the certificate",
            "valid_from": "first day of validity",
            "valid_until": "last day of validity",
            "volume_ml": "certified volume, in mL",
            "expanded_uncertainty_ml": "expanded uncertainty (k = 2) of the volume, in mL",
            "issuer": "who issued it",
        },
    ),
    "visit": (
        "a visit, also one that failed",
        {
            "visit_ref": "the visit's own reference",
            "site_code": "the site",
            "visited_on": "local day of arrival",
            "arrived_at": "arrival, UTC",
            "departed_at": "departure, UTC",
            "utc_offset_minutes": "what the local clock was ahead of UTC, in minutes",
            "purpose": "routine, repair, installation, removal or inspection",
            "outcome": "done, partly_done or not_done",
            "not_done_reason": "why not, or not all",
            "technicians": "who was there, separated by a space",
            "note": "remark",
            "entry_id": "ledger entry that wrote this version",
        },
    ),
    "check": (
        "an instrument looked after in a visit",
        {
            **_CHECK,
            "isolated_at": "when it was taken off the logger, UTC",
            "restored_at": "when it was put back on the logger, UTC",
            "restoration_proven": "whether a tip was seen to reach the logger; empty is not stated",
            "level_found": "bubble as found: in_ring or out_of_ring",
            "level_left": "bubble as left: in_ring or out_of_ring",
            "cleaned": "whether it was cleaned",
            "adjusted": "whether its calibration was changed",
            "parts": "parts fitted",
        },
    ),
    "run": (
        "one poured volume and the tips that it gave",
        {
            **_CHECK,
            "phase": "as_found or as_left",
            "run_number": "number of the run in its phase",
            "volume_ml": "water poured, in mL",
            "duration_s": "time of the run, in s",
            "tips": "tips counted",
            "start_state": "what stood in the buckets at the start: emptied or unknown",
            "device_code": "test equipment used",
        },
    ),
    "reading": (
        "a reading at the switch",
        {
            **_CHECK,
            "phase": "as_found or as_left",
            "kind": "closed_ohm, open_ohm or manual_tips",
            "value": "ohm, or tips logged of ten slow manual ones; empty when over range",
            "over_range": "whether the meter was beyond its range",
            "measured_at": "gauge_terminals, logger or workshop",
            "device_code": "test equipment used",
        },
    ),
    "finding": (
        "something seen at a gauge or site",
        {
            **_CHECK,
            "serial": "the instrument; empty for the site",
            "finding_number": "number in the visit",
            "component": "what it is about",
            "condition_found": "as found",
            "action": "what was done",
            "condition_left": "as left",
            "note": "remark",
        },
    ),
    "follow_up": (
        "a defect to be mended",
        {
            "follow_up_ref": "its own reference",
            "site_code": "the site",
            "serial": "the instrument; empty for the site",
            "severity": "urgent, soon or next_visit",
            "raised_on": "day on which it was raised",
            "raised_by_visit": "the visit that found it",
            "description": "what is wrong",
            "needs": "part, skill or second person that it takes",
            "due_on": "day by which it must be mended",
            "closed_on": "day of mending; empty while it waits",
            "closed_by_visit": "the visit that mended it",
        },
    ),
    "daily_total": (
        "rainfall of a day at a position",
        {
            **_SITE,
            "position": "the gauge's place at the site",
            "day": "the day",
            "total_mm": "rainfall of the day, in mm; empty is missing",
            "flag": "why the total is not to be trusted as rain",
        },
    ),
    "hold": (
        "what the coordinator decided about a site ahead of the planner",
        {
            **_SITE,
            "kind": "must_visit, not_this_week or technician",
            "first_day": "first day of the hold",
            "last_day": "last day, included",
            "technician_code": "who alone may go",
            "reason": "why",
        },
    ),
}

_ERROR = {
    "tips": "tips counted",
    "expected_tips": "tips that the poured volume should give",
    "error_percent": "100 (tips / expected - 1); negative reads low",
}

_TOGETHER = (
    View(
        "gauge_now",
        "a gauge that stands somewhere now, with its site and type",
        {
            **_SITE,
            "site_name": "the site's name",
            "depot_code": "who looks after it",
            "position": "the gauge's place at the site",
            "serial": "the instrument",
            "type_code": "the gauge type",
            "bucket_mm": "rainfall depth of one tip, in mm",
            "orifice_area_cm2": "receiving area, in cm2: the instrument's own, else its type's",
            "siphon": "whether a siphon feeds the bucket",
            "test_volume_ml": "nominal volume of one test run, in mL",
            "importance": "weight of its record; 1 is ordinary",
            "installed_on": "day of installation",
            "loop_ohm": "resistance of the cable from gauge to logger and back, in ohm",
        },
    ),
    View(
        "run_error_now",
        "a run with its error",
        {
            **_CHECK,
            "phase": "as_found or as_left",
            "run_number": "number of the run in its phase",
            **_ERROR,
        },
    ),
    View(
        "phase_error_now",
        "the runs of a phase of a check, taken together",
        {**_CHECK, "phase": "as_found or as_left", "runs": "how many", **_ERROR},
    ),
    View(
        "ledger",
        "an entry of the journal",
        {
            "entry_id": "number of the entry",
            "at": "when, UTC",
            "actor": "who",
            "action": "by which command",
            "reason": "why",
            "previous_hash": "hash of the entry before",
            "hash": "hash of this entry",
        },
    ),
    View(
        "ledger_line",
        "what an entry did to a table",
        {
            "entry_id": "the entry",
            "number": "number in the entry",
            "kind": "added or superseded",
            "table_name": "the table",
            "row_count": "how many rows",
            "row_key": "which row, where one was superseded",
            "fields": "the fields that changed, old and new, as JSON",
        },
    ),
)

VIEWS: tuple[View, ...] = (
    *(
        View(f"{thing}_now", f"{row}, as known now", columns)
        for thing, (row, columns) in _THINGS.items()
    ),
    *_TOGETHER,
    *(View(name, row, columns) for name, row, columns in STATE_VIEWS),
    *(
        View(f"{thing}_known", f"every version of {row}", {**columns, **_VERSION})
        for thing, (row, columns) in _THINGS.items()
    ),
)
"""Every view, those of what is known now first."""
