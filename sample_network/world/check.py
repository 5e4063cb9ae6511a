"""One gauge tested as a technician tests it: as found, clean, adjust, as left, reconnect."""

from __future__ import annotations

from world.equipment import bottle, volume_ml
from world.finding import found_by_looking, found_level
from world.span import instant
from world.switch import mend_switch, read_as_left, read_switch, where_measured
from world.work import AS_FOUND, AS_LEFT, Check


def service(check: Check) -> None:
    """Do everything at one gauge that stays where it is."""
    position, instrument, work = check.position, check.instrument, check.work
    row = _isolate(check)
    row["level_found"], row["level_left"] = found_level(work, instrument.serial)
    instrument.settle()
    _as_found(check)
    found_by_looking(work, position)
    work.minute += work.dice.uniform(8, 15)
    _clean(check)
    mend_switch(check)
    as_left(check)
    _restore(check, row)
    row["cleaned"], row["adjusted"] = True, check.adjusted
    row["parts"] = ", ".join(check.parts)
    position.serviced_on = work.day


def take_down(check: Check) -> None:
    """Test an instrument as found and take it away."""
    row = _isolate(check)
    row["level_found"] = "in_ring"
    check.instrument.settle()
    _as_found(check)
    row["cleaned"], row["adjusted"] = False, False


def put_up(check: Check, *, at_workshop: bool) -> None:
    """Install an instrument, test it as left and connect it."""
    work, instrument = check.work, check.instrument
    if at_workshop:
        read_switch(check, AS_FOUND, "closed_ohm", "workshop")
    row = work.records.add("gauge_checks", visit_ref=work.visit_ref, serial=instrument.serial)
    row["isolated_at"] = instant(work.day, work.minute)
    row["level_left"] = "in_ring"
    work.minute += work.dice.uniform(15, 25)
    as_left(check)
    _restore(check, row)
    row["cleaned"], row["adjusted"] = False, check.adjusted
    check.position.serviced_on = work.day


def _isolate(check: Check) -> dict[str, object]:
    work = check.work
    work.minute += work.dice.uniform(4, 9)
    row = work.records.add("gauge_checks", visit_ref=work.visit_ref, serial=check.instrument.serial)
    if "not_isolated" in check.wishes:
        check.note("gauge was not isolated, the test tips are in the record")
    else:
        row["isolated_at"] = instant(work.day, work.minute)
    return row


def _restore(check: Check, row: dict[str, object]) -> None:
    """Reconnect, or forget to."""
    work, position = check.work, check.position
    work.minute += work.dice.uniform(3, 6)
    position.disconnected = "left_disconnected" in check.wishes
    if position.disconnected:
        row["restoration_proven"] = False
        return
    if "not_isolated" not in check.wishes:
        row["restored_at"] = instant(work.day, work.minute)
    row["restoration_proven"] = None if "unproven" in check.wishes else True


def _as_found(check: Check) -> None:
    instrument, share = check.instrument, check.position.passed_share
    at = where_measured(check)
    read_switch(check, AS_FOUND, "closed_ohm", at)
    if instrument.dead or instrument.bouncing:
        read_switch(check, AS_FOUND, "manual_tips", "logger")
    if "no_as_found" in check.wishes or instrument.dead:
        why = "switch did not close" if instrument.dead else "cleaned before the test by mistake"
        check.note(f"no as-found test: {why}")
        return
    if share < 0.3:
        check.note("no as-found test: water stood in the funnel")
        return
    runs = 1 if share < 1 else 2
    if share < 1:
        check.note("one as-found run only, water drained too slowly")
    error = _runs(check, AS_FOUND, first=1, count=runs, passed_share=share)
    if share == 1 and abs(error) > 4:
        more = 2 if abs(error) > 7 else 1
        _runs(check, AS_FOUND, first=3, count=more, passed_share=share)


def _runs(check: Check, phase: str, *, first: int, count: int, passed_share: float) -> float:
    """Pour, count and write down; give the pooled error in percent."""
    work, instrument = check.work, check.instrument
    code = bottle(work.kit, instrument.kind.code)
    volume = volume_ml(work.certificates, code, work.day)
    expected = volume / instrument.tip_ml
    total = 0
    for number in range(first, first + count):
        emptied = phase == AS_LEFT
        tips = instrument.pour(volume, emptied=emptied, passed_share=passed_share)
        if "perfect" in check.wishes:
            tips = round(instrument.kind.expected_tips)
        seconds = volume / instrument.kind.pour_ml_s * work.dice.spread(0.05)
        total += tips
        work.minute += seconds / 60 + work.dice.uniform(1, 2.5)
        work.records.add(
            "tip_runs",
            visit_ref=work.visit_ref,
            serial=instrument.serial,
            phase=phase,
            run_number=number,
            volume_ml=volume,
            duration_s=5 * round(seconds / 5),
            tips=tips,
            start_state="emptied" if emptied else "unknown",
            device_code=code,
        )
        if "not_isolated" in check.wishes:
            logged = check.position.test_mm.get(work.day, 0.0)
            check.position.test_mm[work.day] = logged + tips * instrument.kind.bucket_mm
    return 100 * (total / (expected * count) - 1)


def _clean(check: Check) -> None:
    check.instrument.fouling_percent = 0.0
    check.position.clear()


def as_left(check: Check) -> None:
    """Test with emptied buckets, adjust where it is out, and read the switch."""
    work = check.work
    if "no_as_left" in check.wishes:
        check.note("no as-left test: rain set in")
        work.missing_as_left = True
        return
    start = len(work.records.tables["tip_runs"])
    error = _runs(check, AS_LEFT, first=1, count=2, passed_share=1.0)
    out = abs(error) > check.tolerance_left_percent or "always_adjust" in check.wishes
    if "left_bad" in check.wishes:
        check.note("stop screw seized, could not be adjusted")
    elif out and "perfect" not in check.wishes:
        _adjust(check, start)
    read_as_left(check)


def _adjust(check: Check, start: int) -> None:
    """Turn the stops and test again; only the final runs are the as-left test."""
    work, tables = check.work, check.work.records.tables
    for _ in range(4):
        check.instrument.adjust()
        check.adjusted = True
        work.minute += work.dice.uniform(6, 14)
        del tables["tip_runs"][start:]
        count = 3 if work.dice.chance(0.3) else 2
        error = _runs(check, AS_LEFT, first=1, count=count, passed_share=1.0)
        if abs(error) <= check.tolerance_left_percent:
            break
