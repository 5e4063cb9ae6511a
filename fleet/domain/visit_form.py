"""The questions of the visit form, in the order of the work; every way of filling it in asks them.

The same questions stand on the printed job card. A row may hold several blanks (a test run); the
keys of rows and blanks are what a filled-in form is read back by.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum, unique

from fleet.domain.code import (
    Action,
    Component,
    Condition,
    DeviceKind,
    Level,
    MeasuredAt,
    NotDoneReason,
    Phase,
    StartState,
    VisitOutcome,
    VisitPurpose,
)

FORM_KEY = "visit-form 1"
"""Stands in the first cell of each sheet of a workbook that is a form, with the version of its
layout; another version is refused, never guessed at."""

SITE_KEY, CLOCK_KEY, VISIT_KEY, GAUGE_KEY = "site", "clock", "visit", "gauge"
KEY_COLUMN, LABEL_COLUMN, FIRST_BLANK_COLUMN = 0, 1, 2
"""Columns of a sheet, counted from 0; the blanks of a row follow one another."""

RUN_NUMBERS = (1, 2, 3, 4)
"""Runs a phase has room for: at least two, up to four (common practice, no published source)."""

FINDING_NUMBERS = (1, 2, 3, 4)
OVER = "over"
"""What stands in place of ohms when the meter is beyond its range."""

TECHNICIANS = "technicians"
"""Name of the list of technician codes; the lists of device codes are named by `DeviceKind`."""

CODE_LIMIT = 40
"""Longest code that the records take."""


@unique
class BlankKind(StrEnum):
    """How a blank is filled in; the value is what a person is told."""

    DAY = "a day such as 2025-03-31"
    CLOCK = "a local clock time such as 09:30"
    WORD = "one word of the list"
    YES_NO = "yes or no"
    CODE = "a code"
    NUMBER = "a number with a decimal point"
    COUNT = "a whole number"
    OHM = "ohms, or the word over when the meter is beyond its range"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Blank:
    """One cell to fill in.

    ``words`` are the allowed words of a closed list, ``codes`` names a list of codes that the
    form brings along. ``default`` is written in beforehand; a form in which nothing but such
    blanks is filled in counts as untouched.
    """

    key: str
    label: str
    kind: BlankKind
    words: type[StrEnum] | None = None
    codes: str = ""
    default: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def prefilled(self) -> bool:
        """Tell whether the form itself fills the blank in."""
        return bool(self.default)


@dataclass(frozen=True, slots=True)
class FormRow:
    """A question with its blanks."""

    key: str
    label: str
    blanks: tuple[Blank, ...]


@dataclass(frozen=True, slots=True)
class FormPart:
    """Rows that belong to one step of the work; ``tabular`` rows have the same blanks each."""

    key: str
    title: str
    rows: tuple[FormRow, ...]
    tabular: bool = False


NOMINAL_VOLUME = "nominal"
"""Default of a run's volume: the gauge's nominal test volume takes its place."""


def _ask(key: str, label: str, kind: BlankKind, **more: object) -> FormRow:
    return FormRow(key, label, (Blank("", label, kind, **more),))  # type: ignore[arg-type]


def _run(phase: Phase, number: int, start: StartState) -> FormRow:
    blanks = (
        Blank(
            "volume_ml", "Volume mL", BlankKind.NUMBER, default=NOMINAL_VOLUME, low=1, high=20000
        ),
        Blank("tips", "Tips", BlankKind.COUNT, low=0, high=100000),
        Blank("duration_s", "Seconds", BlankKind.NUMBER, low=1, high=86400),
        Blank("device", "Device", BlankKind.CODE, codes=DeviceKind.VOLUMETRIC),
        Blank("start", "Buckets at start", BlankKind.WORD, words=StartState, default=start),
    )
    return FormRow(f"{phase}.{number}", f"Run {number}", blanks)


def _switch(phase: Phase, label: str) -> FormRow:
    blanks = (
        Blank("closed_ohm", "Closed ohm", BlankKind.OHM, low=0, high=1e9),
        Blank("open_ohm", "Open ohm", BlankKind.OHM, low=0, high=1e9),
        Blank("measured_at", "Measured at", BlankKind.WORD, words=MeasuredAt),
        Blank("manual_tips", "Counted of 10", BlankKind.COUNT, low=0, high=100000),
        Blank("device", "Meter", BlankKind.CODE, codes=DeviceKind.METER),
    )
    return FormRow(f"switch.{phase}", label, blanks)


def _finding(number: int) -> FormRow:
    blanks = (
        Blank("component", "Component", BlankKind.WORD, words=Component),
        Blank("condition_found", "Condition found", BlankKind.WORD, words=Condition),
        Blank("action", "Action", BlankKind.WORD, words=Action),
        Blank("condition_left", "Condition left", BlankKind.WORD, words=Condition),
        Blank("note", "Note", BlankKind.TEXT),
    )
    return FormRow(f"finding.{number}", f"Finding {number}", blanks)


VISIT_PART = FormPart(
    "visit",
    "The visit",
    (
        _ask("day", "Day of arrival", BlankKind.DAY),
        _ask("arrived", "Arrived at", BlankKind.CLOCK),
        _ask("departed", "Left site at", BlankKind.CLOCK),
        FormRow(
            "technicians",
            "Technicians, one code a cell",
            tuple(
                Blank(str(number), f"Technician {number}", BlankKind.CODE, codes=TECHNICIANS)
                for number in (1, 2, 3)
            ),
        ),
        _ask(
            "purpose", "Purpose", BlankKind.WORD, words=VisitPurpose, default=VisitPurpose.ROUTINE
        ),
        _ask("outcome", "Outcome", BlankKind.WORD, words=VisitOutcome),
        _ask("reason", "If not done or partly done, why", BlankKind.WORD, words=NotDoneReason),
        _ask("note", "Remark", BlankKind.TEXT),
        _ask("visit_ref", "To correct a visit: its reference", BlankKind.CODE),
    ),
)

GAUGE_PARTS = (
    FormPart(
        "isolate",
        "Isolate from the logger",
        (
            _ask("serial_read", "Serial read on the gauge", BlankKind.CODE),
            _ask("isolated", "Isolated at", BlankKind.CLOCK),
        ),
    ),
    FormPart(
        "as_found",
        "As-found runs, before anything is cleaned",
        tuple(_run(Phase.AS_FOUND, number, StartState.UNKNOWN) for number in RUN_NUMBERS),
        tabular=True,
    ),
    FormPart(
        "clean",
        "Clean, adjust, level",
        (
            _ask("cleaned", "Cleaned", BlankKind.YES_NO),
            _ask("adjusted", "Adjusted", BlankKind.YES_NO),
            _ask("level_found", "Bubble as found", BlankKind.WORD, words=Level),
            _ask("level_left", "Bubble as left", BlankKind.WORD, words=Level),
        ),
    ),
    FormPart(
        "as_left",
        "As-left runs, both buckets emptied before each",
        tuple(_run(Phase.AS_LEFT, number, StartState.EMPTIED) for number in RUN_NUMBERS),
        tabular=True,
    ),
    FormPart(
        "switch",
        "Switch: ohms (or the word over), then ten slow manual tips",
        (_switch(Phase.AS_FOUND, "As found"), _switch(Phase.AS_LEFT, "As left")),
        tabular=True,
    ),
    FormPart(
        "record",
        "Findings and parts",
        tuple(_finding(number) for number in FINDING_NUMBERS),
        tabular=True,
    ),
    FormPart("parts", "", (_ask("parts", "Parts fitted", BlankKind.TEXT),)),
    FormPart(
        "reconnect",
        "RECONNECT AND PROVE IT, last act of the visit",
        (
            _ask("restored", "Restored at", BlankKind.CLOCK),
            _ask("proven", "A tip was seen to arrive at the logger", BlankKind.YES_NO),
        ),
    ),
)
"""Trade order of a visit: as-found before cleaning, reconnection last. Common practice, no
published source; the ten slow manual tips are from an instrument maker's support page."""

GAUGE_ROWS = {row.key: row for part in GAUGE_PARTS for row in part.rows}
VISIT_ROWS = {row.key: row for row in VISIT_PART.rows}


def key_text(*parts: str) -> str:
    """Join the parts of a key as it stands in a form: ``gauge|00417|as_found.1``."""
    return "|".join(parts)


def shown(word: str) -> str:
    """Give a word of a closed list as a person reads it."""
    return word.replace("_", " ")


def visit_reference(site_code: str, arrived_at: datetime) -> str:
    """Name a visit after its site and the local clock of its arrival.

    Parameters
    ----------
    site_code : str
        Of the site.
    arrived_at : datetime
        With the offset of the site's clock.

    Returns
    -------
    str
        Such as ``S01/20250520-0900``. A site code too long for a reference of 40 characters is
        cut, and eight hexadecimal digits of its SHA-256 keep it apart from others.

    Examples
    --------
    >>> visit_reference("S01", datetime.fromisoformat("2025-05-20T09:00+01:00"))
    'S01/20250520-0900'
    """
    stamp = f"{arrived_at:%Y%m%d-%H%M}"
    room = CODE_LIMIT - len(stamp) - 1
    if len(site_code) > room:
        digest = hashlib.sha256(site_code.encode()).hexdigest()[:8]
        site_code = f"{site_code[: room - 9]}-{digest}"
    return f"{site_code}/{stamp}"
