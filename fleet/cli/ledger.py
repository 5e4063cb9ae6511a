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


@command.command("verify")
@click.option(
    "--noted-hash",
    metavar="HASH",
    help="Hash of an entry noted outside the database; it must still be in the chain.",
)
@table_options
@click.pass_context
def verify(ctx: click.Context, noted_hash: str | None, form: str | None, output: Path) -> None:
    """Hold every row against the ledger.

    Every hash is worked out anew, and every row compared with what the ledger says was written.
    Leaves with 0 when everything fits and with 3 when something does not; the faults are named,
    the first entry that does not fit first. A ledger that was rewritten as a whole, or cut off at
    its end together with its rows, shows only against a hash that was noted elsewhere.

    \b
    Example:
      fleet ledger verify
    """
    from fleet.services.database import open_database
    from fleet.services.verify import fault_frame, verify_records

    found = verify_records(open_database(settings_of(ctx)), noted_hash=noted_hash)
    put_frame(fault_frame(found), form, output, title="faults")
    if found.faults:
        note(f"{len(found.faults)} fault(s) in a ledger of {found.entries} entries.")
        ctx.exit(FOUND_EXIT)
    note(f"{found.entries} entries, everything fits. Last hash: {found.last_hash or 'none yet'}")
