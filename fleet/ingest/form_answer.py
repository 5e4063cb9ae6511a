"""What was written into a visit form, blank by blank, and where it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fleet.domain.visit_form import FormRow
from fleet.errors import Problem

BlankPlace = tuple[str, str]
"""Key of a row and key of a blank in it."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The text of one blank, empty where nothing was written.

    ``source`` names file and sheet; ``row`` counts as a person sees it; ``column`` is the letter
    of the cell with what is asked there. ``fault`` tells why the cell cannot be read at all.
    """

    text: str
    source: str
    row: int | None
    column: str
    fault: str = ""

    def problem(self, expected: str) -> Problem:
        """Give the problem of this blank."""
        return Problem(self.source, self.row, self.column, self.text or None, expected)


@dataclass(slots=True)
class GaugeAnswers:
    """Everything written about one gauge."""

    serial: str
    answers: dict[BlankPlace, Answer] = field(default_factory=dict)


@dataclass(slots=True)
class StopAnswers:
    """Everything written about one stop; ``time_zone`` is that of the site's clock."""

    source: str
    site_code: str
    time_zone: str
    visit: dict[BlankPlace, Answer] = field(default_factory=dict)
    gauges: list[GaugeAnswers] = field(default_factory=list)

    def touched(self, rows: Mapping[str, FormRow], gauge_rows: Mapping[str, FormRow]) -> bool:
        """Tell whether anything was filled in that the form itself did not fill in."""
        return is_touched(self.visit, rows) or any(
            is_touched(gauge.answers, gauge_rows) for gauge in self.gauges
        )


def is_touched(answers: Mapping[BlankPlace, Answer], rows: Mapping[str, FormRow]) -> bool:
    """Tell whether a blank of these rows was filled in that the form itself leaves empty."""
    return any(row_is_touched(answers, row) for row in rows.values())


def row_is_touched(answers: Mapping[BlankPlace, Answer], row: FormRow) -> bool:
    """Tell whether a blank of this row was filled in that the form itself leaves empty."""
    for blank in row.blanks:
        answer = answers.get((row.key, blank.key))
        if answer is not None and not blank.prefilled and (answer.text or answer.fault):
            return True
    return False
