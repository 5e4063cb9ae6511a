"""The failures that a user can expect, each with what, where and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SHOWN_PROBLEMS = 20


class FleetError(Exception):
    """An expected failure; the command line prints its message and exits with its code."""

    exit_code = 1


class FleetWarning(UserWarning):
    """Doubtful data that does not stop the work; the message gives a count."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with one cell of an input file.

    ``row`` counts as a person sees it: the header is row 1. ``row`` and ``column`` are None
    where the whole file or the whole row is meant.
    """

    file: str
    row: int | None
    column: str | None
    value: str | None
    expected: str

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f" row {self.row}"
        if self.column is not None:
            place += f", column {self.column}"
        found = "" if self.value is None else f"{self.value!r} found; "
        return f"{place}: {found}{self.expected}"


class InputError(FleetError):
    """Input files hold problems; all of them are kept, the first 20 are shown."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        lines = [str(problem) for problem in self.problems[:SHOWN_PROBLEMS]]
        hidden = len(self.problems) - len(lines)
        if hidden > 0:
            lines.append(f"... and {hidden} more.")
        count = len(self.problems)
        head = f"{count} problem{'' if count == 1 else 's'}; nothing was written."
        super().__init__("\n".join([head, *lines]))


class NotFoundError(FleetError):
    """A code, serial or reference that the records do not hold."""


class ConflictError(FleetError):
    """The records already hold something that stands against the wish."""


class TooFewPointsError(FleetError):
    """A statistic was asked of fewer values than it needs."""


class InfeasibleError(FleetError):
    """No plan satisfies the constraints; the message names them and the sites."""

    exit_code = 4


class QuestionError(FleetError):
    """A free question that the database does not take: no single SELECT, wrong, or too long."""


class SchemaVersionError(FleetError):
    """The database is missing or not at the newest revision."""

    exit_code = 5
