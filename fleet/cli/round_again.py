"""A round that is planned again: accept stops, plan the rest of the week anew."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    Day,
    as_of_option,
    dry_run_option,
    reason_option,
    table_options,
    today_option,
    travel_option,
)
from fleet.cli.output import note, put_frame
from fleet.cli.round_study import CHANGES, tell_changes
from fleet.cli.search_option import search_options

if TYPE_CHECKING:
    from fleet.services.replan import Whereabouts

_STANDS = re.compile(r"(?P<who>[^=]+)=(?P<where>[^@]+)@(?P<hour>\d{2}):(?P<minute>\d{2})")
_AWAY = re.compile(r"(?P<who>[^=]+)=(?P<day>\d{4}-\d{2}-\d{2})")
LAST_HOUR, LAST_MINUTE = 23, 59


class Stand(click.ParamType["Whereabouts"]):
    """A technician, a place and a time, such as T01=S05@13:00."""

    name = "CODE=PLACE@HH:MM"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Whereabouts:
        """Read the three parts or fail with what was expected."""
        from fleet.services.replan import Whereabouts

        found = _STANDS.fullmatch(str(value))
        if found is None or int(found["hour"]) > LAST_HOUR or int(found["minute"]) > LAST_MINUTE:
            self.fail(f"{value!r} is not like T01=S05@13:00 or T01=depot@09:30.", param, ctx)
        minutes = int(found["hour"]) * 60 + int(found["minute"])
        return Whereabouts(found["who"], found["where"], minutes)


class Away(click.ParamType[tuple[str, date]]):
    """A technician and a day, such as T01=2026-11-25."""

    name = "CODE=DAY"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, date]:
        """Read both or fail with what was expected."""
        found = _AWAY.fullmatch(str(value))
        if found is None:
            self.fail(f"{value!r} is not like T01=2026-11-25.", param, ctx)
        return found["who"], Day().convert(found["day"], param, ctx)


@click.command()
@click.argument("round_ref", metavar="ROUND")
@click.argument("site_codes", metavar="[SITE]...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every stop that has no result yet.")
@click.option("--withdraw", is_flag=True, help="Take the acceptance back.")
@reason_option
@dry_run_option
@click.pass_context
def accept(
    ctx: click.Context,
    round_ref: str,
    site_codes: tuple[str, ...],
    every: bool,
    withdraw: bool,
    reason: str,
    dry_run: bool,
) -> None:
    """Accept stops of the newest version of ROUND.

    Planning the week again leaves them on their day and with their crew.

    \b
    Example:
      fleet round accept 2026-W48-TJA SE04 LI01
    """
    from fleet.clock import utc_now
    from fleet.services.accept_stop import accept_stops
    from fleet.services.database import open_database
    from fleet.store.journal import Wish

    if bool(site_codes) == every:
        raise click.UsageError("Name the sites, or give --all.")
    settings = settings_of(ctx)
    kept, changed = accept_stops(
        open_database(settings),
        round_ref,
        site_codes,
        Wish(settings.actor, "round accept", reason, dry_run),
        clock=utc_now,
        withdraw=withdraw,
    )
    done = "no longer accepted" if withdraw else "accepted"
    would = " (dry run)" if dry_run else ""
    told = f"{', '.join(changed)} {done}" if changed else "nothing changed"
    click.echo(f"{kept.round_ref} version {kept.number}: {told}{would}.")


@click.command()
@click.argument("round_ref", metavar="ROUND")
@as_of_option
@click.option(
    "--at",
    "stands",
    type=Stand(),
    multiple=True,
    help="Where somebody stands on the day of --as-of and goes on from; may be given again.",
)
@click.option(
    "--away",
    type=Away(),
    multiple=True,
    help="A day on which somebody does not work, beside the records; may be given again.",
)
@click.option(
    "--stability",
    type=click.FloatRange(min=0),
    default=None,
    metavar="DAYS",
    help="Record-days that moving or dropping an issued stop has to gain; default 1.",
)
@search_options
@travel_option
@table_options
@reason_option
@dry_run_option
@click.pass_context
def replan(
    ctx: click.Context,
    round_ref: str,
    as_of: date | None,
    stands: tuple[Whereabouts, ...],
    away: tuple[tuple[str, date], ...],
    stability: float | None,
    seed: int,
    iterations: int | None,
    drive_price: float | None,
    travel: str | None,
    form: str | None,
    output: Path,
    reason: str,
    dry_run: bool,
) -> None:
    """Plan the rest of the week of ROUND again, near what was issued.

    The plan is kept as the next version.

    The days after --as-of (default today) are planned; with --at that day too, from where people
    are. What is done stays done, accepted stops keep day and crew, and the others change only
    where that gains more than --stability. Prints what differs; the new version drives once it
    is issued.

    \b
    Example:
      fleet round replan 2026-W48-TJA --as-of 2026-11-24 --at T01=SE04@13:00 --away T02=2026-11-25
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.replan import ReplanOrder, replan_round, search_settings
    from fleet.services.travel import travel_choice, travel_source
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    sessions = open_database(settings)
    order = ReplanOrder(
        round_ref=round_ref,
        as_of=today_option(as_of),
        settings=search_settings(seed, iterations, drive_price),
        whereabouts=stands,
        away=frozenset(away),
        **({} if stability is None else {"stability_record_days": stability}),
    )
    choice = travel_choice(travel, settings)
    replanned = replan_round(
        sessions,
        order,
        Wish(settings.actor, "round replan", reason, dry_run),
        clock=utc_now,
        travel=lambda depot: travel_source(choice, depot, sessions=sessions, as_of=order.as_of),
    )
    planned = replanned.planned
    put_frame(replanned.comparison.frame, form, output, title="changes", reading=CHANGES)
    for left in planned.plan.left_out:
        if left.must_visit:
            note(f"{left.site_code}, WHICH MUST BE VISITED, is left out: {left.detail}")
    for sentence in planned.notes:
        note(sentence)
    tell_changes(replanned.comparison)
    kept = f"kept as version {planned.number}" if planned.kept else "dry run, not kept"
    note(f"{planned.round_ref}: {planned.plan.worth:.1f} record-days, {kept}.")
