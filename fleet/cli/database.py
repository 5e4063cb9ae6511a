"""Create the database, bring it forward, ask it freely, check and back it up."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import FOUND_EXIT, dry_run_option, table_options
from fleet.cli.output import Reading, note, put_frame

_KEPT_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.group()
def command() -> None:
    """Create the database, bring it forward, ask it freely, check and back it up.

    \b
    Example:
      fleet database create
      fleet database ask "SELECT serial, site_code FROM gauge_now"
      fleet database backup network.backup
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


@command.command()
@table_options
@click.pass_context
def check(ctx: click.Context, form: str | None, output: Path) -> None:
    """Check the database as a whole.

    The file itself, tables and indexes, every reference, that one version of each thing is known
    at a time, ledger and guards (as `ledger verify`), and what follows from other records, derived
    anew. Leaves with 0 when all is well and with 3 when something is not; nothing is written.

    \b
    Example:
      fleet database check
    """
    from fleet.services.check import CHECKS, DERIVED, check_database, check_frame
    from fleet.services.database import open_database

    faults = check_database(open_database(settings_of(ctx)))
    put_frame(check_frame(faults), form, output, title="check")
    if faults:
        note(f"{len(faults)} fault(s) found.")
        ctx.exit(FOUND_EXIT)
    note(f"All is well: {', '.join([*CHECKS, *DERIVED])}.")


@command.command()
@click.pass_context
def rebuild(ctx: click.Context) -> None:
    """Derive the kept state of every gauge anew.

    Not needed in daily work: each command that writes renews the states of the gauges that it
    touches, and one that is missing is derived when it is asked for. Run it when `database check`
    says that states differ. Others can read meanwhile, and write when it is done. It is no entry in
    the ledger, for states follow from the records.

    \b
    Example:
      fleet database rebuild
    """
    from fleet.cli.progress import progress
    from fleet.services.database import open_database
    from fleet.services.state_check import rebuild as derive_anew

    with progress("Deriving states") as told:
        kept = derive_anew(open_database(settings_of(ctx)), told=told)
    if kept:
        note(f"{kept} states derived anew.")
    else:
        note("No states are kept: no rates were learned yet. See: fleet gauge learn")


overwrite_option = click.option(
    "--overwrite", is_flag=True, help="Replace what stands there; otherwise it is left as it is."
)


@command.command()
@click.argument("path", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path))
@overwrite_option
@dry_run_option
@click.pass_context
def backup(ctx: click.Context, path: Path, overwrite: bool, dry_run: bool) -> None:
    """Write one moment of the database into FILE, while others go on working.

    The copy is verified against its ledger before it stands there. SQLite gives an SQLite file,
    PostgreSQL a dump by its own pg_dump. Keep it on another machine, with a checkpoint
    (`fleet ledger checkpoint`) in another hand.

    \b
    Example:
      fleet database backup network-2026-11-20.backup
    """
    from fleet.services.backup import back_up

    made = back_up(settings_of(ctx), path, overwrite=overwrite, dry_run=dry_run)
    found = made.verification
    done = "Dry run, nothing is left: " if made.dry_run else ""
    note(f"{done}{made.source} copied to {made.path}, {found.entries} entries.")
    if found.faults:
        for fault in found.faults:
            click.echo(str(fault))
        note(f"{len(found.faults)} fault(s) in the copy, as in the database itself.")
        ctx.exit(FOUND_EXIT)
    note(f"Verified, everything fits. Last hash: {found.last_hash or 'none yet'}")


@command.command()
@click.argument(
    "path", metavar="FILE", type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option(
    "--against",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A checkpoint of the database, taken when the backup was made or before.",
)
@overwrite_option
@dry_run_option
@click.pass_context
def restore(
    ctx: click.Context, path: Path, against: Path | None, overwrite: bool, dry_run: bool
) -> None:
    """Bring the backup FILE back into the place that --db names.

    A place without records; --overwrite replaces records that are there, all or nothing. The
    backup is verified against its ledger; an SQLite backup with faults is not brought back.

    \b
    Example:
      fleet --db restored.sqlite database restore network-2026-11-20.backup
    """
    from fleet.services.checkpoint_file import read_checkpoint
    from fleet.services.restore import restore as bring_back

    noted = None if against is None else read_checkpoint(against)
    done = bring_back(settings_of(ctx), path, overwrite=overwrite, dry_run=dry_run, against=noted)
    found = done.verification
    if found is None:
        note(f"Not verified yet, revision {done.revision}: fleet database upgrade, then check.")
    elif found.faults:
        for fault in found.faults:
            click.echo(str(fault))
        note(f"{len(found.faults)} fault(s) in the backup.")
    else:
        note(f"Verified: {found.entries} entries, last hash {found.last_hash or 'none yet'}.")
    note(f"Restored to {done.place}" if done.written else f"{done.place} was left as it is.")
    if found is not None and found.faults:
        ctx.exit(FOUND_EXIT)


@command.command()
@click.option("--auditor", default="fleet_auditor", show_default=True, help="Role that may read.")
@click.option(
    "--coordinator",
    default="fleet_coordinator",
    show_default=True,
    help="Role that may also add to the records.",
)
@click.option("--run", is_flag=True, help="Run the statements; otherwise they are only printed.")
@click.pass_context
def roles(ctx: click.Context, auditor: str, coordinator: str, run: bool) -> None:
    """Print, or run, the SQL that grants the two roles on a PostgreSQL database.

    Neither role may change or delete what is kept, nor drop a guard: only the owner of the tables
    could, who is needed for `fleet database upgrade` alone. Run it again after each upgrade. Then
    let people in: CREATE ROLE name LOGIN; GRANT fleet_auditor TO name;

    \b
    Example:
      fleet --db postgresql://owner@host/network database roles > roles.sql
    """
    from fleet.services.database_role import Roles, grant_roles, role_statements

    named = Roles(auditor, coordinator)
    if run:
        count = grant_roles(settings_of(ctx), named)
        note(f"{count} statements run: {auditor} may read, {coordinator} may add.")
        return
    for statement in role_statements(named):
        click.echo(f"{statement};")
