"""Builders of the rules that hold between the cells of one row."""

from __future__ import annotations

from datetime import timedelta

from fleet.ingest.contract import Cells, RowRule


def not_before(later: str, earlier: str) -> RowRule:
    """Require that one cell is not less than another, where both are given."""

    def holds(cells: Cells) -> bool:
        return cells[later] is None or cells[earlier] is None or cells[later] >= cells[earlier]

    text = f"{later} must not be before {earlier}"
    return RowRule(text=text, columns=(later, earlier), blame=later, holds=holds)


def after(later: str, earlier: str) -> RowRule:
    """Require that one cell is greater than another, where both are given."""

    def holds(cells: Cells) -> bool:
        return cells[later] is None or cells[earlier] is None or cells[later] > cells[earlier]

    text = f"{later} must be after {earlier}"
    return RowRule(text=text, columns=(later, earlier), blame=later, holds=holds)


def not_above(lower: str, upper: str) -> RowRule:
    """Require that a lower bound does not exceed its upper one, where both are given."""

    def holds(cells: Cells) -> bool:
        return cells[lower] is None or cells[upper] is None or cells[lower] <= cells[upper]

    text = f"{lower} must not be above {upper}"
    return RowRule(text=text, columns=(lower, upper), blame=lower, holds=holds)


def within(later: str, earlier: str, *, hours: int) -> RowRule:
    """Require that two instants lie at most so many hours apart."""
    limit = timedelta(hours=hours)

    def holds(cells: Cells) -> bool:
        first, last = cells[earlier], cells[later]
        return first is None or last is None or bool(last - first <= limit)

    text = f"{later} must be within {hours} hours of {earlier}"
    return RowRule(text=text, columns=(later, earlier), blame=later, holds=holds)


def needed_when(column: str, other: str, values: tuple[object, ...]) -> tuple[RowRule, RowRule]:
    """Require a cell when another has one of some values, and refuse it otherwise."""
    words = " or ".join(_word(value) for value in values)

    def given(cells: Cells) -> bool:
        return cells[other] not in values or cells[column] is not None

    def blank(cells: Cells) -> bool:
        return cells[other] in values or cells[column] is None

    both = (column, other)
    return (
        RowRule(f"{column} is required when {other} is {words}", both, column, given),
        RowRule(f"{column} must be blank unless {other} is {words}", both, column, blank),
    )


def needed_with(column: str, other: str) -> RowRule:
    """Require a cell whenever another is given."""

    def holds(cells: Cells) -> bool:
        return cells[other] is None or cells[column] is not None

    text = f"{column} is required when {other} is given"
    return RowRule(text=text, columns=(column, other), blame=column, holds=holds)


def _word(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
