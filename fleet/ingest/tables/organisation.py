"""Input tables about depots and technicians."""

from __future__ import annotations

from fleet.ingest.contract import Column, Horizon, Kind, TableContract
from fleet.ingest.row_rule import after, not_before

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Weekday words, in the order of ISO 8601 (Monday first)."""

LATITUDE = Column(
    name="latitude_deg",
    kind=Kind.NUMBER,
    meaning="WGS 84 latitude in degrees, north positive",
    low=-90,
    high=90,
)
LONGITUDE = Column(
    name="longitude_deg",
    kind=Kind.NUMBER,
    meaning="WGS 84 longitude in degrees, east positive",
    low=-180,
    high=180,
)

DEPOTS = TableContract(
    name="depots",
    meaning="Where technicians start from and return to.",
    key=("depot_code",),
    columns=(
        Column(name="depot_code", kind=Kind.CODE, meaning="the depot's own code"),
        Column(name="name", kind=Kind.TEXT, meaning="name, in any script"),
        LATITUDE,
        LONGITUDE,
        Column(name="time_zone", kind=Kind.TIME_ZONE, meaning="zone of its clocks"),
        Column(
            name="holiday_region",
            kind=Kind.REGION,
            required=False,
            meaning="region whose public holidays it keeps; blank keeps none",
        ),
    ),
)

CLOSURES = TableContract(
    name="closures",
    meaning="Days on which nobody of a depot goes out.",
    key=("depot_code", "day"),
    columns=(
        Column(name="depot_code", kind=Kind.CODE, meaning="the depot", refers_to="depots"),
        Column(name="day", kind=Kind.DAY, meaning="the closed day"),
        Column(name="name", kind=Kind.TEXT, meaning="why"),
    ),
)

TECHNICIANS = TableContract(
    name="technicians",
    meaning="Who goes out, from where and in which hours.",
    key=("technician_code",),
    rules=(not_before("active_until", "active_from"), after("shift_end", "shift_start")),
    columns=(
        Column(name="technician_code", kind=Kind.CODE, meaning="the technician's own code"),
        Column(name="name", kind=Kind.TEXT, meaning="name, in any script"),
        Column(name="depot_code", kind=Kind.CODE, meaning="home depot", refers_to="depots"),
        Column(name="active_from", kind=Kind.DAY, meaning="first day at work"),
        Column(
            name="active_until",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="last day at work; blank while there is none",
        ),
        Column(name="shift_start", kind=Kind.CLOCK, meaning="local time of leaving the depot"),
        Column(name="shift_end", kind=Kind.CLOCK, meaning="local time of being back"),
        Column(name="weekdays", kind=Kind.WORDS, choices=WEEKDAYS, meaning="working days"),
        Column(
            name="max_driving_minutes",
            kind=Kind.INTEGER,
            low=1,
            high=1440,
            meaning="most driving in a day, in minutes",
        ),
        Column(
            name="break_minutes",
            kind=Kind.INTEGER,
            low=0,
            high=480,
            meaning="breaks in a day, in minutes",
        ),
    ),
)

SKILLS = TableContract(
    name="skills",
    meaning="What a technician is trained for, and between which days.",
    key=("technician_code", "skill", "valid_from"),
    rules=(not_before("valid_until", "valid_from"),),
    columns=(
        Column(
            name="technician_code",
            kind=Kind.CODE,
            meaning="the technician",
            refers_to="technicians",
        ),
        Column(name="skill", kind=Kind.TEXT, meaning="the skill, as sites require it"),
        Column(name="valid_from", kind=Kind.DAY, meaning="first day of validity"),
        Column(
            name="valid_until",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="last day of validity; blank for no end",
        ),
    ),
)

ABSENCES = TableContract(
    name="absences",
    meaning="Days on which a technician is away.",
    key=("technician_code", "first_day"),
    rules=(not_before("last_day", "first_day"),),
    columns=(
        Column(
            name="technician_code",
            kind=Kind.CODE,
            meaning="the technician",
            refers_to="technicians",
        ),
        Column(name="first_day", kind=Kind.DAY, meaning="first day away"),
        Column(
            name="last_day", kind=Kind.DAY, horizon=Horizon.OPEN, meaning="last day away, included"
        ),
        Column(name="reason", kind=Kind.TEXT, meaning="leave, training, illness ..."),
    ),
)
