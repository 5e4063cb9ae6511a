"""Input tables of what a check is held against: policy, test equipment, certificates."""

from __future__ import annotations

from fleet.domain.code import DecisionRule, DeviceKind, PolicyScope
from fleet.ingest.contract import Column, Horizon, Kind, TableContract
from fleet.ingest.row_rule import needed_when, not_above, not_before


def _term(name: str, meaning: str, *, low: float, high: float, whole: bool = False) -> Column:
    kind = Kind.INTEGER if whole else Kind.NUMBER
    words = f"{meaning}; blank is inherited"
    return Column(name=name, kind=kind, required=False, low=low, high=high, meaning=words)


POLICIES = TableContract(
    name="policies",
    meaning="Dated terms of service by scope; the narrowest scope that sets a term wins.",
    key=("scope", "scope_code", "valid_from"),
    notes=(
        "scope_code stands in gauge_types or sites, by its scope",
        "the first network policy leaves no term empty but the tips of the bands",
    ),
    rules=(
        *needed_when("scope_code", "scope", (PolicyScope.TYPE, PolicyScope.SITE)),
        not_above("as_found_low_tips", "as_found_high_tips"),
        not_above("as_left_low_tips", "as_left_high_tips"),
    ),
    columns=(
        Column(name="scope", kind=Kind.WORD, choices=PolicyScope, meaning="how widely it speaks"),
        Column(
            name="scope_code",
            kind=Kind.CODE,
            required=False,
            meaning="type or site code; blank for the network",
        ),
        Column(name="valid_from", kind=Kind.DAY, meaning="first day in force"),
        _term(
            "service_interval_days",
            "longest time between services, in days",
            low=1,
            high=3650,
            whole=True,
        ),
        _term(
            "as_found_tolerance_percent",
            "allowed error as found, +- percent of expected tips",
            low=0,
            high=100,
        ),
        _term(
            "as_left_tolerance_percent",
            "allowed error as left, +- percent of expected tips",
            low=0,
            high=100,
        ),
        _term(
            "reject_limit_percent",
            "error beyond which the record is in doubt, +- percent",
            low=0,
            high=100,
        ),
        _term("as_found_low_tips", "least tips as found", low=0, high=100000, whole=True),
        _term("as_found_high_tips", "most tips as found", low=0, high=100000, whole=True),
        _term("as_left_low_tips", "least tips as left", low=0, high=100000, whole=True),
        _term("as_left_high_tips", "most tips as left", low=0, high=100000, whole=True),
        _term("minimum_as_found_runs", "least runs as found", low=0, high=20, whole=True),
        _term("minimum_as_left_runs", "least runs as left", low=0, high=20, whole=True),
        _term(
            "closed_field_limit_ohm",
            "most resistance of the closed switch in the field, in ohm",
            low=0,
            high=1e9,
        ),
        _term(
            "closed_workshop_limit_ohm",
            "most resistance of the closed switch in the workshop, in ohm",
            low=0,
            high=1e9,
        ),
        _term("open_limit_ohm", "least resistance of the open switch, in ohm", low=0, high=1e9),
        Column(
            name="decision_rule",
            kind=Kind.WORD,
            required=False,
            choices=DecisionRule,
            meaning="whether uncertainty narrows the tolerance; blank is inherited",
        ),
        _term(
            "target_reliability",
            "wanted share of gauges fit when found, 0 to 1",
            low=0.5,
            high=0.999,
        ),
        _term(
            "compliance_record_days",
            "worth of each day overdue, in record-days",
            low=0,
            high=1000,
        ),
        Column(name="basis", kind=Kind.NOTE, meaning="what the terms rest on: clause, local rule"),
    ),
)

DEVICES = TableContract(
    name="devices",
    meaning="Test equipment.",
    key=("device_code",),
    columns=(
        Column(name="device_code", kind=Kind.CODE, meaning="the device's own code"),
        Column(name="kind", kind=Kind.WORD, choices=DeviceKind, meaning="what it measures"),
        Column(name="description", kind=Kind.NOTE, meaning="what it is, in words"),
        Column(name="serial", kind=Kind.CODE, meaning="serial, leading zeros kept"),
    ),
)

CERTIFICATES = TableContract(
    name="certificates",
    meaning="Certificates of the test equipment.",
    key=("device_code", "certificate_number"),
    rules=(not_before("valid_until", "valid_from"),),
    columns=(
        Column(name="device_code", kind=Kind.CODE, meaning="the device", refers_to="devices"),
        Column(name="certificate_number", kind=Kind.TEXT, meaning="number on the certificate"),
        Column(name="valid_from", kind=Kind.DAY, meaning="first day of validity"),
        Column(
            name="valid_until",
            kind=Kind.DAY,
            horizon=Horizon.OPEN,
            meaning="last day of validity",
        ),
        Column(
            name="volume_ml",
            kind=Kind.NUMBER,
            required=False,
            low=1,
            high=20000,
            meaning="certified volume, in mL",
        ),
        Column(
            name="expanded_uncertainty_ml",
            kind=Kind.NUMBER,
            required=False,
            low=0,
            high=1000,
            meaning="expanded uncertainty (k = 2) of the volume, in mL",
        ),
        Column(name="issuer", kind=Kind.TEXT, required=False, meaning="who issued it"),
    ),
)
