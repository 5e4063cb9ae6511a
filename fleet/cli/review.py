"""Review the service intervals, and hold the forecasts against what was found."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    Day,
    as_of_option,
    depot_option,
    known_on_option,
    table_options,
    today_option,
)
from fleet.cli.outlook import outlook
from fleet.cli.output import Reading, note, put_frame

if TYPE_CHECKING:
    from fleet.services.interval_review import By

SCORE_READING = Reading(("cause", "score", "checks", "found", "expected", "sentence"))


@click.group(name="review")
def command() -> None:
    """Review intervals; hold forecasts against what was found.

    \b
    Example:
      fleet review interval --as-of 2026-11-20
      fleet review forecast --as-of 2026-11-20 --plot reliability.svg
      fleet review outlook --as-of 2026-11-20
    """


@command.command()
@as_of_option
@known_on_option
@depot_option
@click.option(
    "--by",
    type=click.Choice(["type", "site"]),
    default="type",
    show_default=True,
    help="A row a gauge type or a row a site; more rows where policies differ.",
)
@click.option(
    "--extension",
    "extension_percent",
    type=click.FloatRange(min=0, min_open=True),
    default=10.0,
    show_default=True,
    help="Method A1: percent by which a pass extends the interval.",
)
@table_options
@click.pass_context
def interval(
    ctx: click.Context,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    by: By,
    extension_percent: float,
    form: str | None,
    output: Path,
) -> None:
    """Say of each type or site whether its service interval keeps the target.

    Beside the policy stand: the age at which the forecast of a freshly serviced gauge falls to
    the target; how many gauges were found fit around the end of the interval, with the exact
    95 % interval; the exponential rule, the staircase and method A1 worked on that; and the
    Weibull law of how long services last. All results are judged by the policy of the day of the
    review. It advises and never changes the policy. The table form is for reading and shows the
    sentence; csv, json and xlsx give all figures.

    \b
    Example:
      fleet review interval --as-of 2026-11-20 --by site --depot TJA
    """
    from fleet.services.database import open_database
    from fleet.services.interval_frame import review_frame
    from fleet.services.interval_review import ReviewOrder, review_intervals

    order = ReviewOrder(today_option(as_of), known_on, depot, by, extension_percent / 100.0)
    reviews = review_intervals(open_database(settings_of(ctx)), order)
    code = f"{by}_code"
    reading = Reading((code, "gauges", "interval_days", "forecast_days", "advice", "sentence"))
    put_frame(review_frame(reviews, code), form, output, title="intervals", reading=reading)


@command.command()
@click.option(
    "--from",
    "since",
    type=Day(),
    help="Score checks from this day on; default a year after the first check on record.",
)
@as_of_option
@known_on_option
@depot_option
@click.option(
    "--visits",
    type=click.Choice(["planned", "all"]),
    default="planned",
    show_default=True,
    help="Whether repairs count, for which somebody set out because a fault was known.",
)
@click.option(
    "--rows",
    type=click.Choice(["scores", "bins", "checks"]),
    default="scores",
    show_default=True,
    help="Scores by cause, the reliability diagram, or every check with its forecasts.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write the reliability diagram too, as .svg, .png or .pdf.",
)
@click.option(
    "--seed", type=int, default=1, show_default=True, help="Of the random flips behind each p."
)
@table_options
@click.pass_context
def forecast(
    ctx: click.Context,
    since: date | None,
    as_of: date | None,
    known_on: datetime | None,
    depot: str | None,
    visits: str,
    rows: str,
    plot: Path | None,
    seed: int,
    form: str | None,
    output: Path,
) -> None:
    """Replay the history and score the forecasts against what was found.

    Before each check on record the gauge is forecast from the records up to the day before; what
    the whole fleet teaches is refitted at the start of each month. Unfit is a gauge that failed
    its as-found test, was blocked, or had a failed switch. Scored against the base rate and
    against age over interval, both learned from earlier months alone. A difference counts as more
    than chance where fewer than 5 % of random sign flips, a site's checks together, reach it.

    \b
    Example:
      fleet review forecast --as-of 2026-11-20 --rows bins --plot reliability.png
    """
    from fleet.reports.drawing import require_suffix
    from fleet.services.backtest import BacktestOrder, backtest
    from fleet.services.backtest_frame import FRAMES
    from fleet.services.backtest_plot import write_reliability
    from fleet.services.backtest_words import replay_sentences
    from fleet.services.database import open_database

    day = today_option(as_of)
    if since is not None and since > day:
        raise click.BadParameter(
            f"{since} is after the day asked about, {day}.", param_hint="--from"
        )
    if plot is not None:
        require_suffix(plot)
    order = BacktestOrder(day, since, known_on, depot, visits == "all", seed)
    tested = backtest(open_database(settings_of(ctx)), order)
    for sentence in replay_sentences(tested):
        note(sentence)
    reading = SCORE_READING if rows == "scores" else Reading()
    put_frame(FRAMES[rows](tested), form, output, title=rows, reading=reading)
    if plot is not None:
        write_reliability(tested, plot)
        note(f"Reliability diagram written to {plot}")


command.add_command(outlook)
