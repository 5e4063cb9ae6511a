"""From the answers of a visit form to rows of the input tables, as text, with their places."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.domain.code import Phase, SwitchReadingKind
from fleet.domain.visit_form import (
    FINDING_NUMBERS,
    GAUGE_ROWS,
    OVER,
    RUN_NUMBERS,
    visit_reference,
)
from fleet.errors import Problem
from fleet.ingest.cell import CellError
from fleet.ingest.form_answer import (
    Answer,
    BlankPlace,
    GaugeAnswers,
    StopAnswers,
    is_touched,
    row_is_touched,
)
from fleet.ingest.form_moment import read_day, read_moment


@dataclass(frozen=True, slots=True)
class FormRecord:
    """One row of an input table as text; ``places`` tells which answer gave a cell."""

    table: str
    cells: Mapping[str, str]
    places: Mapping[str, Answer]
    source: str


@dataclass(slots=True)
class StopRecords:
    """The rows of one stop; ``unchecked`` are serials of gauges about which nothing is written."""

    visit_ref: str
    records: list[FormRecord] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    unchecked: list[str] = field(default_factory=list)


def stop_records(stop: StopAnswers, *, today: date) -> StopRecords:
    """Turn the answers of a touched stop into rows.

    Parameters
    ----------
    stop : StopAnswers
        With its site code and time zone.
    today : date
        The day of loading.

    Returns
    -------
    StopRecords
        Rows of visits, gauge_checks, tip_runs, switch_readings and findings whose cells still
        have to be checked, and problems of what is no cell of a table: day and clock times, the
        serial as read.
    """
    return _Writer(stop, today).write()


class _Writer:
    """Writes the rows of one stop."""

    def __init__(self, stop: StopAnswers, today: date) -> None:
        self._stop = stop
        self._today = today
        self._zone = ZoneInfo(stop.time_zone)
        self._day: date | None = None
        self._made = StopRecords("")

    def write(self) -> StopRecords:
        """Write the visit and every gauge that was touched."""
        self._complain_of_faults()
        self._day = self._read_day()
        visit = self._stop.visit
        arrived = self._moment(visit["arrived", ""])
        self._made.visit_ref = visit["visit_ref", ""].text or self._reference(arrived)
        self._write_visit(arrived)
        number = 0
        for gauge in self._stop.gauges:
            if is_touched(gauge.answers, GAUGE_ROWS):
                number = self._write_gauge(gauge, number)
            else:
                self._made.unchecked.append(gauge.serial)
        return self._made

    def _complain_of_faults(self) -> None:
        every = [self._stop.visit, *(gauge.answers for gauge in self._stop.gauges)]
        for answers in every:
            for answer in answers.values():
                if answer.fault:
                    self._made.problems.append(answer.problem(answer.fault))

    def _read_day(self) -> date | None:
        answer = self._stop.visit["day", ""]
        try:
            return read_day(answer.text, today=self._today)
        except CellError as error:
            self._made.problems.append(answer.problem(str(error)))
            return None

    def _moment(self, answer: Answer) -> str:
        try:
            return read_moment(answer.text, self._day, zone=self._zone, today=self._today)
        except CellError as error:
            self._made.problems.append(answer.problem(str(error)))
            return ""

    def _reference(self, arrived: str) -> str:
        """Name the visit; a stand-in where the arrival could not be read, which is a problem."""
        try:
            return visit_reference(self._stop.site_code, datetime.fromisoformat(arrived))
        except ValueError:
            return f"unreadable-{zlib.crc32(self._stop.source.encode()):08x}"

    def _put(self, table: str, cells: Mapping[str, str], answers: Mapping[str, Answer]) -> None:
        """Add a row: cells that the form itself gives, and cells that answers give."""
        given = {name: answer.text for name, answer in answers.items()}
        whole = {"visit_ref": self._made.visit_ref, **given, **cells}
        self._made.records.append(FormRecord(table, whole, answers, self._stop.source))

    def _write_visit(self, arrived: str) -> None:
        visit = self._stop.visit
        crew = [visit["technicians", number] for number in ("1", "2", "3")]
        answers = {
            "visit_ref": visit["visit_ref", ""],
            "technician_codes": next((answer for answer in crew if answer.text), crew[0]),
            "arrived_at": visit["arrived", ""],
            "departed_at": visit["departed", ""],
            "purpose": visit["purpose", ""],
            "outcome": visit["outcome", ""],
            "not_done_reason": visit["reason", ""],
            "note": visit["note", ""],
        }
        cells = {
            "visit_ref": self._made.visit_ref,
            "site_code": self._stop.site_code,
            "technician_codes": " ".join(answer.text for answer in crew if answer.text),
            "arrived_at": arrived,
            "departed_at": self._moment(visit["departed", ""]),
            **_words(answers, "purpose", "outcome", "not_done_reason"),
        }
        self._put("visits", cells, answers)

    def _write_gauge(self, gauge: GaugeAnswers, findings: int) -> int:
        """Write one gauge; give the number of findings that the visit has so far."""
        self._compare_serial(gauge)
        self._write_check(gauge)
        for phase in Phase:
            for number in RUN_NUMBERS:
                self._write_run(gauge, phase, number)
        for phase in Phase:
            self._write_switch(gauge, phase)
        for number in FINDING_NUMBERS:
            findings += self._write_finding(gauge, number, findings + 1)
        return findings

    def _compare_serial(self, gauge: GaugeAnswers) -> None:
        answer = gauge.answers["serial_read", ""]
        if answer.text and not answer.fault and answer.text != gauge.serial:
            self._made.problems.append(
                answer.problem(
                    f"this form is for gauge {gauge.serial}; load the installation of the other "
                    "gauge first and make a form for it"
                )
            )

    def _write_check(self, gauge: GaugeAnswers) -> None:
        given = gauge.answers
        answers = {
            "isolated_at": given["isolated", ""],
            "restored_at": given["restored", ""],
            "restoration_proven": given["proven", ""],
            "level_found": given["level_found", ""],
            "level_left": given["level_left", ""],
            "cleaned": given["cleaned", ""],
            "adjusted": given["adjusted", ""],
            "parts": given["parts", ""],
        }
        cells = {
            "serial": gauge.serial,
            "isolated_at": self._moment(answers["isolated_at"]),
            "restored_at": self._moment(answers["restored_at"]),
            **_words(answers, "level_found", "level_left"),
        }
        self._put("gauge_checks", cells, answers)

    def _write_run(self, gauge: GaugeAnswers, phase: Phase, number: int) -> None:
        key = f"{phase}.{number}"
        if not row_is_touched(gauge.answers, GAUGE_ROWS[key]):
            return
        names = {"device": "device_code", "start": "start_state"}
        answers = _row_answers(gauge, key, names)
        cells = {"serial": gauge.serial, "phase": phase.value, "run_number": str(number)}
        self._put("tip_runs", {**cells, **_words(answers, "start_state")}, answers)

    def _write_switch(self, gauge: GaugeAnswers, phase: Phase) -> None:
        key = f"switch.{phase}"
        if not row_is_touched(gauge.answers, GAUGE_ROWS[key]):
            return
        answers = _row_answers(gauge, key, {"device": "device_code"})
        read = [kind for kind in SwitchReadingKind if answers[kind].text]
        if not read:
            expected = "a reading is required where the meter or its place is told"
            self._made.problems.append(answers[SwitchReadingKind.CLOSED_OHM].problem(expected))
        for kind in read:
            self._write_reading(gauge, phase, kind, answers)

    def _write_reading(
        self,
        gauge: GaugeAnswers,
        phase: Phase,
        kind: SwitchReadingKind,
        answers: Mapping[str, Answer],
    ) -> None:
        over = answers[kind].text == OVER and kind is not SwitchReadingKind.MANUAL_TIPS
        cells = {
            "serial": gauge.serial,
            "phase": phase.value,
            "kind": kind.value,
            "value": "" if over else answers[kind].text,
            "over_range": "yes" if over else "no",
            **_words(answers, "measured_at"),
        }
        shared = {name: answers[name] for name in ("measured_at", "device_code")}
        self._put("switch_readings", cells, {"value": answers[kind], **shared})

    def _write_finding(self, gauge: GaugeAnswers, number: int, in_visit: int) -> bool:
        key = f"finding.{number}"
        if not row_is_touched(gauge.answers, GAUGE_ROWS[key]):
            return False
        answers = _row_answers(gauge, key, {})
        words = ("component", "condition_found", "action", "condition_left")
        cells = {"serial": gauge.serial, "finding_number": str(in_visit)}
        self._put("findings", {**cells, **_words(answers, *words)}, answers)
        return True


def _row_answers(gauge: GaugeAnswers, key: str, names: Mapping[str, str]) -> dict[str, Answer]:
    """Give the answers of a row by the column of its table."""
    return {names.get(blank, blank): answer for (row, blank), answer in _of_row(gauge.answers, key)}


def _of_row(answers: Mapping[BlankPlace, Answer], key: str) -> Iterable[tuple[BlankPlace, Answer]]:
    return ((place, answer) for place, answer in answers.items() if place[0] == key)


def _words(answers: Mapping[str, Answer], *names: str) -> dict[str, str]:
    """Give words as the tables write them: the form shows ``in ring`` for ``in_ring``."""
    return {name: answers[name].text.replace(" ", "_") for name in names}
