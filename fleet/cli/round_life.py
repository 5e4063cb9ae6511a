"""The life of a planned round: issue it, tell what became of its stops, close it."""

from __future__ import annotations

import click

from fleet.cli.main import settings_of
from fleet.cli.options import dry_run_option, reason_option
from fleet.domain.code import NotDoneReason, StopOutcome

REASONS = click.Choice([word.value for word in NotDoneReason])


@click.command()
@click.argument("round_ref", metavar="ROUND")
@reason_option
@dry_run_option
@click.pass_context
def issue(ctx: click.Context, round_ref: str, reason: str, dry_run: bool) -> None:
    """Issue the newest version of ROUND to the crews.

    From now on it is what they drive. Visits of the week that are on record already give their
    stops a result at once.

    \b
    Example:
      fleet round issue 2026-W48-TJA
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.round_life import issue_round
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    wish = Wish(settings.actor, "round issue", reason, dry_run)
    kept = issue_round(open_database(settings), round_ref, wish, clock=utc_now)
    done = "would be issued (dry run)" if dry_run else "issued"
    click.echo(f"{kept.round_ref} version {kept.number} {done}.")


@click.command()
@click.argument("round_ref", metavar="ROUND")
@click.argument("site_code", metavar="SITE")
@click.argument("outcome", type=click.Choice([word.value for word in StopOutcome]))
@click.option("--why", type=REASONS, help="Why it was skipped.")
@click.option("--note", "remark", default=None, metavar="TEXT", help="A remark in words.")
@reason_option
@dry_run_option
@click.pass_context
def stop(
    ctx: click.Context,
    round_ref: str,
    site_code: str,
    outcome: str,
    why: str | None,
    remark: str | None,
    reason: str,
    dry_run: bool,
) -> None:
    """Tell what became of the stop at SITE of an issued ROUND.

    A recorded visit does the same by itself; this is for a stop without a visit. --note goes
    with the stop, --reason into the ledger.

    \b
    Example:
      fleet round stop 2026-W48-TJA SE04 skipped --why weather --note "ford closed"
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.round_life import update_stop
    from fleet.services.stop_result import StopUpdate
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    update = StopUpdate(
        site_code, StopOutcome(outcome), NotDoneReason(why) if why else None, remark
    )
    wish = Wish(settings.actor, "round stop", reason, dry_run)
    update_stop(open_database(settings), round_ref, update, wish, clock=utc_now)
    done = " (dry run)" if dry_run else ""
    click.echo(f"{round_ref} stop {site_code}: {outcome}{done}.")


@click.command()
@click.argument("round_ref", metavar="ROUND")
@click.option("--rest", type=REASONS, help="Skip every stop without a result, for this reason.")
@reason_option
@dry_run_option
@click.pass_context
def close(ctx: click.Context, round_ref: str, rest: str | None, reason: str, dry_run: bool) -> None:
    """Close an issued ROUND once every stop has a result.

    \b
    Example:
      fleet round close 2026-W48-TJA --rest no_time
    """
    from fleet.clock import utc_now
    from fleet.services.database import open_database
    from fleet.services.round_life import close_round
    from fleet.store.journal import Wish

    settings = settings_of(ctx)
    kept = close_round(
        open_database(settings),
        round_ref,
        Wish(settings.actor, "round close", reason, dry_run),
        clock=utc_now,
        rest=NotDoneReason(rest) if rest else None,
    )
    done = "would be closed (dry run)" if dry_run else "closed"
    results = [s.result for day in kept.days for s in day.stops if s.result]
    count = sum(result.outcome is StopOutcome.DONE for result in results)
    click.echo(
        f"{kept.round_ref} version {kept.number} {done}: {count} done, "
        f"{len(results) - count} skipped."
    )
