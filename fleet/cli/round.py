"""Plan, show and print a depot's round; its life is told in the modules beside this one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    BOUND_S,
    FOUND_EXIT,
    Day,
    as_of_option,
    depot_option,
    dry_run_option,
    print_options,
    rain_option,
    reason_option,
    spread,
    table_options,
    time_options,
    today_option,
    travel_option,
)
from fleet.cli.output import Reading, note, put_frame
from fleet.cli.progress import progress
from fleet.cli.round_again import accept, replan
from fleet.cli.round_life import close, issue, stop
from fleet.cli.round_planned import STOPS, put_planned
from fleet.cli.round_study import compare, price
from fleet.cli.round_travel import travel
from fleet.cli.search_option import require_no_cluster, search_options, share_option

if TYPE_CHECKING:
    from fleet.services.plan_round import PlannedRound
    from fleet.services.plan_rounds import FailedRound


@click.group(name="round")
def command() -> None:
    """Plan, print, issue and close a depot's round.

    \b
    Example:
      fleet round plan TJA --week 2026-11-23 --as-of 2026-11-20
      fleet round sheet 2026-W48-TJA --folder fleet_out
    """


SHOWN = Reading(columns=(*STOPS.columns, "accepted", "result", "reason", "visit_ref"))
WHY = Reading(columns=("day", "crew", "site_code", "worth_record_days", "extra_min", "why"))
LEFT_OUT = Reading(
    columns=("site_code", "site_name", "worth_record_days", "must_visit", "reason", "detail")
)


@command.command()
@click.argument("depots", metavar="[DEPOT]...", nargs=-1)
@click.option("--every-depot", is_flag=True, help="Plan a round of every depot.")
@click.option(
    "--week", type=Day(), help="Any day of the week to plan; default the week after --as-of."
)
@as_of_option
@rain_option
@search_options
@time_options
@share_option
@travel_option
@click.option(
    "--take-along",
    is_flag=True,
    help="Hold each visit against one in its turn: take along what lies near, drive less far.",
)
@table_options
@reason_option
@dry_run_option
@click.pass_context
def plan(
    ctx: click.Context,
    depots: tuple[str, ...],
    every_depot: bool,
    week: date | None,
    as_of: date | None,
    with_rain: bool,
    seed: int,
    iterations: int | None,
    drive_price: float | None,
    seconds: float | None,
    bound: bool,
    processes: int | None,
    cluster: str | None,
    share: bool,
    travel: str | None,
    take_along: bool,
    form: str | None,
    output: Path,
    reason: str,
    dry_run: bool,
) -> None:
    """Plan a week's round of each DEPOT, kept as its next version.

    Every site of the depot competes by what a visit is worth; holds, access, daylight, shifts
    and driving limits bind. Says what was left out and why. In a week that has begun, the days
    after --as-of are planned. A version that was issued stays in the field until the next is.
    Several depots are planned side by side; one that fails leaves the others whole, and the exit
    code is 3.

    \b
    Example:
      fleet round plan TJA --week 2026-11-23 --as-of 2026-11-20 --dry-run
      fleet round plan --every-depot --as-of 2026-11-20 --dry-run
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.plan_rounds import RoundsOrder, chosen_depots, plan_rounds
    from fleet.services.round_request import request_for
    from fleet.services.travel import travel_choice, travel_sources
    from fleet.store.journal import Wish

    if bool(depots) == every_depot:
        raise click.UsageError("Name at least one DEPOT, or give --every-depot.")
    require_no_cluster(cluster, share=share)
    settings = settings_of(ctx)
    sessions = open_database(settings)
    day = today_option(as_of)
    requests = [
        replace(
            request_for(
                depot, day, week, seed=seed, iterations=iterations, drive_price=drive_price
            ).timed(seconds=seconds, bound_s=BOUND_S if bound else None),
            take_along=take_along,
            share_sites=share,
            with_rain=with_rain,
        )
        for depot in chosen_depots(sessions, depots)
    ]
    one = len(requests) == 1
    made: list[PlannedRound | FailedRound] = []
    with progress("Depots") as tell:
        for planned in plan_rounds(
            sessions,
            RoundsOrder(requests, spread(processes, len(requests)), cluster),
            Wish(settings.actor, "round plan", reason, dry_run),
            clock=utc_now,
            travel=travel_sources(travel_choice(travel, settings), sessions=sessions, as_of=day),
            say=(lambda text: None) if one else note,
        ):
            made.append(planned)
            tell(len(made), len(requests))
    if put_planned(made, form, output):
        ctx.exit(FOUND_EXIT)


@command.command(name="list")
@depot_option
@table_options
@click.pass_context
def list_(ctx: click.Context, depot: str | None, form: str | None, output: Path) -> None:
    """List the newest version of every round.

    \b
    Example:
      fleet round list --depot TJA
    """
    from fleet.services.database import open_database
    from fleet.services.round_view import list_rounds

    frame = list_rounds(open_database(settings_of(ctx)), depot_code=depot)
    put_frame(frame, form, output, title="rounds")


@command.command()
@click.argument("round_ref", metavar="ROUND")
@click.option("--version", "number", type=int, help="A version; default the newest.")
@click.option("--left-out", is_flag=True, help="Show what was left out and why, not the stops.")
@click.option("--why", is_flag=True, help="Show why each stop is in the round and what it costs.")
@table_options
@click.pass_context
def show(
    ctx: click.Context,
    round_ref: str,
    number: int | None,
    left_out: bool,
    why: bool,
    form: str | None,
    output: Path,
) -> None:
    """Show the stops of ROUND with what became of them.

    extra_min is what the day would save without the stop. CSV and JSON give every column.

    \b
    Example:
      fleet round show 2026-W48-TJA --left-out
    """
    from fleet.services.database import open_database
    from fleet.services.round_night import bound_words, kept_night_sentences
    from fleet.services.round_view import show_round, version_in_the_field

    sessions = open_database(settings_of(ctx))
    kept, stops, left = show_round(sessions, round_ref, number=number)
    note(
        f"{kept.round_ref} version {kept.number}, {kept.status}, "
        f"{kept.first_day} to {kept.last_day}, {kept.worth_record_days:.1f} record-days; "
        f"evidence to {kept.evidence_as_of}. {kept.travel_source}"
    )
    note(bound_words(kept.bound))
    for sentence in kept_night_sentences(kept.nights):
        note(sentence)
    driven = version_in_the_field(sessions, round_ref)
    if driven not in (None, kept.number):
        note(f"Version {driven} is the one in the field.")
    for sentence in kept.notes:
        note(sentence)
    if left_out:
        put_frame(left, form, output, title="left out", reading=LEFT_OUT)
        return
    put_frame(stops, form, output, title="round", reading=WHY if why else SHOWN)


@command.command()
@click.argument("round_ref", metavar="ROUND")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("fleet_out"),
    show_default=True,
    help="Where the files go.",
)
@print_options
@click.option("--version", "number", type=int, help="A version; default the newest.")
@click.option(
    "--base-map",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="GeoJSON lines to draw under the map: coast, roads, rivers.",
)
@click.pass_context
def sheet(
    ctx: click.Context,
    round_ref: str,
    folder: Path,
    paper: str,
    font_dirs: tuple[Path, ...],
    number: int | None,
    base_map: Path | None,
) -> None:
    """Write the printable route of ROUND for each technician.

    PDF and HTML with a job card a gauge, GPX, iCalendar and GeoJSON, and the week of all on one
    page for the wall. The same version gives the same sheets, whatever is amended later. An
    iCalendar of a newer version moves the entries of the older and cancels what was dropped.

    \b
    Example:
      fleet round sheet 2026-W48-TJA --folder fleet_out --paper letter
    """
    from fleet.services.base_map import read_map_lines
    from fleet.services.database import open_database
    from fleet.services.route_sheet import Printing, write_sheets

    paths = write_sheets(
        open_database(settings_of(ctx)),
        round_ref,
        folder,
        number=number,
        printing=Printing(
            "letter" if paper == "letter" else "a4",
            read_map_lines(base_map) if base_map else (),
            font_dirs,
        ),
    )
    for path in paths:
        click.echo(str(path))
    if not paths:
        note(f"{round_ref} has no day with a stop: nothing to print.")


for step in (accept, issue, stop, replan, compare, price, close, travel):
    command.add_command(step)
