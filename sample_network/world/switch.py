"""The switch of a gauge: read as found and as left, and replaced where it fails."""

from __future__ import annotations

from world.equipment import meter
from world.instrument import DEAD_OHM
from world.work import AS_LEFT, Check


def mend_switch(check: Check) -> None:
    work, instrument = check.work, check.instrument
    worn = instrument.closed_ohm() > DEAD_OHM
    if not (instrument.dead or instrument.bouncing or worn):
        return
    why = "no closure" if instrument.dead else "counts twice" if instrument.bouncing else "high"
    work.find(
        serial=instrument.serial,
        component="switch",
        condition_found="worn" if worn and not instrument.dead else "damaged",
        action="replaced",
        condition_left="good",
        note=f"{why}; switch replaced",
    )
    instrument.renew_switch()
    check.parts.append("reed switch")
    work.minute += work.dice.uniform(15, 25)


def read_as_left(check: Check) -> None:
    work = check.work
    work.minute += work.dice.uniform(4, 7)
    if work.dice.chance(0.9):
        read_switch(check, AS_LEFT, "closed_ohm", where_measured(check))
    if work.dice.chance(0.6):
        read_switch(check, AS_LEFT, "open_ohm", "gauge_terminals")
    if work.dice.chance(0.85):
        read_switch(check, AS_LEFT, "manual_tips", "logger")


def where_measured(check: Check) -> str:
    """Give the place of a closed reading; without a known loop only the terminals will do."""
    known = check.position.loop_ohm is not None
    return "logger" if known and check.work.dice.chance(0.25) else "gauge_terminals"


def read_switch(check: Check, phase: str, kind: str, measured_at: str) -> None:
    work, instrument = check.work, check.instrument
    value: float | int | None = None
    if kind == "manual_tips":
        value = instrument.manual_tips()
    elif kind == "closed_ohm" and not instrument.dead:
        loop = check.position.loop_ohm if measured_at == "logger" else None
        value = round(instrument.closed_ohm(loop or 0.0), 2)
    elif kind == "open_ohm" and work.dice.chance(0.2):
        value = 100000 * work.dice.whole(45, 390)
    work.records.add(
        "switch_readings",
        visit_ref=work.visit_ref,
        serial=instrument.serial,
        phase=phase,
        kind=kind,
        value=value,
        over_range=value is None,
        measured_at=measured_at,
        device_code=None if kind == "manual_tips" else meter(work.kit),
    )
