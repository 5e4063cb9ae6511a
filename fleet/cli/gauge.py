"""Rank the gauges and explain a rank."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    as_of_option,
    depot_option,
    known_on_option,
    rain_option,
    table_options,
    today_option,
)
from fleet.cli.output import Reading, note, put_frame

DRIVERS = click.Choice(["age", "drift", "switch"])
GAUGE_READING = Reading(
    (
        "rank",
        "depot_code",
        "site_code",
        "serial",
        "worth_record_days",
        "unfit_percent",
        "days_overdue",
        "driver",
        "why",
    )
)


@click.group(name="gauge")
def command() -> None:
    """Rank the gauges and explain a rank.

    \b
    Example:
      fleet gauge rank --depot TJA --as-of 2026-11-20
      fleet gauge explain 000418 --as-of 2026-11-20
    """


@command.command()
@as_of_option
@known_on_option
@depot_option
@click.option("--type", "type_code", metavar="CODE", help="Only gauges of this type.")
@click.option("--driver", type=DRIVERS, help="Only gauges with this driver in front.")
@click.option(
    "--by",
    type=click.Choice(["gauge", "site"]),
    default="gauge",
    show_default=True,
    help="A row a gauge, or a row a site with its gauges' worth added up.",
)
@click.option("--top", type=click.IntRange(min=1), help="Only so many rows.")
@rain_option
@table_options
@click.pass_context
def rank(
    ctx: click.Context,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    type_code: str | None,
    driver: str | None,
    by: str,
    top: int | None,
    with_rain: bool,
    form: str | None,
    output: Path,
) -> None:
    """Rank the gauges by what a service now is worth, in record-days.

    Each row holds days since service against the interval, drift in tips against tolerance, the
    switch, the share of each in the worth, and the evidence of each in a sentence. The table
    form is for reading and shows only the leading one; csv, json and xlsx give all. Daily totals
    move the chance of being unfit where the network has them; see: fleet rain compare.

    \b
    Example:
      fleet gauge rank --depot TJA --driver drift --top 20
    """
    from fleet.services.database import open_database
    from fleet.services.ranking import RankFilter, rank_network
    from fleet.services.ranking_frame import rank_frame, site_frame

    ranked = rank_network(
        open_database(settings_of(ctx)),
        as_of=today_option(as_of),
        known_on=known_on,
        keep=RankFilter(depot, type_code, driver),
        with_rain=with_rain,
    )
    frame = rank_frame(ranked[:top]) if by == "gauge" else site_frame(ranked, top=top)
    reading = GAUGE_READING if by == "gauge" else Reading()
    put_frame(frame, form, output, title="ranking", reading=reading)


@command.command()
@click.argument("serial")
@as_of_option
@known_on_option
@rain_option
@table_options
@click.pass_context
def explain(
    ctx: click.Context,
    serial: str,
    as_of: date | None,
    known_on: datetime | None,
    with_rain: bool,
    form: str | None,
    output: Path,
) -> None:
    """Show every number that led to the rank of the gauge with SERIAL.

    \b
    Example:
      fleet gauge explain 000418 --as-of 2026-11-20
    """
    from fleet.reports.wording import chance_words
    from fleet.services.database import open_database
    from fleet.services.explain import explain_gauge

    ranked, count, frame = explain_gauge(
        open_database(settings_of(ctx)),
        serial,
        as_of=today_option(as_of),
        known_on=known_on,
        with_rain=with_rain,
    )
    note(
        f"Gauge {serial} is number {ranked.rank} of {count}: a service now is worth "
        f"{ranked.total_record_days:.1f} record-days; chance that it is unfit now "
        f"{chance_words(ranked.unfit_probability)}."
    )
    for driver in ranked.drivers:
        note(f"  {driver.name} {driver.share_percent:.0f} %: {driver.sentence}")
    put_frame(frame, form, output, title="explain", reading=Reading())
