"""Create the database, bring it forward, and ask it freely."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import table_options
from fleet.cli.output import Reading, note, put_frame


@click.group()
def command() -> None:
    """Create the database, bring it forward, and ask it freely.

    \b
    Example:
      fleet database create
      fleet database ask "SELECT serial, site_code FROM gauge_now"
    """


@command.command()
@click.pass_context
def create(ctx: click.Context) -> None:
    """Create an empty database.

    One that is there already is left as it is.

    \b
    Example:
      fleet --db network.sqlite database create
    """
    from fleet.services.database import create_database

    note(f"Created {create_database(settings_of(ctx))}")


@command.command()
@click.pass_context
def upgrade(ctx: click.Context) -> None:
    """Bring the database to the revision that is needed.

    Rows are kept.

    \b
    Example:
      fleet database upgrade
    """
    from fleet.services.database import upgrade_database

    before, after = upgrade_database(settings_of(ctx))
    if before == after:
        note(f"The database is at revision {after} already.")
    else:
        note(f"Brought from revision {before or 'none'} to {after}.")


@command.command()
@click.pass_context
def status(ctx: click.Context) -> None:
    """Tell where the database is and how far it goes.

    Place, revision, number of ledger entries, and the hash of the newest.

    \b
    Example:
      fleet database status
    """
    from fleet.services.database import database_status

    found = database_status(settings_of(ctx))
    click.echo(f"place: {found.place}")
    click.echo(f"revision: {found.revision}")
    click.echo(f"ledger entries: {found.entries}")
    click.echo(f"last hash: {found.last_hash or 'none yet'}")


@command.command("ask")
@click.argument("sql", metavar="SELECT")
@click.option(
    "--time-limit",
    type=click.FloatRange(0.1, 3600),
    default=10.0,
    show_default=True,
    metavar="SECONDS",
    help="The question is stopped after so long.",
)
@click.option(
    "--rows",
    type=click.IntRange(1, 5_000_000),
    default=10_000,
    show_default=True,
    help="Most rows that are given; a warning tells when there are more.",
)
@table_options
@click.pass_context
def ask_select(
    ctx: click.Context, sql: str, time_limit: float, rows: int, form: str | None, output: Path
) -> None:
    """Put one SELECT to the records; - reads it from the standard input.

    The database is opened for reading only: nothing can be changed, attached or set. The views
    are listed by: fleet database views. Those named ..._now hold what is known now; those named
    ..._known every version. Instants are in UTC, with a blank between day and time.

    \b
    Example:
      fleet database ask "SELECT serial, error_percent FROM phase_error_now ORDER BY 2 LIMIT 10"
      fleet database ask "SELECT name FROM site_known WHERE known_from <= '2026-03-01 00:00'
        AND (known_until IS NULL OR known_until > '2026-03-01 00:00')"
    """
    from fleet.services.free_question import ask_freely
    from fleet.store.free_query import Limits

    words = sys.stdin.read() if sql == "-" else sql
    frame = ask_freely(settings_of(ctx), words, Limits(time_limit, rows))
    put_frame(frame, form, output, title="answer")


@command.command("views")
@click.argument("name", metavar="[VIEW]", required=False)
@table_options
def list_views(name: str | None, form: str | None, output: Path) -> None:
    """List the views for free questions, each column with its meaning.

    \b
    Example:
      fleet database views phase_error_now
    """
    from fleet.services.free_question import view_frame

    put_frame(view_frame(name), form, output, title="views", reading=Reading(wrap=60))
