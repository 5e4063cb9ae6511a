"""Create the database and bring it forward."""

from __future__ import annotations

import click

from fleet.cli.main import settings_of
from fleet.cli.output import note


@click.group()
def command() -> None:
    """Create the database and bring it forward.

    \b
    Example:
      fleet database create
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
