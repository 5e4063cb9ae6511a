"""The column contracts in words: Markdown for people, empty files to fill in."""

from __future__ import annotations

from fleet.ingest.catalogue import ALL_TABLES
from fleet.ingest.contract import Column, Kind, TableContract
from fleet.ingest.parse_number import describe_range

_INTRODUCTION = """\
A folder of CSV files (UTF-8, commas, a header row; RFC 4180) or one workbook (.xlsx) with a sheet
a table. Any table may be missing; a table that is there has all its columns, in any order. The
columns marked with * are the key: a row with a known key amends what is known. An empty cell
means unknown or none, and is allowed only where the column says "may be empty". Texts may be in
any script. A code is up to 40 of the letters A-Z a-z, digits and . _ / - with a letter or digit
first; it is text, so leading zeros stay."""


def describe_contracts() -> str:
    """Describe every input table as Markdown.

    Returns
    -------
    str
        A section for each table, in the order in which references come first: its meaning, its
        columns with form, meaning and unit, and the rules that its rows keep.
    """
    return "\n\n".join([_INTRODUCTION, *(_section(table) for table in ALL_TABLES)]) + "\n"


def empty_tables() -> dict[str, str]:
    """Give an empty CSV file for each input table.

    Returns
    -------
    dict
        File name to text: the header row alone, ended by LF.
    """
    return {f"{table.name}.csv": ",".join(table.column_names) + "\n" for table in ALL_TABLES}


def _section(table: TableContract) -> str:
    head = [f"### {table.name}", table.meaning]
    rows = ["| column | form | meaning |", "|---|---|---|"]
    rows += [_row(column, table) for column in table.columns]
    rules = [f"- {rule.text}" for rule in table.rules]
    rules += [f"- {note}" for note in table.notes]
    rules += [_link_words(link.columns, link.table) for link in table.links]
    return "\n\n".join([*head, "\n".join(rows), *(["\n".join(rules)] if rules else [])])


def _row(column: Column, table: TableContract) -> str:
    star = "*" if column.name in table.key else ""
    empty = "" if column.required else "; may be empty"
    return f"| `{column.name}`{star} | {_form(column)}{empty} | {column.meaning} |"


def _form(column: Column) -> str:
    parts = [column.kind.value]
    if column.choices:
        parts = [
            f"{'words' if column.kind is Kind.WORDS else 'one'} of {', '.join(column.choices)}"
        ]
    limits = describe_range(column)
    if limits:
        parts.append(limits)
    if column.kind in (Kind.DAY, Kind.INSTANT):
        parts.append(column.horizon.value)
    if column.refers_to:
        parts[0] += f" of {column.refers_to}"
    return ", ".join(parts)


def _link_words(columns: tuple[str, ...], table: str) -> str:
    return f"- {' and '.join(columns)} together must stand in {table}"
