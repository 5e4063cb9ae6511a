"""Load sites, gauges, people, policy and visits."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    as_of_option,
    dry_run_option,
    reason_option,
    table_options,
    today_option,
)
from fleet.cli.output import note, put_frame


@click.group()
def command() -> None:
    """Load sites, gauges, people, policy and visits.

    \b
    Example:
      fleet network template my_network
      fleet network load my_network --dry-run
    """


@command.command()
@click.argument("path", type=click.Path(exists=True, path_type=Path))
@dry_run_option
@reason_option
@as_of_option
@table_options
@click.pass_context
def load(
    ctx: click.Context,
    path: Path,
    dry_run: bool,
    reason: str,
    as_of: date | None,
    form: str | None,
    output: Path,
) -> None:
    """Load PATH: a folder of CSV files, one CSV file, or a workbook.

    Everything is checked first; all problems are told at once and nothing is written unless all
    is well. Rows that differ from the records are told old -> new and need --reason. The same
    load twice changes nothing. Visits after --as-of (default today) are refused. The table gives
    the rows of each input table: read, added, changed, unchanged.

    \b
    Example:
      fleet network load sample_network --as-of 2026-11-20 --dry-run
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.load_network import load_network
    from fleet.services.load_report import count_frame, load_sentences
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    result = load_network(
        open_database(settings),
        path,
        Wish(settings.actor, "network load", reason, dry_run),
        clock=utc_now,
        today=today_option(as_of),
    )
    put_frame(count_frame(result), form, output, title="load")
    for sentence in load_sentences(result):
        note(sentence)


@command.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
def template(folder: Path) -> None:
    """Write empty input files into FOLDER.

    Header rows only; existing files are never touched.

    \b
    Example:
      fleet network template my_network
    """
    from fleet.services.input_template import write_templates

    files = write_templates(folder)
    note(f"{len(files)} files written to {folder}. What each column means: fleet network columns")


@command.command()
def columns() -> None:
    """Print what every column of every input table means, as Markdown.

    \b
    Example:
      fleet network columns
    """
    from fleet.ingest.describe import describe_contracts

    click.echo(describe_contracts(), nl=False)
