"""Keys that stand twice, and references to rows that nobody has."""

from __future__ import annotations

from collections.abc import Mapping

from fleet.ingest.contract import Column, Link
from fleet.ingest.draft import Draft
from fleet.ingest.known import Key, KnownCodes
from fleet.ingest.nearest import Suggester

Drafts = Mapping[str, Draft]
"""The tables of one batch by name."""


def check_keys(draft: Draft) -> None:
    """Complain of every key that an earlier row has."""
    keys = draft.all_keys()
    if len(set(keys)) == len(keys):
        return
    first_rows: dict[Key, int] = {}
    for row, key in zip(draft.rows, keys, strict=True):
        if key is None:
            continue
        first = first_rows.setdefault(key, row.row_number)
        if first != row.row_number:
            draft.log.add(
                f"row {first} has the same; each may stand there once",
                row=row.row_number,
                column=", ".join(draft.contract.key),
                value=_shown(key),
            )


def check_links(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    """Complain of every reference that neither the batch nor the records can answer.

    A table of which some rows could not be seen is not searched: its rows may be there.
    """
    sure = {row.row_number for row in draft.rows}
    for column in draft.contract.columns:
        if column.refers_to is not None and _is_whole(column.refers_to, drafts):
            sure -= _check_codes(draft, column, drafts, known)
    for link in draft.contract.links:
        if _is_whole(link.table, drafts):
            _check_link(draft, link, sure, _linked_keys(link, drafts, known))


def known_codes_of(table: str, drafts: Drafts, known: KnownCodes) -> set[str]:
    """Give every code of a table with a single key, of the batch and of the records."""
    codes = {str(key[0]) for key in known.keys_of(table)}
    draft = drafts.get(table)
    if draft is not None:
        codes |= {str(key[0]) for key in draft.all_keys() if key}
    return codes


def _is_whole(table: str, drafts: Drafts) -> bool:
    return table not in drafts or drafts[table].log.complete


def _check_codes(draft: Draft, column: Column, drafts: Drafts, known: KnownCodes) -> set[int]:
    """Check one column; give the numbers of the rows with an unknown code."""
    table = str(column.refers_to)
    codes = known_codes_of(table, drafts, known)
    accepted: set[str] = codes | (drafts[table].stray_keys if table in drafts else set())
    unknown: set[int] = set()
    cells = {row.values.get(column.name) for row in draft.rows}
    named = {code for cell in cells for code in (cell if isinstance(cell, tuple) else (cell,))}
    if not named - accepted - {None}:
        return unknown
    suggest = Suggester(codes)
    for row in draft.rows:
        value = row.values.get(column.name)
        for code in value if isinstance(value, tuple) else (value,):
            if code is not None and code not in accepted:
                unknown.add(row.row_number)
                draft.log.add(
                    f"neither the files nor the records have it in {table}{suggest(code)}",
                    row=row.row_number,
                    column=column.name,
                    value=code,
                )
    return unknown


def _check_link(draft: Draft, link: Link, sure: set[int], keys: set[Key]) -> None:
    named = _linked_cells(draft, link)
    if not set(named) - keys - {None}:
        return
    for row, wanted in zip(draft.rows, named, strict=True):
        if wanted is not None and wanted not in keys and row.row_number in sure:
            names = ", ".join(link.columns)
            draft.log.add(link.text, row=row.row_number, column=names, value=_shown(wanted))


def _linked_cells(draft: Draft, link: Link) -> list[Key | None]:
    """Give the linked columns of every row, None where one of its cells is empty or unread."""
    columns = [[row.values.get(name) for row in draft.rows] for name in link.columns]
    return [None if None in cells else cells for cells in zip(*columns, strict=True)]


def _linked_keys(link: Link, drafts: Drafts, known: KnownCodes) -> set[Key]:
    """Give the linked columns of every row of the other table; they are the first of its key."""
    width = len(link.columns)
    keys = {key[:width] for key in known.keys_of(link.table)}
    draft = drafts.get(link.table)
    if draft is not None:
        keys |= {key for key in _linked_cells(draft, link) if key is not None}
    return keys


def _shown(key: Key) -> str:
    return " ".join(str(part) for part in key if part is not None)
