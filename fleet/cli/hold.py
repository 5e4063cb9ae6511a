"""Tell the planner what is decided already: must visit, not this week, who goes."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    Day,
    as_of_option,
    depot_option,
    dry_run_option,
    reason_option,
    table_options,
    today_option,
)
from fleet.cli.output import put_frame
from fleet.domain.code import HoldKind

KIND = click.Choice([word.value for word in HoldKind])


@click.group(name="hold")
def command() -> None:
    """Tell the planner: must visit, not this week, who goes.

    \b
    Example:
      fleet hold add S06 --kind must_visit --from 2025-06-02 --until 2025-06-13 --reason "new site"
      fleet hold list
    """


@command.command()
@click.argument("site_code", metavar="SITE")
@click.option("--kind", type=KIND, required=True, help="What is decided.")
@click.option("--from", "first_day", type=Day(), required=True, help="First day, included.")
@click.option("--until", "last_day", type=Day(), required=True, help="Last day, included.")
@click.option("--technician", metavar="CODE", help="Who alone may go; for kind technician.")
@reason_option
@dry_run_option
@click.pass_context
def add(
    ctx: click.Context,
    site_code: str,
    kind: str,
    first_day: date,
    last_day: date,
    technician: str | None,
    reason: str,
    dry_run: bool,
) -> None:
    """Add a hold on SITE; the reason is kept with it.

    not_this_week keeps everybody away on its days. must_visit asks for a visit on one of its days
    and is met once every gauge there was serviced within them. these_days lets nobody go there in
    their weeks but on its days. technician says who goes, alone or with others, in every week
    that it touches.

    \b
    Example:
      fleet hold add S03 --kind technician --technician T02 --from 2025-06-02 \\
        --until 2025-06-30 --reason "knows the owner"
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.hold import add_hold, make_hold
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    hold = make_hold(
        site_code,
        HoldKind(kind),
        first_day=first_day,
        last_day=last_day,
        technician_code=technician,
        reason=reason,
    )
    wish = Wish(settings.actor, "hold add", reason, dry_run)
    changed = add_hold(open_database(settings), hold, wish, clock=utc_now)
    done = "would be added (dry run)" if dry_run else "added"
    told = f"{site_code} {kind} from {first_day} to {last_day}"
    click.echo(f"{told} {done}." if changed else f"{told} stands already; nothing changed.")


@command.command(name="list")
@as_of_option
@click.option("--all", "past_too", is_flag=True, help="Past holds too.")
@depot_option
@table_options
@click.pass_context
def list_(
    ctx: click.Context,
    as_of: date | None,
    past_too: bool,
    depot: str | None,
    form: str | None,
    output: Path,
) -> None:
    """List the holds that bind on --as-of or later.

    \b
    Example:
      fleet hold list --depot north --format csv
    """
    from fleet.services.database import open_database
    from fleet.services.hold import list_holds

    frame = list_holds(
        open_database(settings_of(ctx)),
        today=today_option(as_of),
        depot_code=depot,
        past_too=past_too,
    )
    put_frame(frame, form, output, title="holds")


@command.command()
@click.argument("site_code", metavar="SITE")
@click.option("--kind", type=KIND, required=True, help="Which hold.")
@click.option("--from", "first_day", type=Day(), help="Its first day, where several fit.")
@click.option("--on", type=Day(), help="First day on which it binds no longer; default today.")
@reason_option
@dry_run_option
@click.pass_context
def lift(
    ctx: click.Context,
    site_code: str,
    kind: str,
    first_day: date | None,
    on: date | None,
    reason: str,
    dry_run: bool,
) -> None:
    """End a hold on SITE; a reason is required.

    One that has begun ends the day before --on; one that has not is withdrawn. The records keep
    what was known before.

    \b
    Example:
      fleet hold lift S06 --kind must_visit --reason "done on the way back"
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.hold import lift_hold
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    lifted = lift_hold(
        open_database(settings),
        (site_code, HoldKind(kind), first_day),
        Wish(settings.actor, "hold lift", reason, dry_run),
        clock=utc_now,
        today=today_option(on),
    )
    would = "would be " if dry_run else ""
    told = "withdrawn" if lifted.last_day is None else f"ended on {lifted.last_day}"
    click.echo(f"{site_code} {kind} from {lifted.hold.first_day} {would}{told}.")
