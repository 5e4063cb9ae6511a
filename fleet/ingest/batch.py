"""Everything that one set of input files holds: typed rows, and every problem found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from fleet.errors import InputError, Problem
from fleet.ingest.catalogue import ALL_TABLES
from fleet.ingest.crossing import check_crossings
from fleet.ingest.draft import Draft, Row, read_draft
from fleet.ingest.file_log import FileLog
from fleet.ingest.known import KnownCodes, KnownSource
from fleet.ingest.link import check_keys, check_links
from fleet.ingest.source import find_tables


@dataclass(slots=True)
class Batch:
    """The rows of the input tables that were there, in an order in which references come first.

    ``files`` tells what each table's file or sheet is called. The rows may be used only after
    `require_clean`.
    """

    rows: dict[str, list[Row]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    files: dict[str, str] = field(default_factory=dict)

    def require_clean(self) -> None:
        """Go on only without problems.

        Raises
        ------
        InputError
            With every problem.
        """
        if self.problems:
            raise InputError(self.problems)


def read_batch(path: Path, *, known: KnownSource, today: date) -> Batch:
    """Read and check input files as one whole.

    Parameters
    ----------
    path : Path
        A folder of CSV files, one CSV file named as its table, or one workbook (.xlsx).
    known : callable
        Gives what the records hold already.
    today : date
        The day of loading; nothing that happened may lie after it.

    Returns
    -------
    Batch
        Rows by table, and every problem: of files, cells, rows, references, and between rows.
        A file that is missing or cannot be read is a problem too; nothing is raised.
    """
    tables, problems = find_tables(path)
    drafts = [read_draft(table.contract, table.rows, table.log, today=today) for table in tables]
    batch = check_drafts(drafts, known=known(visits_named(drafts)), all_seen=not problems)
    batch.problems[:0] = problems
    return batch


def visits_named(drafts: Iterable[Draft]) -> frozenset[str]:
    """Give the reference of every visit that some table holds or refers to."""
    return frozenset(
        str(value)
        for draft in drafts
        for column in draft.contract.columns
        if column.refers_to == "visits" or column.name == "visit_ref"
        for row in draft.rows
        if (value := row.values.get(column.name)) is not None
    )


def check_drafts(
    drafts: Iterable[Draft],
    *,
    known: KnownCodes,
    all_seen: bool = True,
    beside: Mapping[str, Draft] | None = None,
) -> Batch:
    """Check tables against each other and the records, wherever their rows came from.

    Parameters
    ----------
    drafts : iterable of Draft
        At most one a table.
    known : KnownCodes
        What the records hold already.
    all_seen : bool
        Whether no table was passed over; otherwise what is missing may stand in that one, and
        references to tables that are not there are not blamed.
    beside : mapping, optional
        Tables by name that are checked elsewhere and may be referred to.

    Returns
    -------
    Batch
        With the problems of every draft, each table's in order of its rows.
    """
    given = {draft.contract.name: draft for draft in drafts}
    ordered = {table.name: given[table.name] for table in ALL_TABLES if table.name in given}
    searched = {**({} if all_seen else _unseen_drafts()), **(beside or {}), **ordered}
    for draft in ordered.values():
        check_keys(draft)
        check_links(draft, searched, known)
    check_crossings(ordered, searched, known)
    batch = Batch()
    for name, draft in ordered.items():
        batch.rows[name] = draft.rows
        batch.files[name] = draft.log.file
        batch.problems += sorted(draft.log.problems, key=lambda problem: problem.row or 0)
    return batch


def _unseen_drafts() -> dict[str, Draft]:
    """Give every table as one of which nothing could be seen."""
    drafts = {table.name: Draft(table, FileLog(table.name)) for table in ALL_TABLES}
    for draft in drafts.values():
        draft.log.complete = False
    return drafts
