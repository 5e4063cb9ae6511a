"""Rank the gauges, explain a rank, and learn the rates behind it."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    as_of_option,
    depot_option,
    dry_run_option,
    known_on_option,
    rain_option,
    reason_option,
    table_options,
    today_option,
)
from fleet.cli.output import Reading, counted, note, put_frame

if TYPE_CHECKING:
    from sqlalchemy.orm import Session, sessionmaker

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
    """Rank the gauges, explain a rank, and learn the rates behind it.

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

    sessions, day = open_database(settings_of(ctx)), today_option(as_of)
    ranked = rank_network(
        sessions,
        as_of=day,
        known_on=known_on,
        keep=RankFilter(depot, type_code, driver),
        with_rain=with_rain,
    )
    _tell_rates(sessions, day, known_on)
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


@command.command()
@as_of_option
@table_options
@reason_option
@dry_run_option
@click.pass_context
def learn(
    ctx: click.Context,
    as_of: date | None,
    form: str | None,
    output: Path,
    reason: str,
    dry_run: bool,
) -> None:
    """Learn the network's rates from its records and keep them.

    How fast gauges drift, how often they block and switches fail, type by type. From then on
    gauges are ranked under these rates, and where each gauge stands is kept and renewed with every
    visit, so that a large network ranks in seconds. Without learned rates they are fitted anew for
    each ranking. Learn again when a season's visits have come in; the older rates stay on record
    and rank the days before. Records after --as-of (default today) are not seen. Shows the main
    rates before and after; --dry-run keeps nothing.

    \b
    Example:
      fleet gauge learn --as-of 2026-11-20 --dry-run
    """
    from fleet.cli.progress import progress
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.learn_rates import learn_rates, rate_frame
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    with progress("Reading histories") as told:
        learned = learn_rates(
            open_database(settings),
            Wish(settings.actor, "gauge learn", reason, dry_run),
            as_of=today_option(as_of),
            clock=utc_now,
            told=told,
        )
    if learned.kept:
        done = "kept; gauges are ranked under them from that day on"
    else:
        done = "not kept (dry run)" if dry_run else "the same as are kept already"
    note(f"Rates of {learned.as_of}, learned from {counted(learned.gauges, 'gauge')}: {done}.")
    put_frame(rate_frame(learned), form, output, title="rates", reading=Reading())


def _tell_rates(sessions: sessionmaker[Session], as_of: date, known_on: datetime | None) -> None:
    from fleet.services.learn_rates import rates_sentence

    with sessions() as session:
        sentence = rates_sentence(session, as_of=as_of, known_on=known_on)
    if sentence:
        note(sentence)
