"""Read the journal of changes and verify its chain."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import FOUND_EXIT, Day, table_options
from fleet.cli.output import note, put_frame


@click.group()
def command() -> None:
    """Read the journal of changes and verify its chain.

    \b
    Example:
      fleet ledger list --since 2026-11-01
      fleet ledger verify
    """


@command.command("list")
@click.option("--since", type=Day(), help="Only entries from this day (UTC) on.")
@table_options
@click.pass_context
def list_entries(ctx: click.Context, since: date | None, form: str | None, output: Path) -> None:
    """List the entries: who, when, what, why, and how many rows.

    \b
    Example:
      fleet ledger list --since 2026-11-01
    """
    from fleet.services.database import open_database
    from fleet.services.ledger import ledger_frame

    frame = ledger_frame(open_database(settings_of(ctx)), since=since)
    put_frame(frame, form, output, title="ledger")


@command.command("show")
@click.argument("number", type=click.IntRange(min=1))
@table_options
@click.pass_context
def show_entry(ctx: click.Context, number: int, form: str | None, output: Path) -> None:
    """Show one entry with every changed field, old and new.

    \b
    Example:
      fleet ledger show 2
    """
    from fleet.services.database import open_database
    from fleet.services.ledger import read_entry

    entry, frame = read_entry(open_database(settings_of(ctx)), number)
    note(f"Entry {entry.entry_id}: {entry.action} by {entry.actor} at {entry.at.isoformat()}")
    note(f"Reason: {entry.reason or 'none given'}")
    note(f"Hash: {entry.hash}")
    put_frame(frame, form, output, title=f"entry {number}")


key_option = click.option(
    "--key-file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Secret of at least 16 bytes, kept by the auditor: seals the checkpoint.",
)


@command.command()
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="The file to write; keep it outside the database's reach.",
)
@key_option
@click.pass_context
def checkpoint(ctx: click.Context, output: Path, key_file: Path | None) -> None:
    """Note how far the ledger goes, in a small file.

    Number and hash of the newest entry, its instant, the rows of each table, and a digest of
    all this. Held against it, `ledger verify --against` shows a ledger whose end was cut off or
    that was rewritten as a whole, which by itself would fit.

    \b
    Example:
      fleet ledger checkpoint --output 2026-11-20.checkpoint
    """
    from fleet.clock import utc_now
    from fleet.services.checkpoint import take_checkpoint
    from fleet.services.checkpoint_file import read_key, write_checkpoint
    from fleet.services.database import open_database

    key = None if key_file is None else read_key(key_file)
    taken = take_checkpoint(open_database(settings_of(ctx)), clock=utc_now)
    write_checkpoint(taken, output, key=key)
    note(f"{output}: {taken.head} entries, last hash {taken.hash}")


@command.command("verify")
@click.option(
    "--noted-hash",
    metavar="HASH",
    help="Hash of an entry noted outside the database; it must still be in the chain.",
)
@click.option(
    "--against",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A checkpoint of this database, taken some time ago.",
)
@key_option
@table_options
@click.pass_context
def verify(
    ctx: click.Context,
    noted_hash: str | None,
    against: Path | None,
    key_file: Path | None,
    form: str | None,
    output: Path,
) -> None:
    """Hold every row against the ledger.

    Every hash is worked out anew, every row compared with what the ledger says was written, and
    the guards that hold the past looked for. Leaves with 0 when everything fits and with 3 when
    something does not; the faults are named, the first entry that does not fit first. A ledger
    that was rewritten as a whole, or cut off at its end together with its rows, shows only
    against a checkpoint or a hash that was noted elsewhere.

    \b
    Example:
      fleet ledger verify --against 2026-11-20.checkpoint
    """
    from fleet.services.checkpoint_file import read_checkpoint, read_key
    from fleet.services.database import open_database
    from fleet.services.verify import fault_frame, verify_records

    if key_file is not None and against is None:
        raise click.UsageError("--key-file goes with --against FILE.")
    key = None if key_file is None else read_key(key_file)
    noted = None if against is None else read_checkpoint(against, key=key)
    sessions = open_database(settings_of(ctx))
    found = verify_records(sessions, noted_hash=noted_hash, against=noted)
    put_frame(fault_frame(found), form, output, title="faults")
    if found.faults:
        note(f"{len(found.faults)} fault(s) in a ledger of {found.entries} entries.")
        ctx.exit(FOUND_EXIT)
    held = "" if against is None else f" The checkpoint {against.name} fits."
    last = found.last_hash or "none yet"
    note(f"{found.entries} entries, everything fits.{held} Last hash: {last}")
