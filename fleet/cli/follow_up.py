"""List and close defects that wait to be mended."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    Day,
    as_of_option,
    depot_option,
    dry_run_option,
    known_on_option,
    reason_option,
    table_options,
    today_option,
)
from fleet.cli.output import put_frame


@click.group(name="follow-up")
def command() -> None:
    """List and close defects that wait to be mended.

    \b
    Example:
      fleet follow-up list --depot north
      fleet follow-up close F-017 --visit V-2025-112 --reason "leg bolt tightened"
    """


@command.command(name="list")
@click.option(
    "--open/--all", "only_open", default=True, help="Only what still waits (default), or all."
)
@as_of_option
@known_on_option
@depot_option
@table_options
@click.pass_context
def list_(
    ctx: click.Context,
    only_open: bool,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    form: str | None,
    output: Path,
) -> None:
    """List follow-ups, urgent first, then by the day due.

    \b
    Example:
      fleet follow-up list --all --format json
    """
    from fleet.services.database import open_database
    from fleet.services.follow_up import list_follow_ups

    frame = list_follow_ups(
        open_database(settings_of(ctx)),
        as_of=today_option(as_of),
        known_on=known_on,
        depot_code=depot,
        closed_too=not only_open,
    )
    put_frame(frame, form, output, title="follow-ups")


@command.command()
@click.argument("follow_up_ref", metavar="REF")
@click.option("--visit", "visit_ref", metavar="REF", help="The visit that mended it.")
@click.option("--on", type=Day(), help="The day of mending, where no visit is recorded.")
@reason_option
@dry_run_option
@click.pass_context
def close(
    ctx: click.Context,
    follow_up_ref: str,
    visit_ref: str | None,
    on: date | None,
    reason: str,
    dry_run: bool,
) -> None:
    """Close the follow-up REF by a visit or on a day.

    A reason is required.

    \b
    Example:
      fleet follow-up close F-017 --on 2025-06-02 --reason "reported wrongly"
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.follow_up import Closure, close_follow_up
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    kept = close_follow_up(
        open_database(settings),
        follow_up_ref,
        Closure(visit_ref, on),
        Wish(settings.actor, "follow-up close", reason, dry_run),
        clock=utc_now,
        today=today_option(None),
    )
    done = "would be closed (dry run)" if dry_run else "closed"
    click.echo(f"{kept.follow_up_ref} at site {kept.site_code} {done} as of {kept.closed_on}.")
