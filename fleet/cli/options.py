"""Options that mean the same in every command."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any, TypeVar

import click

Function = TypeVar("Function", bound=Callable[..., Any])
FORMATS = ("table", "csv", "json", "xlsx")
FOUND_EXIT = 3
"""Exit code of a command that ran and found problems."""


class Day(click.ParamType[date]):
    """An ISO day such as 2026-03-01."""

    name = "date"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> date:
        """Read the day or fail with what was expected."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"{value!r} is not a day like 2026-03-01.", param, ctx)


class Instant(click.ParamType[datetime]):
    """An ISO instant with offset, or a day, which means the end of that day in UTC."""

    name = "instant"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        """Read the instant or fail with what was expected."""
        if isinstance(value, datetime):
            return value
        text = str(value)
        try:
            if len(text) == len("2026-03-01"):
                return datetime.combine(date.fromisoformat(text), time.max, tzinfo=UTC)
            instant = datetime.fromisoformat(text)
        except ValueError:
            self.fail(f"{text!r} is not a day or an instant like 2026-03-01T12:00+00:00.")
        if instant.tzinfo is None:
            self.fail(f"{text!r} has no offset; write it like 2026-03-01T12:00+00:00.")
        return instant


def today_option(value: date | None) -> date:
    """Give the day asked about, today in UTC when none was named."""
    from fleet.clock import utc_now

    return value or utc_now().date()


def as_of_option(function: Function) -> Function:
    """Add --as-of."""
    return click.option(
        "--as-of", type=Day(), help="Answer as of the end of this day; default today."
    )(function)


def known_on_option(function: Function) -> Function:
    """Add --known-on."""
    return click.option(
        "--known-on",
        type=Instant(),
        help="Answer with the records as they were known then; default now.",
    )(function)


def depot_option(function: Function) -> Function:
    """Add --depot."""
    return click.option("--depot", metavar="CODE", help="Only this depot.")(function)


def travel_option(function: Function) -> Function:
    """Add --travel."""
    return click.option(
        "--travel",
        metavar="SOURCE",
        help="Where driving times come from: great-circle (default), learned, FILE.csv, "
        "FILE.osm.pbf, a routing service's http address, or FILE.toml with a source a depot "
        "(FLEET_TRAVEL).",
    )(function)


def table_options(function: Function) -> Function:
    """Add --format and --output."""
    function = click.option(
        "--output",
        type=click.Path(dir_okay=False, path_type=Path, allow_dash=True),
        default=Path("-"),
        help="File to write, - is stdout (default).",
    )(function)
    return click.option(
        "--format",
        "form",
        type=click.Choice(FORMATS),
        default=None,
        help="Default: table on a terminal, csv elsewhere, or after the file's ending.",
    )(function)


def print_options(function: Function) -> Function:
    """Add --paper and --font-dir."""
    function = click.option(
        "--font-dir",
        "font_dirs",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        multiple=True,
        help="Folder with fonts for scripts that are not shipped; may be given again.",
    )(function)
    return click.option(
        "--paper",
        type=click.Choice(["a4", "letter"]),
        default="a4",
        show_default=True,
        help="Paper size of the PDF.",
    )(function)


def rain_option(function: Function) -> Function:
    """Add --no-rain."""
    return click.option(
        "--rain/--no-rain",
        "with_rain",
        default=True,
        envvar="FLEET_RAIN",
        help="Take in what daily totals say, where there are any (default), or leave them out.",
    )(function)


def dry_run_option(function: Function) -> Function:
    """Add --dry-run."""
    return click.option(
        "--dry-run", is_flag=True, help="Show what would change and take it all back."
    )(function)


def reason_option(function: Function) -> Function:
    """Add --reason."""
    return click.option(
        "--reason", default="", metavar="TEXT", help="Why, for the ledger; needed to amend."
    )(function)


MOST_SEED = 4_000_000_000
"""Seeds of the search are whole numbers up to this."""

LEAST_PRICE = 0.001
"""The least price of driving besides none, in record-days an hour."""


def seed_option(function: Function) -> Function:
    """Add --seed."""
    return click.option(
        "--seed",
        type=click.IntRange(0, MOST_SEED),
        default=1,
        show_default=True,
        help="Seed of the search.",
    )(function)


def processes_option(function: Function) -> Function:
    """Add --processes."""
    return click.option(
        "--processes",
        type=click.IntRange(1, 256),
        default=None,
        help="Processes to spread the work over; default all cores, and 1 for the plan of a single "
        "depot. The results stay the same.",
    )(function)


def spread(processes: int | None, pieces: int | None = None) -> int:
    """Give the processes asked for, else all cores, or 1 where there is a single piece of work."""
    from fleet.workers.pool import usable_cores

    return processes or (1 if pieces == 1 else usable_cores())


BOUND_S = 20.0
"""Seconds that the proof of a bound may take about, with --bound."""


def time_options(function: Function) -> Function:
    """Add --seconds, --bound, --processes and --cluster."""
    function = click.option(
        "--cluster",
        metavar="ADDRESS|local",
        help="Plan depots on the Dask cluster there, or on one of so many processes here.",
    )(function)
    function = processes_option(function)
    function = click.option(
        "--bound", is_flag=True, help="Prove how far the plan is from the best possible."
    )(function)
    return click.option(
        "--seconds",
        type=click.FloatRange(min=0, min_open=True),
        default=None,
        metavar="S",
        help="End the search of a depot by the clock; another run may give another plan.",
    )(function)


def read_price(ctx: click.Context, param: click.Parameter, value: float | None) -> float | None:
    """Refuse a price of driving that is neither none nor large enough to count."""
    if value is not None and 0 < value < LEAST_PRICE:
        raise click.BadParameter(f"give 0 or at least {LEAST_PRICE}.", ctx, param)
    return value
