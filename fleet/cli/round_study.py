"""What differs between two versions of a round, and what the wishes for one cost."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import Day, as_of_option, table_options, today_option, travel_option
from fleet.cli.output import Reading, counted, note, put_frame
from fleet.cli.search_option import search_options

if TYPE_CHECKING:
    from fleet.services.compare_round import Comparison

CHANGES = Reading()


@click.command()
@click.argument("round_ref", metavar="ROUND")
@click.option("--from", "before", type=int, help="A version; default the one in the field.")
@click.option("--to", "after", type=int, help="A version; default the newest.")
@click.option("--all", "every", is_flag=True, help="Also the stops that did not change.")
@table_options
@click.pass_context
def compare(
    ctx: click.Context,
    round_ref: str,
    before: int | None,
    after: int | None,
    every: bool,
    form: str | None,
    output: Path,
) -> None:
    """Show what differs between two versions of ROUND.

    Stops that were added, dropped, moved to another day or crew, or start a quarter of an hour
    or more earlier or later.

    \b
    Example:
      fleet round compare 2026-W48-TJA --from 1 --to 2
    """
    from fleet.services.compare_round import compare_round
    from fleet.services.database import open_database

    sessions = open_database(settings_of(ctx))
    compared = compare_round(sessions, round_ref, before=before, after=after)
    frame = compared.frame if every else compared.changed
    put_frame(frame, form, output, title="changes", reading=CHANGES)
    tell_changes(compared)


def tell_changes(compared: Comparison) -> None:
    """Sum up what differs, as a note."""
    from fleet.services.compare_round import StopChange

    told = [
        f"{compared.counts[change]} {change.value}"
        for change in StopChange
        if compared.counts[change]
    ]
    note(
        f"Version {compared.before_number} to {compared.after_number}: "
        f"{', '.join(told) or 'no stop in either'}; "
        f"{compared.worth_before:.1f} to {compared.worth_after:.1f} record-days, "
        f"{compared.driving_min_before} to {compared.driving_min_after} min of driving on the days "
        "that both plan."
    )


@click.command()
@click.argument("depot")
@click.option("--week", type=Day(), help="Any day of the week; default the week after --as-of.")
@as_of_option
@search_options
@travel_option
@table_options
@click.pass_context
def price(
    ctx: click.Context,
    depot: str,
    week: date | None,
    as_of: date | None,
    seed: int,
    iterations: int | None,
    drive_price: float | None,
    travel: str | None,
    form: str | None,
    output: Path,
) -> None:
    """Tell what each hold and compliance cost a week of DEPOT.

    Plans the week with and without each, by the same seed, and keeps nothing. A cost is the good
    record in record-days that the wish takes away.

    \b
    Example:
      fleet round price TJA --week 2026-11-23 --as-of 2026-11-20
    """
    from fleet.services.database import open_database
    from fleet.services.round_request import request_for
    from fleet.services.travel import travel_choice, travel_source
    from fleet.services.wish_price import price_wishes

    request = request_for(
        depot, today_option(as_of), week, seed=seed, iterations=iterations, drive_price=drive_price
    )
    settings = settings_of(ctx)
    sessions = open_database(settings)
    choice = travel_choice(travel, settings)
    source = travel_source(choice, depot, sessions=sessions, as_of=request.evidence_as_of)
    frame = price_wishes(sessions, request, travel=source, say=note)
    put_frame(frame, form, output, title="price of wishes", reading=Reading())
    note(f"{counted(len(frame) - 1, 'hold')} and the compliance worth, each planned without.")
