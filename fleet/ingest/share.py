"""Large input in shares, so that memory does not grow with it: each is checked by itself.

A small input is one share. Of a large one the register comes first, then the tables that can be
split, in shares of rows that belong together, and last what refers to those. Meanwhile the split
tables lie in temporary files.
"""

from __future__ import annotations

import marshal
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import BinaryIO
from zlib import crc32

from fleet.errors import Problem
from fleet.ingest.batch import Batch, check_drafts, read_batch, visits_named
from fleet.ingest.catalogue import ALL_TABLES, TABLES
from fleet.ingest.contract import TableContract
from fleet.ingest.draft import Block, Draft, Row, blocks_of, read_blocks
from fleet.ingest.file_log import FileLog
from fleet.ingest.known import Key, KnownCodes, KnownSource
from fleet.ingest.source import FoundTable, find_tables

SHARE_BYTES = 32 << 20
"""Bytes of split CSV text a share: some 50,000 visits, which take about half a gigabyte as rows."""

MOST_SHARES = 64
"""Each share has a file a table open while the input is split."""

_ROWS_A_BLOCK = 2000


def read_shares(
    path: Path, *, known: KnownSource, today: date, share_bytes: int = SHARE_BYTES
) -> Iterator[Batch]:
    """Read and check input files share by share.

    Parameters
    ----------
    path : Path
        A folder of CSV files, one CSV file named as its table, or one workbook (.xlsx).
    known : callable
        Asked once a share.
    today : date
        The day of loading; nothing that happened may lie after it.
    share_bytes : int, optional
        How much of the tables that can be split goes into a share.

    Yields
    ------
    Batch
        With problems where there are any. What a share refers to stands in it, in an earlier one,
        or in the records. Whoever writes shares takes all back when a later one has problems.
    """
    tables, problems = find_tables(path)
    splittable = sum(table.size for table in tables if table.contract.together)
    count = min(MOST_SHARES, -(-splittable // share_bytes))
    if count <= 1:
        yield read_batch(path, known=known, today=today)
        return
    shares = _Shares(tables, known=known, today=today, all_seen=not problems)
    for batch in shares.read(count):
        batch.problems[:0], problems = problems, []
        yield batch
        del batch  # or it would lie beside the next one


class _Shares:
    """The shares of one large input."""

    def __init__(
        self, tables: Iterable[FoundTable], *, known: KnownSource, today: date, all_seen: bool
    ) -> None:
        self._tables = {table.contract.name: table for table in tables}
        self._known = known
        self._today = today
        self._all_seen = all_seen
        self._beside: dict[str, Draft] = {}
        self._visits: set[Key] = set()

    def read(self, count: int) -> Iterator[Batch]:
        """Split what can be split, and check the shares one after the other."""
        split = [table for table in self._tables.values() if table.contract.together]
        late = [table for table in self._tables.values() if _is_late(table.contract)]
        apart = {table.contract.name for table in (*split, *late)}
        early = [table for name, table in self._tables.items() if name not in apart]
        with TemporaryDirectory(prefix="fleet-") as folder:
            for table in split:
                _spill(table, Path(folder), count)
            first = self._check(
                [self._draft(table, blocks_of(table.rows), table.log) for table in early]
            )
            first.problems += [problem for table in split for problem in table.log.problems]
            yield first
            for number in range(count):
                yield from self._share(split, Path(folder), number)
        yield self._check([self._whole(table) for table in late])

    def _share(self, split: Iterable[FoundTable], folder: Path, number: int) -> Iterator[Batch]:
        drafts = [
            self._draft(table, _spilt(folder, table, number), table.log.part()) for table in split
        ]
        yield self._check(drafts)
        self._note_visits(drafts)

    def _whole(self, table: FoundTable) -> Draft:
        return self._draft(table, blocks_of(table.rows), table.log)

    def _draft(self, table: FoundTable, blocks: Iterable[Block], log: FileLog) -> Draft:
        return read_blocks(table.contract, blocks, log, today=self._today)

    def _check(self, drafts: Sequence[Draft]) -> Batch:
        batch = check_drafts(
            drafts,
            known=self._known_to(drafts),
            all_seen=self._all_seen,
            beside=self._beside,
        )
        for draft in drafts:
            if draft.contract.together is None:
                self._beside[draft.contract.name] = _keys_of(draft)
        return batch

    def _known_to(self, drafts: Sequence[Draft]) -> KnownCodes:
        """Give what the records hold, with the visits of all shares for tables that came apart."""
        known = self._known(visits_named(drafts))
        if not any(_is_late(draft.contract) for draft in drafts):
            return known
        visits = {"visits": frozenset({*known.keys_of("visits"), *self._visits})}
        return replace(known, keys={**known.keys, **visits})

    def _note_visits(self, drafts: Iterable[Draft]) -> None:
        """Remember the visits for those who refer to them, without their rows."""
        for draft in drafts:
            if draft.contract.name != "visits":
                continue
            self._visits |= {key for key in draft.all_keys() if key}
            known = self._beside.setdefault("visits", Draft(draft.contract, draft.log))
            known.stray_keys |= draft.stray_keys


def _keys_of(draft: Draft) -> Draft:
    """Give a table with the cells that others may refer to."""
    rows = [
        Row(
            row.row_number,
            {name: row.values[name] for name in draft.contract.key if name in row.values},
        )
        for row in draft.rows
    ]
    return replace(draft, rows=rows)


def _is_late(contract: TableContract) -> bool:
    """Tell whether a table that is not split refers to one that is."""
    return contract.together is None and any(TABLES[name].together for name in contract.parents)


def _spill(table: FoundTable, folder: Path, count: int) -> None:
    """Deal the rows of a table to a file a share, by the cell that keeps rows together."""
    column = str(table.contract.together)
    with ExitStack() as stack:
        files: list[BinaryIO] = [
            stack.enter_context(_share_file(folder, table, number).open("wb"))
            for number in range(count)
        ]
        for numbers, texts in blocks_of(table.rows, _ROWS_A_BLOCK * count):
            shares: list[list[int]] = [[] for _ in files]
            blank = [""] * len(numbers)
            for place, cell in enumerate(texts.get(column, blank)):
                bare = cell.strip().encode("utf-8", "surrogatepass")
                shares[crc32(bare) % count].append(place)
            for file, places in zip(files, shares, strict=True):
                marshal.dump(_picked((numbers, texts), places), file)


def _picked(block: Block, places: Sequence[int]) -> Block:
    numbers, texts = block
    return (
        [numbers[place] for place in places],
        {name: [cells[place] for place in places] for name, cells in texts.items()},
    )


def _spilt(folder: Path, table: FoundTable, number: int) -> Iterator[Block]:
    with _share_file(folder, table, number).open("rb") as file:
        while file.peek(1):
            yield marshal.load(file)


def _share_file(folder: Path, table: FoundTable, number: int) -> Path:
    return folder / f"{table.contract.name}-{number}"


def problems_in_order(problems: Iterable[Problem], files: Mapping[str, str]) -> list[Problem]:
    """Bring the problems of all shares into the order in which one share would tell them.

    Parameters
    ----------
    problems : iterable of Problem
        Share by share.
    files : mapping
        Table name to what its file or sheet is called.

    Returns
    -------
    list of Problem
        Of files that hold no table first, then table by table, row by row.
    """
    places = {files.get(table.name, ""): place for place, table in enumerate(ALL_TABLES, 1)}
    return sorted(problems, key=lambda told: (places.get(told.file, 0), told.row or 0))
