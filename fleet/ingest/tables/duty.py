"""Input tables of what binds a working day: breaks, homes, vehicles, dated access windows."""

from __future__ import annotations

from fleet.domain.code import RestScope
from fleet.ingest.contract import Cells, Column, Horizon, Kind, RowRule, TableContract
from fleet.ingest.row_rule import after, needed_when, not_before
from fleet.ingest.tables.organisation import LATITUDE, LONGITUDE

VALID_FROM = Column(name="valid_from", kind=Kind.DAY, meaning="first day")
VALID_UNTIL = Column(
    name="valid_until",
    kind=Kind.DAY,
    required=False,
    horizon=Horizon.OPEN,
    meaning="last day; blank for no end",
)
TECHNICIAN = Column(
    name="technician_code", kind=Kind.CODE, meaning="the technician", refers_to="technicians"
)


def _has_occasion(cells: Cells) -> bool:
    """Tell whether a rule with a break says when the break is due."""
    limits = (cells["after_driving_minutes"], cells["after_duty_minutes"])
    return cells["break_minutes"] == 0 or any(limit is not None for limit in limits)


REST_RULES = TableContract(
    name="rest_rules",
    meaning="When a break is due on a working day; what the law asks for is yours to state.",
    key=("scope", "scope_code", "valid_from"),
    notes=(
        "scope_code stands in depots or technicians, by its scope",
        "the narrowest scope with a row in force rules alone; 0 minutes of break lift the rule",
        "a break counts when it is as long as stated; waiting counts as duty",
    ),
    rules=(
        *needed_when("scope_code", "scope", (RestScope.DEPOT, RestScope.TECHNICIAN)),
        RowRule(
            text="after_driving_minutes or after_duty_minutes is required with a break",
            columns=("after_driving_minutes", "after_duty_minutes", "break_minutes"),
            blame="after_driving_minutes",
            holds=_has_occasion,
        ),
    ),
    columns=(
        Column(name="scope", kind=Kind.WORD, choices=RestScope, meaning="how widely it speaks"),
        Column(
            name="scope_code",
            kind=Kind.CODE,
            required=False,
            meaning="depot or technician code; blank for the network",
        ),
        Column(name="valid_from", kind=Kind.DAY, meaning="first day in force"),
        Column(
            name="after_driving_minutes",
            kind=Kind.INTEGER,
            required=False,
            low=30,
            high=1440,
            meaning="most driving without a break, in minutes; blank for any",
        ),
        Column(
            name="after_duty_minutes",
            kind=Kind.INTEGER,
            required=False,
            low=30,
            high=1440,
            meaning="longest duty without a break, in minutes; blank for any",
        ),
        Column(
            name="break_minutes",
            kind=Kind.INTEGER,
            low=0,
            high=240,
            meaning="least length of a break, in minutes",
        ),
        Column(name="basis", kind=Kind.NOTE, meaning="what it rests on: law, agreement, own rule"),
    ),
)

HOMES = TableContract(
    name="homes",
    meaning="Where a technician starts or ends the day instead of the depot.",
    key=("technician_code", "valid_from"),
    notes=("on a day with others a technician meets them at the depot",),
    rules=(not_before("valid_until", "valid_from"),),
    columns=(
        TECHNICIAN,
        VALID_FROM,
        VALID_UNTIL,
        LATITUDE,
        LONGITUDE,
        Column(name="starts_here", kind=Kind.YES_NO, meaning="whether the day starts here"),
        Column(name="ends_here", kind=Kind.YES_NO, meaning="whether the day ends here"),
    ),
)

VEHICLES = TableContract(
    name="vehicles",
    meaning="What a technician drives, and how much fits in; without a row nothing is limited.",
    key=("technician_code", "valid_from"),
    notes=("a crew of more goes in the roomiest vehicle of its members",),
    rules=(not_before("valid_until", "valid_from"),),
    columns=(
        TECHNICIAN,
        VALID_FROM,
        VALID_UNTIL,
        Column(name="description", kind=Kind.TEXT, meaning="which vehicle"),
        Column(
            name="water_litres",
            kind=Kind.NUMBER,
            low=0,
            high=5000,
            meaning="water for tests that it carries, in L",
        ),
        Column(
            name="spare_parts",
            kind=Kind.INTEGER,
            low=0,
            high=1000,
            meaning="spare parts that it carries, in pieces",
        ),
    ),
)

ACCESS_WINDOWS = TableContract(
    name="access_windows",
    meaning="Dated spans, as of a tide table; a site with any is closed outside them all.",
    key=("site_code", "day", "opens"),
    notes=("where the site has access_rules too, both must allow a visit",),
    rules=(after("closes", "opens"),),
    columns=(
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(name="day", kind=Kind.DAY, horizon=Horizon.OPEN, meaning="local day at the site"),
        Column(name="opens", kind=Kind.CLOCK, meaning="earliest local time"),
        Column(name="closes", kind=Kind.CLOCK, meaning="latest local time"),
        Column(name="note", kind=Kind.NOTE, required=False, meaning="remark"),
    ),
)
