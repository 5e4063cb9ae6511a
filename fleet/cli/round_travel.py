"""Hold the source of driving times against the drives that were recorded."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    as_of_option,
    depot_option,
    known_on_option,
    table_options,
    today_option,
    travel_option,
)
from fleet.cli.output import Reading, note, put_frame

SHOWN = (
    "depot_code",
    "legs",
    "days",
    "recorded_over_source",
    "road_over_straight",
    "learned_circuity",
    "circuity_low",
    "circuity_high",
    "learned_speed_kmh",
    "learned_start_min",
)


@click.command()
@depot_option
@as_of_option
@known_on_option
@travel_option
@table_options
@click.pass_context
def travel(
    ctx: click.Context,
    depot: str | None,
    as_of: date | None,
    known_on: datetime | None,
    travel: str | None,
    form: str | None,
    output: Path,
) -> None:
    """Hold the driving times against the drives that were recorded.

    A leg is the time from leaving a site to arriving at the next on the same day. Changes nothing:
    plans use what was learned only with --travel learned, or a file of settings that says so.
    --known-on is for the records; a matrix, extract or service answers as it is now.

    \b
    Example:
      fleet round travel --as-of 2026-11-20 --travel region.osm.pbf
    """
    from fleet.services.database import open_database
    from fleet.services.travel import travel_choice
    from fleet.services.travel_table import travel_table

    settings = settings_of(ctx)
    frame = travel_table(
        open_database(settings),
        travel_choice(travel, settings),
        depot_code=depot,
        as_of=today_option(as_of),
        known_on=known_on,
    )
    put_frame(frame, form, output, title="travel", reading=Reading(SHOWN))
    for row in frame.itertuples(index=False):
        note(f"{row.depot_code}: {row.source}.")
        note(f"  Records: {row.note}.")
