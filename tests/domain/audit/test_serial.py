"""The life of an instrument: stays, checks and times away. Days are counted by hand."""

from __future__ import annotations

from datetime import date

from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.kept import InstrumentKept
from fleet.domain.audit.serial import serial_history
from fleet.domain.code import InstrumentStatus
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

TODAY = date(2025, 6, 2)
FIRST = audited(
    make_check(date(2024, 3, 5), found=(38, 38), left=(40, 40), adjusted=True),
    removed_on=date(2024, 5, 1),
    installed_on=date(2024, 1, 1),
)
SECOND = audited(installed_on=date(2024, 7, 1), site_code="S02")
KEPT = InstrumentKept("00417", "TB05", InstrumentStatus.IN_SERVICE)
SHELF = InstrumentKept("A-040", "TB05", InstrumentStatus.SPARE, "on the shelf")
GROUND = evidence(FIRST, SECOND, instruments=(KEPT, SHELF))


def test_history_tells_stays_checks_and_the_time_between() -> None:
    rows = serial_history(GROUND, Ask(TODAY, codes=("00417",)))

    assert [(r.event, r.place.site_code, r.from_on, r.until_on, r.days) for r in rows] == [
        ("stood", "S01", date(2024, 1, 1), date(2024, 5, 1), 121),
        ("checked", "S01", date(2024, 3, 5), date(2024, 3, 5), None),
        ("away", None, date(2024, 5, 1), date(2024, 7, 1), 61),
        ("stood", "S02", date(2024, 7, 1), None, 336),
    ]
    check = rows[1].check
    assert (check.visit_ref, check.technicians, check.adjusted) == ("V20240305", "T01", "yes")
    assert (check.as_found_verdict, check.as_left_verdict) == ("passed", "passed")
    assert rows[1].sentence == (
        "Visit V20240305: as found -5.0 % (passed), as left +0.0 % (passed), adjusted."
    )


def test_history_of_an_instrument_that_never_stood_has_one_line() -> None:
    [row] = serial_history(GROUND, Ask(TODAY, codes=("A-040",)))

    assert (row.event, row.from_on, row.days, row.status) == ("away", None, None, "spare")
    assert row.sentence == (
        "Never stood anywhere so far; the register says spare. Note: on the shelf"
    )


def test_history_without_a_serial_is_of_every_instrument_and_since_leaves_out_the_old() -> None:
    rows = serial_history(GROUND, Ask(TODAY, since=date(2024, 6, 1)))

    assert [(row.serial, row.event) for row in rows] == [
        ("00417", "away"),
        ("00417", "stood"),
        ("A-040", "away"),
    ]


def test_an_instrument_taken_away_is_away_until_the_day_asked_about() -> None:
    ground = evidence(FIRST, instruments=(KEPT,))

    rows = serial_history(ground, Ask(TODAY))

    assert (rows[-1].event, rows[-1].until_on, rows[-1].days) == ("away", None, 397)


def test_an_instrument_moved_on_one_day_was_never_away() -> None:
    first = audited(removed_on=date(2024, 5, 1), installed_on=date(2024, 1, 1))
    second = audited(installed_on=date(2024, 5, 1), site_code="S02")

    rows = serial_history(evidence(first, second, instruments=(KEPT,)), Ask(TODAY))

    assert [row.event for row in rows] == ["stood", "stood"]
