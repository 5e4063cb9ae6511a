"""Do the whole weekly job in one go."""

from __future__ import annotations

import textwrap
from contextlib import nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    BOUND_S,
    FOUND_EXIT,
    as_of_option,
    dry_run_option,
    print_options,
    rain_option,
    reason_option,
    seed_option,
    spread,
    time_options,
    today_option,
    travel_option,
)
from fleet.cli.output import counted, note
from fleet.cli.progress import progress
from fleet.cli.search_option import require_no_cluster, share_option

if TYPE_CHECKING:
    from fleet.services.prepare_week import PreparedRound, PreparedWeek
    from fleet.services.ranking import RankedGauge

SHOWN_GAUGES = 10
WIDTH = 100
INDENT = "     "


@click.group(name="week")
def command() -> None:
    """Do the whole weekly job in one go.

    \b
    Example:
      fleet week prepare sample_network --as-of 2026-11-20
    """


@command.command()
@click.argument("source", type=click.Path(exists=True, path_type=Path))
@as_of_option
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("fleet_out"),
    show_default=True,
    help="Where the results go.",
)
@print_options
@seed_option
@click.option(
    "--iterations",
    type=click.IntRange(min=1),
    default=None,
    help="How long the search goes on at most; the same number gives the same plan.",
)
@share_option
@travel_option
@time_options
@rain_option
@reason_option
@dry_run_option
@click.pass_context
def prepare(
    ctx: click.Context,
    source: Path,
    as_of: date | None,
    folder: Path,
    paper: str,
    font_dirs: tuple[Path, ...],
    seed: int,
    iterations: int | None,
    seconds: float | None,
    bound: bool,
    processes: int | None,
    cluster: str | None,
    share: bool,
    travel: str | None,
    with_rain: bool,
    reason: str,
    dry_run: bool,
) -> None:
    """Load, rank, plan and print the coming week.

    Loads SOURCE, ranks the gauges, plans next week's round of every depot, writes the sheets.

    SOURCE is a folder of CSV files or a workbook; outline.geojson in it is drawn under the maps.
    Depots are planned side by side; one that fails leaves the others whole, and the exit code is 3.
    The database is made when there is none. Each step is kept as it is done; --dry-run takes all
    back. Rows that differ from the records need --reason, as
    in: fleet network load. The records after --as-of (default today) are not seen.

    \b
    Example:
      fleet week prepare sample_network --as-of 2026-11-20 --folder fleet_out
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_or_create, open_or_imagine
    from fleet.services.prepare_week import WeekOrder, prepare_week
    from fleet.services.travel import travel_choice

    require_no_cluster(cluster, share=share)
    settings = settings_of(ctx)
    order = WeekOrder(
        source=source,
        as_of=today_option(as_of),
        folder=folder,
        paper="letter" if paper == "letter" else "a4",
        font_dirs=font_dirs,
        seed=seed,
        iterations=iterations,
        seconds=seconds,
        bound_s=BOUND_S if bound else None,
        processes=spread(processes),
        cluster=cluster,
        share_sites=share,
        with_rain=with_rain,
        reason=reason,
        dry_run=dry_run,
        travel=travel_choice(travel, settings),
    )
    opened = open_or_imagine(settings) if dry_run else nullcontext(open_or_create(settings))
    with opened as sessions, progress("Depots") as tell:
        prepared = prepare_week(sessions, order, settings.actor, clock=utc_now, say=note, tell=tell)
    _tell(prepared, order.as_of)
    if prepared.failed:
        ctx.exit(FOUND_EXIT)


def _tell(prepared: PreparedWeek, as_of: date) -> None:
    head = prepared.ranking[:SHOWN_GAUGES]
    listed = f" (all in {prepared.ranking_file})" if prepared.ranking_file else ""
    click.echo(f"\nThe {len(head)} gauges most worth a visit{listed}:\n")
    for ranked in head:
        _tell_gauge(ranked)
    for prepared_round in prepared.rounds:
        _tell_round(prepared_round)
    for failed in prepared.failed:
        click.echo(f"\nDepot {failed.depot_code} HAS NO ROUND: {failed.why}")
    if prepared.ranking_file is None:
        click.echo("\nDry run: nothing was kept and no file was written.")
        return
    first_round = prepared.rounds[0].planned.round_ref if prepared.rounds else "ROUND"
    serial = head[0].state.gauge.serial if head else "SERIAL"
    click.echo("\nTry next (name the database once: FLEET_DB, or --db before the noun):")
    click.echo(f"  fleet gauge explain {serial} --as-of {as_of}")
    click.echo(f"  fleet round show {first_round} --left-out")
    click.echo(f"  fleet round issue {first_round}")
    click.echo(f"  fleet audit overdue --as-of {as_of}")


def _tell_gauge(ranked: RankedGauge) -> None:
    from fleet.reports.wording import chance_words

    gauge = ranked.state.gauge
    click.echo(
        f"{ranked.rank:>3}. site {gauge.site_code}, gauge {gauge.serial}: worth "
        f"{ranked.total_record_days:.1f} record-days, chance that it is unfit now "
        f"{chance_words(ranked.unfit_probability)}"
    )
    why = ranked.drivers[0].sentence
    click.echo(textwrap.fill(why, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT))


def _tell_round(prepared: PreparedRound) -> None:
    from fleet.services.round_night import bound_words, kept_bound, night_sentences

    planned = prepared.planned
    stops = sum(len(day.stops) for day in planned.plan.days)
    click.echo(
        f"\nRound {planned.round_ref} version {planned.number}: "
        f"{counted(len(planned.plan.days), 'crew-day')}, {counted(stops, 'stop')}, "
        f"{planned.plan.worth:.1f} record-days, {counted(len(planned.plan.left_out), 'site')} "
        "left out."
    )
    for left in planned.plan.left_out:
        if left.must_visit:
            click.echo(f"  {left.site_code}, WHICH MUST BE VISITED, is left out: {left.detail}")
    for sentence in (*planned.notes, *night_sentences(planned.plan)):
        click.echo(f"  {sentence}")
    click.echo(f"  Driving: {planned.week.problem.travel.source}.")
    click.echo(f"  {bound_words(kept_bound(planned.plan.bound))}")
    for path in prepared.files:
        if path.suffix == ".pdf":
            what = "Week for the wall" if path.stem.endswith("_week") else "Printable route"
            click.echo(f"  {what}: {path}")
