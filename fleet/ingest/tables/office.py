"""Input tables of the coordinator: daily totals, follow-ups and holds."""

from __future__ import annotations

from fleet.domain.code import HoldKind, Severity
from fleet.ingest.contract import Column, Horizon, Kind, Link, TableContract
from fleet.ingest.row_rule import needed_when, needed_with, not_before

DAILY_TOTALS = TableContract(
    name="daily_totals",
    meaning="Rainfall of a day at one position, for the comparison with neighbours.",
    key=("site_code", "position", "day"),
    together="site_code",
    links=(
        Link(
            columns=("site_code", "position"),
            table="installations",
            text="no installations row has this position at this site",
        ),
    ),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(name="position", kind=Kind.CODE, meaning="the gauge's place at the site"),
        Column(name="day", kind=Kind.DAY, horizon=Horizon.PAST, meaning="the day"),
        Column(
            name="total_mm",
            kind=Kind.NUMBER,
            required=False,
            low=0,
            high=3000,
            meaning="rainfall of the day, in mm; blank is missing",
        ),
        Column(
            name="flag",
            kind=Kind.WORD,
            required=False,
            choices=("snow", "frost", "estimated", "suspect"),
            meaning="why the total is not to be trusted as rain",
        ),
    ),
)

FOLLOW_UPS = TableContract(
    name="follow_ups",
    meaning="Defects to be mended.",
    key=("follow_up_ref",),
    rules=(
        not_before("due_on", "raised_on"),
        not_before("closed_on", "raised_on"),
        needed_with("closed_on", "closed_by_visit"),
    ),
    columns=(
        Column(name="follow_up_ref", kind=Kind.CODE, meaning="its own reference"),
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(
            name="serial",
            kind=Kind.CODE,
            required=False,
            meaning="the instrument; blank for the site",
            refers_to="instruments",
        ),
        Column(name="severity", kind=Kind.WORD, choices=Severity, meaning="how soon"),
        Column(name="raised_on", kind=Kind.DAY, meaning="day on which it was raised"),
        Column(
            name="raised_by_visit",
            kind=Kind.CODE,
            required=False,
            meaning="the visit that found it",
            refers_to="visits",
        ),
        Column(name="description", kind=Kind.NOTE, meaning="what is wrong"),
        Column(
            name="needs",
            kind=Kind.NOTE,
            required=False,
            meaning="part, skill or second person that it takes",
        ),
        Column(
            name="due_on",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="day by which it must be mended",
        ),
        Column(name="closed_on", kind=Kind.DAY, required=False, meaning="day of mending"),
        Column(
            name="closed_by_visit",
            kind=Kind.CODE,
            required=False,
            meaning="the visit that mended it",
            refers_to="visits",
        ),
    ),
)

HOLDS = TableContract(
    name="holds",
    meaning="What the coordinator has decided about a site ahead of the planner.",
    key=("site_code", "kind", "first_day"),
    rules=(
        not_before("last_day", "first_day"),
        *needed_when("technician_code", "kind", (HoldKind.TECHNICIAN,)),
    ),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(name="kind", kind=Kind.WORD, choices=HoldKind, meaning="what was decided"),
        Column(name="first_day", kind=Kind.DAY, meaning="first day of the hold"),
        Column(name="last_day", kind=Kind.DAY, horizon=Horizon.OPEN, meaning="last day, included"),
        Column(
            name="technician_code",
            kind=Kind.CODE,
            required=False,
            meaning="who alone may go",
            refers_to="technicians",
        ),
        Column(name="reason", kind=Kind.TEXT, meaning="why"),
    ),
)
