"""The entry point: global options, the list of nouns, and how failures leave the program."""

from __future__ import annotations

import sys
import traceback
import warnings
from collections.abc import Callable
from typing import Any

import click

from fleet.cli.lazy import LazyGroup
from fleet.errors import FleetError, FleetWarning
from fleet.settings import Settings, read_settings
from fleet.store.closing import closing_opened

BUG_EXIT = 70
INTERRUPT_EXIT = 130

NOUNS = {
    "week": ("fleet.cli.week", "Do the whole weekly job in one go."),
    "database": (
        "fleet.cli.database",
        "Create the database, bring it forward, ask it freely, check and back it up.",
    ),
    "network": ("fleet.cli.network", "Load sites, gauges, people, policy and visits."),
    "gauge": ("fleet.cli.gauge", "Rank the gauges, explain a rank, and learn the rates behind it."),
    "hold": ("fleet.cli.hold", "Tell the planner: must visit, not this week, who goes."),
    "round": ("fleet.cli.round", "Plan, print, issue and close a depot's round."),
    "visit": ("fleet.cli.visit", "Bring results back from the field."),
    "follow-up": ("fleet.cli.follow_up", "List and close defects that wait to be mended."),
    "audit": ("fleet.cli.audit", "Ask what is, or on any day was, overdue or out of tolerance."),
    "equipment": ("fleet.cli.equipment", "Look after test equipment and spare instruments."),
    "review": ("fleet.cli.review", "Review intervals; hold forecasts against what was found."),
    "rain": ("fleet.cli.rain", "Hold the daily totals of each gauge against its neighbours'."),
    "ledger": ("fleet.cli.ledger", "Read the journal of changes and verify its chain."),
}


@click.group(
    cls=LazyGroup,
    places=NOUNS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option("--db", metavar="PATH|URL", help="Database file or SQLAlchemy URL (FLEET_DB).")
@click.option("--actor", metavar="NAME", help="Who writes, for the ledger (FLEET_ACTOR).")
@click.option("-q", "--quiet", is_flag=True, help="No progress and no notes on stderr.")
@click.option("--strict", is_flag=True, help="Doubtful data is an error, not a warning.")
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, param, value: _tell_version(ctx) if value else None,
    help="Show the version and exit.",
)
@click.pass_context
def cli(ctx: click.Context, db: str | None, actor: str | None, quiet: bool, strict: bool) -> None:
    """Schedule the maintenance of a network of tipping-bucket rain gauges.

    \b
    Example:
      fleet week prepare sample_network --as-of 2026-11-20 --folder fleet_out
    """
    ctx.obj = read_settings(db, actor)
    ctx.meta["fleet.quiet"] = quiet
    if strict:
        warnings.simplefilter("error", FleetWarning)


def _tell_version(ctx: click.Context) -> None:
    from importlib.metadata import PackageNotFoundError, version

    try:
        click.echo(f"fleet, version {version('fleet')}")
    except PackageNotFoundError:
        click.echo("fleet, run from a checkout that is not installed")
    ctx.exit()


def settings_of(ctx: click.Context) -> Settings:
    """Give the settings that the global options made."""
    settings = ctx.find_object(Settings)
    if settings is None:
        raise RuntimeError("the command was called outside the fleet group")
    return settings


def main() -> None:
    """Run the command line and leave with the documented exit code."""
    try:
        with closing_opened(), warnings.catch_warnings():
            warnings.simplefilter("always", FleetWarning)
            warnings.showwarning = _tell_warnings(warnings.showwarning)
            code = cli.main(prog_name="fleet", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Interrupted; nothing more was written.", err=True)
        sys.exit(INTERRUPT_EXIT)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except FleetError as error:
        _tell(f"Error: {error}")
        sys.exit(error.exit_code)
    except FleetWarning as warning:
        _tell(f"Error (--strict): {warning}")
        sys.exit(FleetError.exit_code)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except Exception as error:  # the last line of defence
        trouble = _trouble(error)
        if trouble is not None:
            _tell(f"Error: {trouble}")
            sys.exit(FleetError.exit_code)
        traceback.print_exc()
        click.echo("This is a bug in fleet, please report it with the lines above.", err=True)
        sys.exit(BUG_EXIT)
    sys.exit(code if isinstance(code, int) else 0)


def _tell(text: str) -> None:
    from fleet.cli.output import visible

    click.echo(visible(text), err=True)


def _tell_warnings(others: Callable[..., None]) -> Callable[..., None]:
    """Make what shows our own warnings as notes, each once, and others as Python does."""
    told: set[str] = set()

    def show(message: Warning | str, category: type[Warning], *rest: Any, **named: Any) -> None:
        if not issubclass(category, FleetWarning):
            others(message, category, *rest, **named)
        elif str(message) not in told:
            told.add(str(message))
            _tell(f"Warning: {message}")

    return show


def _trouble(error: Exception) -> str | None:
    """Tell what is wrong with a file or the database; None for what can only be a bug."""
    if isinstance(error, OSError) and error.filename is not None:
        return f"{error.filename}: {error.strerror}."
    if "sqlalchemy" not in sys.modules:
        return None
    from fleet.store.trouble import database_trouble

    return database_trouble(error)


if __name__ == "__main__":
    main()
