"""CSV files after RFC 4180 in UTF-8: refused with the likely cause, or read row by row."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from fleet.domain.csv_text import GUARD, unguarded
from fleet.ingest.contract import TableContract
from fleet.ingest.file_log import FileLog
from fleet.ingest.header import Header, read_header

if TYPE_CHECKING:
    from _csv import Reader

RawRow = tuple[int, dict[str, str]]
"""Row number as a spreadsheet counts (header = 1), and the cells by column name."""

_NEWLINE = b"\n"
_CHUNK = 1 << 20
_LINE_LIMIT = 4 << 20
"""Bytes that one line may have: a longer one is no table, and would fill the memory."""

_AS_UTF8 = "save it as 'CSV UTF-8 (comma separated)'"
_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def read_csv(path: Path, contract: TableContract, log: FileLog) -> Iterator[RawRow]:
    """Read the rows of a CSV file.

    Parameters
    ----------
    path : Path
        File that exists.
    contract : TableContract
        The table that it should hold.
    log : FileLog
        Takes every problem with encoding, header, quotes and number of cells.

    Yields
    ------
    tuple of int and dict
        Rows with as many cells as the header; rows without any content are passed over. The quote
        that exports put before what a spreadsheet would run as a formula is taken off again.
    """
    try:
        with path.open("rb") as stream:
            readable = _check_bytes(stream, log)
        if readable:
            with path.open(encoding="utf-8-sig", newline="") as lines:
                yield from _read_records(csv.reader(lines, strict=True), contract, log)
    except OSError as error:
        log.add_loss(f"the file cannot be read: {error.strerror}")


def _read_records(reader: Reader, contract: TableContract, log: FileLog) -> Iterator[RawRow]:
    records = _records(reader, log)
    first = next(records, None)
    if first is None and not log.complete:
        return
    header = read_header(first[1] if first else [], contract, log)
    if header is None:
        return
    names = [name for name in header if name is not None]
    width, whole = len(header), len(names) == len(header)
    for row, cells in records:
        if not any(cells):
            continue
        if len(cells) != width:
            _tell_width(cells, header, row=row, log=log)
            continue
        plain = cells if GUARD not in "".join(cells) else list(map(unguarded, cells))
        if not whole:
            plain = [cell for name, cell in zip(header, plain, strict=True) if name is not None]
        yield row, dict(zip(names, plain, strict=True))


def _records(reader: Reader, log: FileLog) -> Iterator[tuple[int, list[str]]]:
    """Give the records with their numbers, and note the first one with several lines."""
    row, lines = 0, 0
    try:
        for row, cells in enumerate(reader, start=1):
            if log.long_row is None and reader.line_num - lines > 1:
                log.long_row = row
            lines = reader.line_num
            yield row, cells
    except csv.Error as error:
        log.add_loss(f"{_quote_fault(str(error))}; nothing below it was read", row=row + 1)


def _quote_fault(message: str) -> str:
    if "unexpected end of data" in message or "field limit" in message:
        return "a quotation mark is opened and never closed"
    return 'a cell goes on after its closing quotation mark; write "" for one inside a cell'


def _tell_width(cells: list[str], header: Header, *, row: int, log: FileLog) -> None:
    hint = "; a comma inside a cell needs quotation marks" if len(cells) > len(header) else ""
    log.add_loss(f"{len(cells)} cells where the header has {len(header)}{hint}", row=row)


def _check_bytes(stream: BinaryIO, log: FileLog) -> bool:
    """Look through the whole file for what makes it unreadable; tell the first such thing."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    offset, line, line_bytes = 0, 1, 0
    while chunk := stream.read(_CHUNK):
        fault = _bom_fault(chunk) if offset == 0 else None
        if fault is None:
            fault = _chunk_fault(chunk, decoder, offset=offset, line=line)
        line += chunk.count(_NEWLINE)
        line_bytes = (
            len(chunk) - chunk.rfind(_NEWLINE) + (line_bytes if _NEWLINE not in chunk else 0)
        )
        if fault is None and line_bytes > _LINE_LIMIT:
            fault = f"line {line} is longer than {_LINE_LIMIT} bytes; this is no table"
        if fault is not None:
            log.add_loss(fault)
            return False
        offset += len(chunk)
    return _check_end(decoder, offset, log)


def _bom_fault(chunk: bytes) -> str | None:
    return f"saved as UTF-16; {_AS_UTF8}" if chunk.startswith(_UTF16_MARKS) else None


def _chunk_fault(
    chunk: bytes, decoder: codecs.IncrementalDecoder, *, offset: int, line: int
) -> str | None:
    """Tell the first byte that is no UTF-8 text; it may stand in the chunk before."""
    waiting = len(decoder.getstate()[0])
    zero, broken = chunk.find(b"\0"), None
    try:
        decoder.decode(chunk)
    except UnicodeDecodeError as error:
        broken = error.start - waiting
    if broken is not None and not 0 <= zero < broken:
        where = _place(chunk, broken, offset=offset, line=line)
        return f"not UTF-8 at {where}: perhaps saved as Windows-1252; {_AS_UTF8}"
    if zero < 0:
        return None
    where = _place(chunk, zero, offset=offset, line=line)
    return f"a zero byte at {where}: perhaps saved as UTF-16, or no text at all; {_AS_UTF8}"


def _place(chunk: bytes, at: int, *, offset: int, line: int) -> str:
    return f"byte {offset + at} (line {line + chunk[: max(at, 0)].count(_NEWLINE)})"


def _check_end(decoder: codecs.IncrementalDecoder, size: int, log: FileLog) -> bool:
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        log.add_loss(f"not UTF-8 at byte {size}: the file ends inside a character; {_AS_UTF8}")
        return False
    return True
