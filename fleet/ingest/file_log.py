"""The problems of one file or sheet, collected while it is read."""

from __future__ import annotations

from fleet.errors import Problem
from fleet.ingest.cell import shorten


class FileLog:
    """Collects the problems of one file or sheet.

    Parameters
    ----------
    file : str
        How a person calls the file or sheet.

    Attributes
    ----------
    problems : list of Problem
        In the order found.
    complete : bool
        Whether every row could be seen; otherwise a code may be missing only because its row
        could not be read, and nobody should be told that it does not exist.
    long_row : int or None
        First row with cells of several lines; below it a row is not the line of a text editor,
        and each problem says so.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.complete = True
        self.long_row: int | None = None

    def add(
        self, expected: str, *, row: int | None = None, column: str | None = None, value: str = ""
    ) -> None:
        """Note a problem; an empty value is not shown."""
        shown = shorten(value) if value else None
        if row is not None and self.long_row is not None and row > self.long_row:
            expected += f" (rows are counted as records: row {self.long_row} has several lines)"
        self.problems.append(Problem(self.file, row, column, shown, expected))

    def part(self) -> FileLog:
        """Give a log for some of the rows, with what is known of the file and no problem yet."""
        log = FileLog(self.file)
        log.complete, log.long_row = self.complete, self.long_row
        return log

    def add_loss(self, expected: str, *, row: int | None = None, value: str = "") -> None:
        """Note a problem that hides rows or columns from the reader."""
        self.complete = False
        self.add(expected, row=row, value=value)
