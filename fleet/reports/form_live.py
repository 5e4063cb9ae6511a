"""What the visit form works out while it is filled in: errors of runs, inside the band or not."""

from __future__ import annotations

from typing import Any

from xlsxwriter.utility import xl_range, xl_rowcol_to_cell

from fleet.domain.form_sheet import PhaseTerms
from fleet.domain.visit_form import FIRST_BLANK_COLUMN, LABEL_COLUMN
from fleet.reports.form_style import LAST_COLUMN, Style

VOLUME_COLUMN, TIPS_COLUMN = FIRST_BLANK_COLUMN, FIRST_BLANK_COLUMN + 1
Rows = tuple[int, int]
"""First row of a phase's runs, from 0, and the first row after them."""


def write_errors(sheet: Any, style: Style, rows: Rows, tip_ml: float) -> None:
    """Write the error of each run beside it, in percent of the expected tips."""
    sheet.write_string(rows[0] - 1, LAST_COLUMN, "Error", style.head)
    for row in range(*rows):
        volume = xl_rowcol_to_cell(row, VOLUME_COLUMN)
        tips = xl_rowcol_to_cell(row, TIPS_COLUMN)
        sheet.write_formula(row, LAST_COLUMN, run_formula(volume, tips, tip_ml), style.result, "")


def write_guide(sheet: Any, style: Style, rows: Rows, held: tuple[float, PhaseTerms]) -> None:
    """Write the error of all runs together below them, and whether it is inside the band."""
    tip_ml, terms = held
    spans = [xl_range(rows[0], c, rows[1] - 1, c) for c in (VOLUME_COLUMN, TIPS_COLUMN)]
    row = rows[1]
    sheet.write_string(row, LABEL_COLUMN, "All runs together", style.label)
    label = "A guide; the verdict is given when the visit is recorded."
    sheet.write_string(row, FIRST_BLANK_COLUMN, label)
    pooled = pooled_formula(spans[0], spans[1], tip_ml)
    sheet.write_formula(row, LAST_COLUMN, pooled, style.result, "")
    words = inside_formula(xl_rowcol_to_cell(row, LAST_COLUMN), terms)
    sheet.write_formula(row, LAST_COLUMN - 1, words, style.strong, "")


def run_formula(volume: str, tips: str, tip_ml: float) -> str:
    """Give the error of one run: e = 100 (n v / V - 1), blank until both are numbers."""
    both = f"AND(ISNUMBER({volume}),ISNUMBER({tips}))"
    return f'=IF({both},100*({tips}*{tip_ml!r}/{volume}-1),"")'


def pooled_formula(volumes: str, tips: str, tip_ml: float) -> str:
    """Give the pooled error of the runs that have both volume and tips."""
    counted = f'SUMIFS({tips},{volumes},">0",{tips},">=0")'
    poured = f'SUMIFS({volumes},{volumes},">0",{tips},">=0")'
    return f'=IF({poured}=0,"",100*({counted}*{tip_ml!r}/{poured}-1))'


def inside_formula(error: str, terms: PhaseTerms) -> str:
    """Give the words for a pooled error: inside, or on which side it is outside."""
    low, high = terms.low_percent - 1e-9, terms.high_percent + 1e-9
    above = f'IF({error}>{high!r},"OUTSIDE, high","inside")'
    return f'=IF(ISNUMBER({error}),IF({error}<{low!r},"OUTSIDE, low",{above}),"")'
