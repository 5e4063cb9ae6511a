"""Look ahead: what becomes of the network under crews, hours and intervals."""

from __future__ import annotations

from datetime import date, datetime
from functools import partial
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    MOST_SEED,
    as_of_option,
    depot_option,
    known_on_option,
    processes_option,
    read_price,
    spread,
    table_options,
    today_option,
    travel_option,
)
from fleet.cli.output import Reading, note, put_frame
from fleet.cli.progress import progress

READING = Reading(
    (
        "technicians",
        "shift_hours",
        "days_a_week",
        "interval",
        "visit_by",
        "in_date_percent",
        "later_in_date_percent",
        "unfit_percent",
        "lost_record_days",
        "overdue_at_end",
        "crew_days_a_week",
        "crew_hours_a_week",
        "km_a_week",
        "visits_a_week",
    )
)


def crew_options(function: click.decorators.FC) -> click.decorators.FC:
    """Add the options that name what is compared; each may be given again."""
    function = click.option(
        "--visit-by",
        type=click.Choice(["worth", "due"]),
        multiple=True,
        default=("worth",),
        help="Rounds go by the worth of a visit (default), or by the due date, oldest first.",
    )(function)
    function = click.option(
        "--interval",
        type=click.IntRange(1, 3650),
        multiple=True,
        help="Service interval in days in place of the policy's.",
    )(function)
    function = click.option(
        "--hours",
        type=click.FloatRange(1, 16),
        multiple=True,
        help="Hours of a shift in place of those on record.",
    )(function)
    function = click.option(
        "--days",
        "days_a_week",
        type=click.FloatRange(0, 100),
        multiple=True,
        help="Most crew-days a week of a depot; default all on the roster.",
    )(function)
    return click.option(
        "--technicians",
        type=click.IntRange(-20, 20),
        multiple=True,
        default=(0, 1),
        help="Technicians more a depot, or fewer (-1); default 0 and 1.",
    )(function)


@click.command()
@as_of_option
@known_on_option
@depot_option
@crew_options
@click.option(
    "--weeks", type=click.IntRange(2, 260), default=52, show_default=True, help="How far to look."
)
@click.option(
    "--runs",
    type=click.IntRange(1, 1000),
    default=20,
    show_default=True,
    help="Futures drawn for each variant.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, MOST_SEED),
    default=1,
    show_default=True,
    help="Seed of the first future; the others follow.",
)
@click.option(
    "--target",
    type=click.FloatRange(0, 100),
    default=95.0,
    show_default=True,
    help="Percent in date to seek the crew-days for; 0 seeks none.",
)
@click.option(
    "--compliance",
    type=click.FloatRange(0),
    metavar="DAYS",
    help="Record-days that a day overdue adds to a visit; default the policy's.",
)
@click.option(
    "--failed",
    type=click.FloatRange(0, 95),
    metavar="PERCENT",
    help="Visits that fail at the site; default their share on record.",
)
@click.option(
    "--drive-price",
    type=click.FloatRange(0),
    callback=read_price,
    default=0.1,
    show_default=True,
    metavar="DAYS",
    help="Record-days that an hour of driving has to buy.",
)
@travel_option
@click.option(
    "--rows",
    type=click.Choice(["variants", "weeks"]),
    default="variants",
    show_default=True,
    help="A row a variant, or a row a variant and week.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Draw the weeks too, as .svg, .png or .pdf.",
)
@processes_option
@table_options
@click.pass_context
def outlook(
    ctx: click.Context,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    technicians: tuple[int, ...],
    days_a_week: tuple[float, ...],
    hours: tuple[float, ...],
    interval: tuple[int, ...],
    visit_by: tuple[str, ...],
    weeks: int,
    runs: int,
    seed: int,
    target: float,
    compliance: float | None,
    failed: float | None,
    drive_price: float,
    travel: str | None,
    rows: str,
    plot: Path | None,
    processes: int | None,
    form: str | None,
    output: Path,
) -> None:
    """Simulate the coming weeks: whether the crews suffice, what a change would buy.

    Draws futures of every gauge from its own forecast and runs the weeks through: ranked,
    planned, driven, recorded. Tells gauges in date and unfit, record-days lost, crew-hours and km
    of every combination of the options that may be given again, and how many crew-days a week
    hold the target. A technician more works as the first of each depot does.

    \b
    Example:
      fleet review outlook --as-of 2026-11-20 --days 1 --days 2 --days 3 --plot outlook.svg
      fleet review outlook --as-of 2026-11-20 --visit-by due --interval 180 --interval 270
    """
    from fleet.services.database import open_database
    from fleet.services.outlook import look_ahead
    from fleet.services.outlook_frame import FRAMES
    from fleet.services.outlook_order import Choices, OutlookOrder, VisitBy
    from fleet.services.outlook_plot import require_plot, write_outlook
    from fleet.services.outlook_words import outlook_sentences
    from fleet.services.travel import travel_choice, travel_source

    if plot is not None:
        require_plot(plot)
    order = OutlookOrder(
        as_of=today_option(as_of),
        known_on=known_on,
        depot_code=depot,
        weeks=weeks,
        seeds=runs,
        first_seed=seed,
        choices=Choices(
            technicians=technicians,
            days_a_week=days_a_week or (None,),
            hours=hours or (None,),
            interval_days=interval or (None,),
            visit_by=tuple(VisitBy(rule) for rule in visit_by),
        ),
        target_percent=target or None,
        compliance_record_days=compliance,
        failed_percent=failed,
        drive_price_days_per_h=drive_price,
        processes=spread(processes),
    )
    settings = settings_of(ctx)
    sessions = open_database(settings)
    drives = partial(
        travel_source,
        travel_choice(travel, settings),
        sessions=sessions,
        as_of=order.as_of,
        known_on=known_on,
    )
    with progress("Simulating") as tell:
        seen = look_ahead(sessions, order, travel=drives, tell=tell)
    for sentence in outlook_sentences(seen):
        note(sentence)
    reading = READING if rows == "variants" else Reading()
    put_frame(FRAMES[rows](seen), form, output, title=rows, reading=reading)
    if plot is not None:
        write_outlook(seen, plot)
        note(f"Drawing written to {plot}")
