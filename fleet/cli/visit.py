"""Bring results back from the field: forms to fill in, results in, one visit whole."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    as_of_option,
    dry_run_option,
    reason_option,
    table_options,
    today_option,
)
from fleet.cli.output import note, put_frame

if TYPE_CHECKING:
    from fleet.services.recorded_visits import RecordedVisits


_mends_option = click.option(
    "--mends",
    metavar="REF",
    multiple=True,
    help="A follow-up that the visit mended and so closes; may be given again.",
)


@click.group(name="visit")
def command() -> None:
    """Bring results back from the field.

    \b
    Example:
      fleet visit form 2026-W48-north --technician T01 --output monday.xlsx
      fleet visit record monday.xlsx
    """


@command.command()
@click.argument("round_ref", metavar="[ROUND]", required=False)
@click.option("--site", "sites", metavar="CODE", multiple=True, help="A site; may be repeated.")
@click.option("--technician", metavar="CODE", help="Only the days of a round that this one goes.")
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    metavar="FILE.xlsx",
    help="The workbook to write; replaced when it exists.",
)
@as_of_option
@click.pass_context
def form(
    ctx: click.Context,
    round_ref: str | None,
    sites: tuple[str, ...],
    technician: str | None,
    output: Path,
    as_of: date | None,
) -> None:
    """Write a workbook to fill in without reception.

    For the stops of ROUND, or for the sites that are named. One sheet a stop, with the questions
    of the job card. Only the framed cells can be changed.

    \b
    Example:
      fleet visit form --site S01 --site S02 --output friday.xlsx
    """
    from fleet.services.database import open_database
    from fleet.services.visit_form import write_round_form, write_site_form

    if (round_ref is None) == (not sites):
        raise click.UsageError("Name either a round or sites: fleet visit form ROUND | --site CODE")
    if output.suffix.lower() != ".xlsx":
        raise click.UsageError("A form is a workbook: --output NAME.xlsx")
    sessions, on = open_database(settings_of(ctx)), today_option(as_of)
    if round_ref is None:
        made = write_site_form(sessions, sites, output, on=on)
    else:
        made = write_round_form(sessions, round_ref, output, on=on, technician_code=technician)
    gauges = sum(len(sheet.gauges) for sheet in made.sheets)
    note(f"{len(made.sheets)} sheet(s) with {gauges} gauge(s) written to {output}")


@command.command()
@click.argument("path", metavar="FILE", type=click.Path(exists=True, path_type=Path))
@_mends_option
@as_of_option
@reason_option
@dry_run_option
@table_options
@click.pass_context
def record(
    ctx: click.Context,
    path: Path,
    mends: tuple[str, ...],
    as_of: date | None,
    reason: str,
    dry_run: bool,
    form: str | None,
    output: Path,
) -> None:
    """Record the visits in FILE.

    FILE is a filled-in form, or a folder or CSV of the visit tables.

    Shows what was recorded with the verdicts as found and as left, and every follow-up that was
    raised or closed. All problems are reported at once and nothing is written. A sheet in which
    nothing was filled in is passed over. Visits after --as-of (default today) are refused.

    A visit of a form is named after its site and the local clock of its arrival, such as
    S01/20250520-0900, so that loading the same file twice changes nothing. To correct a
    recorded visit, write its reference into the form and give a reason.

    --mends closes a follow-up by the visit at its site, in the same ledger entry. What is still
    open at the sites that were visited is told at the end.

    \b
    Example:
      fleet visit record monday.xlsx --dry-run
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.record_visit import record_file
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    recorded = record_file(
        open_database(settings),
        path,
        Wish(settings.actor, "visit record", reason, dry_run),
        clock=utc_now,
        today=today_option(as_of),
        mends=mends,
    )
    _tell(recorded, form, output)


@command.command()
@click.option("--site", "site_code", metavar="CODE", required=True, help="Where the visit was.")
@click.option("--yes", is_flag=True, help="Record without asking once more.")
@_mends_option
@as_of_option
@reason_option
@dry_run_option
@table_options
@click.pass_context
def enter(
    ctx: click.Context,
    site_code: str,
    yes: bool,
    mends: tuple[str, ...],
    as_of: date | None,
    reason: str,
    dry_run: bool,
    form: str | None,
    output: Path,
) -> None:
    """Ask for one visit, question by question.

    Shows what the answers mean, then records them.

    \b
    Example:
      fleet visit enter --site S01
    """
    from fleet.cli.ask import agreed
    from fleet.cli.visit_prompt import ask_visit
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.record_visit import record_answers
    from fleet.services.visit_form import site_sheet
    from fleet.store.journal import Wish

    settings, today = settings_of(ctx), today_option(as_of)
    sessions = open_database(settings)
    answers = ask_visit(site_sheet(sessions, site_code, on=today), today=today)
    rehearsal = Wish(settings.actor, "visit enter", reason, dry_run=True)
    recorded = record_answers(
        sessions, [answers], rehearsal, clock=utc_now, today=today, mends=mends
    )
    if not dry_run and not yes:
        for line in recorded.sentences:
            click.echo(line, err=True)
        if not agreed("Record this visit?"):
            raise click.Abort
    if not dry_run:
        wish = Wish(settings.actor, "visit enter", reason)
        recorded = record_answers(
            sessions, [answers], wish, clock=utc_now, today=today, mends=mends
        )
    _tell(recorded, form, output)


@command.command()
@click.argument("visit_ref", metavar="REF")
@table_options
@click.pass_context
def show(ctx: click.Context, visit_ref: str, form: str | None, output: Path) -> None:
    """Show one visit whole.

    What was recorded, the verdicts, and every version of it.

    \b
    Example:
      fleet visit show S01/20250520-0900
    """
    from fleet.services.database import open_database
    from fleet.services.show_visit import show_visit, visit_frame

    visit = show_visit(open_database(settings_of(ctx)), visit_ref)
    put_frame(visit_frame(visit), form, output, title="visit")


def _tell(recorded: RecordedVisits, form: str | None, output: Path) -> None:
    put_frame(recorded.frame, form, output, title="recorded")
    for line in recorded.notes:
        note(line)
