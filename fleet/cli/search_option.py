"""Options of every command that searches for a plan."""

from __future__ import annotations

import click

from fleet.cli.options import Function, read_price, seed_option


def search_options(function: Function) -> Function:
    """Add the options that make a plan reproducible."""
    function = click.option(
        "--drive-price",
        type=click.FloatRange(min=0),
        callback=read_price,
        default=None,
        metavar="DAYS",
        help="Record-days that an hour of driving has to buy.",
    )(function)
    function = click.option(
        "--iterations",
        type=click.IntRange(min=1),
        default=None,
        help="How long the search goes on; the same number gives the same plan.",
    )(function)
    return seed_option(function)


def share_option(function: Function) -> Function:
    """Add --share."""
    return click.option(
        "--share",
        is_flag=True,
        help="Let a site that lies nearer to another depot be served from there.",
    )(function)


def require_no_cluster(cluster: str | None, *, share: bool) -> None:
    """Refuse --cluster beside --share, with which each depot waits for the one before."""
    if share and cluster is not None:
        raise click.UsageError(
            "--share plans one depot after the other: leave --cluster away, or --share."
        )
