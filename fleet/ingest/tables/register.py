"""Input tables of the register: sites, gauge types, instruments and where they stand."""

from __future__ import annotations

from fleet.domain.code import InstrumentStatus
from fleet.ingest.contract import Column, Horizon, Kind, TableContract
from fleet.ingest.row_rule import after, needed_with, not_before
from fleet.ingest.tables.organisation import LATITUDE, LONGITUDE, WEEKDAYS

GAUGE_TYPES = TableContract(
    name="gauge_types",
    meaning="Kinds of tipping-bucket gauge in the network.",
    key=("type_code",),
    columns=(
        Column(name="type_code", kind=Kind.CODE, meaning="the type's own code"),
        Column(name="description", kind=Kind.NOTE, meaning="what it is, in words"),
        Column(
            name="bucket_mm",
            kind=Kind.NUMBER,
            low=0.05,
            high=2,
            meaning="rainfall depth of one tip, in mm",
        ),
        Column(
            name="orifice_area_cm2",
            kind=Kind.NUMBER,
            low=50,
            high=5000,
            meaning="receiving area, in cm2",
        ),
        Column(
            name="area_basis",
            kind=Kind.TEXT,
            meaning="what the area rests on: nominal, measured, drawing ...",
        ),
        Column(name="siphon", kind=Kind.YES_NO, meaning="whether a siphon feeds the bucket"),
        Column(
            name="test_volume_ml",
            kind=Kind.NUMBER,
            low=10,
            high=10000,
            meaning="nominal volume of one test run, in mL",
        ),
    ),
)

SITES = TableContract(
    name="sites",
    meaning="Places with one or more gauges.",
    key=("site_code",),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site's own code"),
        Column(name="name", kind=Kind.TEXT, meaning="name, in any script"),
        LATITUDE,
        LONGITUDE,
        Column(
            name="elevation_m",
            kind=Kind.NUMBER,
            required=False,
            low=-500,
            high=9000,
            meaning="elevation above mean sea level, in m",
        ),
        Column(name="time_zone", kind=Kind.TIME_ZONE, meaning="zone of its clocks"),
        Column(name="depot_code", kind=Kind.CODE, meaning="who looks after it", refers_to="depots"),
        Column(
            name="importance",
            kind=Kind.NUMBER,
            low=0.01,
            high=100,
            meaning="weight of its record; 1 is ordinary",
        ),
        Column(
            name="access_minutes",
            kind=Kind.INTEGER,
            low=0,
            high=600,
            meaning="walk in and out, one visit, in minutes",
        ),
        Column(
            name="persons_required", kind=Kind.INTEGER, low=1, high=2, meaning="persons for the job"
        ),
        Column(
            name="required_skill",
            kind=Kind.TEXT,
            required=False,
            meaning="a skill that a visitor must hold",
        ),
        Column(name="ring_first", kind=Kind.YES_NO, meaning="whether to ring before coming"),
        Column(name="contact", kind=Kind.NOTE, required=False, meaning="whom to ring, and how"),
        Column(name="hazards", kind=Kind.NOTE, required=False, meaning="known hazards"),
        Column(name="access_notes", kind=Kind.NOTE, required=False, meaning="how to get in"),
    ),
)

ACCESS_RULES = TableContract(
    name="access_rules",
    meaning="When a site may be visited; a site with any rule only inside one of them.",
    key=("site_code", "rule_number"),
    rules=(after("closes", "opens"), not_before("last_day", "first_day")),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(
            name="rule_number", kind=Kind.INTEGER, low=1, high=999, meaning="number of the rule"
        ),
        Column(
            name="weekdays",
            kind=Kind.WORDS,
            required=False,
            choices=WEEKDAYS,
            meaning="days of the week; blank for all",
        ),
        Column(
            name="opens",
            kind=Kind.CLOCK,
            required=False,
            meaning="earliest local time; blank for any",
        ),
        Column(
            name="closes",
            kind=Kind.CLOCK,
            required=False,
            meaning="latest local time; blank for any",
        ),
        Column(
            name="first_day",
            kind=Kind.DAY,
            required=False,
            meaning="first day of the rule; blank for any",
        ),
        Column(
            name="last_day",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="last day of the rule; blank for any",
        ),
        Column(name="note", kind=Kind.NOTE, required=False, meaning="remark"),
    ),
)

INSTRUMENTS = TableContract(
    name="instruments",
    meaning="Single gauges, known by their serial.",
    key=("serial",),
    rules=(needed_with("area_basis", "orifice_area_cm2"),),
    columns=(
        Column(name="serial", kind=Kind.CODE, meaning="serial, leading zeros kept"),
        Column(name="type_code", kind=Kind.CODE, meaning="the gauge type", refers_to="gauge_types"),
        Column(
            name="status", kind=Kind.WORD, choices=InstrumentStatus, meaning="where it stands now"
        ),
        Column(
            name="orifice_area_cm2",
            kind=Kind.NUMBER,
            required=False,
            low=50,
            high=5000,
            meaning="receiving area measured on this one, in cm2; blank takes the type's",
        ),
        Column(
            name="area_basis",
            kind=Kind.TEXT,
            required=False,
            meaning="how that area was measured",
        ),
        Column(name="note", kind=Kind.NOTE, required=False, meaning="remark"),
    ),
)

INSTALLATIONS = TableContract(
    name="installations",
    meaning="Which instrument stood where, from when until when.",
    key=("site_code", "position", "installed_on"),
    rules=(after("removed_on", "installed_on"),),
    notes=(
        "an instrument stands in one place at a time",
        "a position holds one instrument at a time",
    ),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(name="position", kind=Kind.CODE, meaning="the gauge's place at the site"),
        Column(name="installed_on", kind=Kind.DAY, meaning="day of installation"),
        Column(name="serial", kind=Kind.CODE, meaning="the instrument", refers_to="instruments"),
        Column(
            name="removed_on",
            kind=Kind.DAY,
            required=False,
            meaning="day of removal; blank while it stands there",
        ),
        Column(
            name="loop_ohm",
            kind=Kind.NUMBER,
            required=False,
            low=0,
            high=1000,
            meaning="resistance of the cable from gauge to logger and back, in ohm",
        ),
    ),
)
