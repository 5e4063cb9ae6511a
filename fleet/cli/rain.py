"""Hold the daily totals of each gauge against its neighbours'."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    FOUND_EXIT,
    Day,
    as_of_option,
    depot_option,
    known_on_option,
    table_options,
    today_option,
)
from fleet.cli.output import Reading, note, put_frame

COMPARE_READING = Reading(
    (
        "site_code",
        "position",
        "serial",
        "alarm",
        "since_on",
        "ratio_before",
        "ratio_after",
        "wet_days",
        "neighbours_used",
        "q",
        "likelihood_ratio",
        "sentence",
    )
)


@click.group(name="rain")
def command() -> None:
    """Hold the daily totals of each gauge against its neighbours'.

    \b
    Example:
      fleet rain compare --as-of 2026-11-20
    """


@command.command()
@click.option(
    "--since", type=Day(), help="Also alarms that a service has ended, on this day or later."
)
@click.option("--all", "everything", is_flag=True, help="Also the gauges without an alarm.")
@click.option(
    "--false-share",
    type=click.FloatRange(min=0, max=1, min_open=True, max_open=True),
    default=0.05,
    show_default=True,
    help="Share of false alarms among all that is accepted.",
)
@as_of_option
@known_on_option
@depot_option
@table_options
@click.pass_context
def compare(
    ctx: click.Context,
    since: date | None,
    everything: bool,
    false_share: float,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    form: str | None,
    output: Path,
) -> None:
    """List the gauges that part from their neighbours.

    Those that are silent, sink, step, halve or double against them.
    What counts is what came after a gauge's last service; --since also shows what a service has
    ended. Up to ten near gauges whose rain comes and goes with its own are compared, in wet
    spells of at least 10 mm. Flagged totals, the day after snow or frost and days of services
    are left out; days that stand one off are set right and told.

    q is the share of false alarms among all with a q as low; an alarm is raised where it is at
    most --false-share. The likelihood ratio says how many times as likely the totals are under a
    fault as under a fit gauge; the columns *_odds_times (csv, json, xlsx) say it by cause.

    Leaves with 3 when there is an alarm that stands or has ended, else with 0.

    \b
    Example:
      fleet rain compare --as-of 2026-11-20
      fleet rain compare --as-of 2026-11-20 --since 2026-06-01 --format csv
    """
    from fleet.services.database import open_database
    from fleet.services.rain_compare import RainAsked, compare_rain

    day = today_option(as_of)
    if since is not None and since > day:
        raise click.BadParameter(
            f"{since} is after the day asked about, {day}.", param_hint="'--since'"
        )
    answer = compare_rain(
        open_database(settings_of(ctx)),
        as_of=day,
        known_on=known_on,
        asked=RainAsked(depot, since, everything, false_share),
    )
    put_frame(answer.frame, form, output, title="rain", reading=COMPARE_READING)
    for line in answer.notes:
        note(line)
    note(answer.summary(day))
    if answer.standing or answer.ended:
        ctx.exit(FOUND_EXIT)


@command.command(name="double-mass")
@click.argument("site")
@click.option("--position", metavar="CODE", help="Which gauge of the site; default its only one.")
@click.option(
    "--seed", type=int, default=0, show_default=True, help="Of the shuffles behind the p-values."
)
@as_of_option
@known_on_option
@table_options
@click.pass_context
def double_mass(
    ctx: click.Context,
    site: str,
    position: str | None,
    seed: int,
    as_of: date | None,
    known_on: datetime | None,
    form: str | None,
    output: Path,
) -> None:
    """Show the running total of a gauge at SITE against that of its neighbours.

    A straight curve means a constant ratio; where it bends something changed: at the gauge, at
    the site, or at the neighbours. An --output that ends in .svg is a drawing, else the months
    are written as a table; the notes name the best break and four tests for one.

    \b
    Example:
      fleet rain double-mass OU01 --position A --as-of 2026-11-20 --output OU01.svg
    """
    from fleet.reports.table import write_whole
    from fleet.services.database import open_database
    from fleet.services.rain_double_mass import mass_curve

    answer = mass_curve(
        open_database(settings_of(ctx)),
        site,
        position=position,
        as_of=today_option(as_of),
        known_on=known_on,
        seed=seed,
    )
    note(f"{answer.title}. {answer.subtitle}.")
    for line in answer.notes:
        note(line)
    if output.suffix.lower() == ".svg" and form is None:
        write_whole(output, answer.svg())
        note(f"Drawing written to {output}")
        return
    put_frame(answer.frame, form, output, title="double mass")
