"""Input tables of what was found and done in the field."""

from __future__ import annotations

from fleet.domain.code import (
    Action,
    Component,
    Condition,
    Level,
    MeasuredAt,
    NotDoneReason,
    Phase,
    StartState,
    SwitchReadingKind,
    VisitOutcome,
    VisitPurpose,
)
from fleet.ingest.contract import Cells, Column, Horizon, Kind, Link, RowRule, TableContract
from fleet.ingest.row_rule import after, needed_when, not_before, within

_VISIT = Column(name="visit_ref", kind=Kind.CODE, meaning="the visit", refers_to="visits")
_SERIAL = Column(name="serial", kind=Kind.CODE, meaning="the instrument", refers_to="instruments")
_PHASE = Column(name="phase", kind=Kind.WORD, choices=Phase, meaning="before or after cleaning")
_DEVICE = Column(
    name="device_code",
    kind=Kind.CODE,
    required=False,
    meaning="test equipment used",
    refers_to="devices",
)
_CHECKED = Link(
    columns=("visit_ref", "serial"),
    table="gauge_checks",
    text="no gauge_checks row has this instrument in this visit",
)

VISITS = TableContract(
    name="visits",
    meaning="Every time that somebody went to a site; a failed attempt is a record too.",
    key=("visit_ref",),
    together="visit_ref",
    rules=(
        after("departed_at", "arrived_at"),
        within("departed_at", "arrived_at", hours=24),
        *needed_when(
            "not_done_reason", "outcome", (VisitOutcome.NOT_DONE, VisitOutcome.PARTLY_DONE)
        ),
    ),
    columns=(
        Column(name="visit_ref", kind=Kind.CODE, meaning="the visit's own reference"),
        Column(name="site_code", kind=Kind.CODE, meaning="the site", refers_to="sites"),
        Column(
            name="technician_codes",
            kind=Kind.CODES,
            meaning="who was there",
            refers_to="technicians",
        ),
        Column(
            name="arrived_at",
            kind=Kind.INSTANT,
            horizon=Horizon.PAST,
            meaning="arrival at the site",
        ),
        Column(
            name="departed_at", kind=Kind.INSTANT, horizon=Horizon.PAST, meaning="leaving the site"
        ),
        Column(name="purpose", kind=Kind.WORD, choices=VisitPurpose, meaning="why"),
        Column(name="outcome", kind=Kind.WORD, choices=VisitOutcome, meaning="what became of it"),
        Column(
            name="not_done_reason",
            kind=Kind.WORD,
            required=False,
            choices=NotDoneReason,
            meaning="why not, or not all",
        ),
        Column(name="note", kind=Kind.NOTE, required=False, meaning="remark"),
    ),
)

GAUGE_CHECKS = TableContract(
    name="gauge_checks",
    meaning="One instrument looked after in one visit.",
    key=("visit_ref", "serial"),
    together="visit_ref",
    rules=(not_before("restored_at", "isolated_at"),),
    notes=("isolated_at and restored_at lie at most 12 hours outside the visit",),
    columns=(
        _VISIT,
        _SERIAL,
        Column(
            name="isolated_at",
            kind=Kind.INSTANT,
            required=False,
            meaning="when it was taken off the logger",
        ),
        Column(
            name="restored_at",
            kind=Kind.INSTANT,
            required=False,
            meaning="when it was put back on the logger",
        ),
        Column(
            name="restoration_proven",
            kind=Kind.YES_NO,
            required=False,
            meaning="whether a tip was seen to reach the logger; blank is not stated",
        ),
        Column(
            name="level_found",
            kind=Kind.WORD,
            required=False,
            choices=Level,
            meaning="bubble as found",
        ),
        Column(
            name="level_left",
            kind=Kind.WORD,
            required=False,
            choices=Level,
            meaning="bubble as left",
        ),
        Column(name="cleaned", kind=Kind.YES_NO, meaning="whether it was cleaned"),
        Column(name="adjusted", kind=Kind.YES_NO, meaning="whether its calibration was changed"),
        Column(name="parts", kind=Kind.NOTE, required=False, meaning="parts fitted"),
    ),
)

TIP_RUNS = TableContract(
    name="tip_runs",
    meaning="One poured volume and the tips that it gave.",
    key=("visit_ref", "serial", "phase", "run_number"),
    together="visit_ref",
    notes=("the runs of a phase count 1, 2, 3 without a gap",),
    links=(_CHECKED,),
    columns=(
        _VISIT,
        _SERIAL,
        _PHASE,
        Column(
            name="run_number", kind=Kind.INTEGER, low=1, high=99, meaning="1, 2, 3 in each phase"
        ),
        Column(
            name="volume_ml", kind=Kind.NUMBER, low=1, high=20000, meaning="water poured, in mL"
        ),
        Column(
            name="duration_s",
            kind=Kind.NUMBER,
            required=False,
            low=1,
            high=86400,
            meaning="time of the run, in s",
        ),
        Column(name="tips", kind=Kind.INTEGER, low=0, high=100000, meaning="tips counted"),
        Column(
            name="start_state",
            kind=Kind.WORD,
            choices=StartState,
            meaning="what stood in the buckets at the start",
        ),
        _DEVICE,
    ),
)


def _whole_tips(cells: Cells) -> bool:
    counted = cells["kind"] is SwitchReadingKind.MANUAL_TIPS
    value = cells["value"]
    return not counted or value is None or float(value).is_integer()


def _not_a_count(cells: Cells) -> bool:
    return not (cells["kind"] is SwitchReadingKind.MANUAL_TIPS and cells["over_range"])


SWITCH_READINGS = TableContract(
    name="switch_readings",
    meaning="What was read at the switch.",
    key=("visit_ref", "serial", "phase", "kind"),
    together="visit_ref",
    links=(_CHECKED,),
    rules=(
        *needed_when("value", "over_range", (False,)),
        RowRule("manual_tips is a whole number of tips", ("kind", "value"), "value", _whole_tips),
        RowRule(
            "over_range must be no when kind is manual_tips",
            ("kind", "over_range"),
            "over_range",
            _not_a_count,
        ),
    ),
    columns=(
        _VISIT,
        _SERIAL,
        _PHASE,
        Column(name="kind", kind=Kind.WORD, choices=SwitchReadingKind, meaning="what was read"),
        Column(
            name="value",
            kind=Kind.NUMBER,
            required=False,
            low=0,
            high=1e9,
            meaning="resistance in ohm, or tips logged of ten slow manual ones",
        ),
        Column(
            name="over_range", kind=Kind.YES_NO, meaning="whether the meter was beyond its range"
        ),
        Column(
            name="measured_at", kind=Kind.WORD, choices=MeasuredAt, meaning="where it was measured"
        ),
        _DEVICE,
    ),
)

FINDINGS = TableContract(
    name="findings",
    meaning="What was seen at the gauge or the site, and what was done about it.",
    key=("visit_ref", "finding_number"),
    together="visit_ref",
    columns=(
        _VISIT,
        Column(
            name="finding_number", kind=Kind.INTEGER, low=1, high=999, meaning="number in the visit"
        ),
        Column(
            name="serial",
            kind=Kind.CODE,
            required=False,
            meaning="the instrument; blank for the site",
            refers_to="instruments",
        ),
        Column(name="component", kind=Kind.WORD, choices=Component, meaning="what it is about"),
        Column(name="condition_found", kind=Kind.WORD, choices=Condition, meaning="as found"),
        Column(name="action", kind=Kind.WORD, choices=Action, meaning="what was done"),
        Column(name="condition_left", kind=Kind.WORD, choices=Condition, meaning="as left"),
        Column(name="note", kind=Kind.NOTE, required=False, meaning="remark"),
    ),
)
