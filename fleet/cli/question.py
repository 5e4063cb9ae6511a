"""Commands that put one question to the records; made from the list of questions."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    FOUND_EXIT,
    Day,
    as_of_option,
    depot_option,
    known_on_option,
    table_options,
    today_option,
)
from fleet.cli.output import note, put_frame
from fleet.domain.audit.evidence import BOTH_PHASES, Ask
from fleet.domain.code import Phase
from fleet.services.question import Question

_BRIEF = ("depot_code", "site_code", "position", "serial", "sentence")

_DAYS = click.IntRange(0, 36_500)

_OPTIONS: dict[str, Callable[[Any], Any]] = {
    "depot": depot_option,
    "since": click.option(
        "--since", type=Day(), help="Everything from this day on, not only the latest."
    ),
    "phase": click.option(
        "--phase",
        type=click.Choice([phase.value.replace("_", "-") for phase in Phase]),
        help="Only this phase; default both.",
    ),
    "least": click.option(
        "--least",
        type=click.IntRange(min=1),
        help="How many make a pattern; the default stands above.",
    ),
    "ahead": click.option(
        "--ahead", "days", type=_DAYS, metavar="DAYS", help="How far ahead; the default is above."
    ),
    "field_days": click.option(
        "--field-days",
        "days",
        type=_DAYS,
        metavar="DAYS",
        help="How long in the field; the default is above.",
    ),
    "off_by": click.option(
        "--off-by",
        "off_by",
        type=click.FloatRange(-50, 50),
        metavar="PERCENT",
        help="Poured so much more than its certificate says; negative is less.",
    ),
    "devices": click.argument("codes", metavar="DEVICE...", nargs=-1, required=True),
    "serials": click.argument("codes", metavar="[SERIAL]...", nargs=-1),
}
_ORDER = tuple(_OPTIONS)


class InOrder(click.Group):
    """A group whose commands stand in the order in which they were added."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands."""
        del ctx
        return list(self.commands)


def _help_of(question: Question) -> str:
    parts = [
        question.asks,
        f"What counts: {question.counts}",
        f"Which time: {question.period}",
        f"Whose policy: {question.policy}",
        f"\b\nExample:\n  fleet {question.noun} {question.example}",
    ]
    return "\n\n".join(parts)


def make_command(question: Question) -> click.Command:
    """Make the command of a question, with the options that it takes."""

    @click.pass_context
    def run(ctx: click.Context, /, **options: Any) -> None:
        _run(ctx, question, options)

    function: Any = run
    shared = (
        table_options,
        click.option(
            "--evidence",
            type=click.Path(dir_okay=False, path_type=Path),
            help="File for the records behind the answer: runs, certificates, people, ledger.",
        ),
        click.option("--brief", is_flag=True, help="Only which gauge, and the plain sentence."),
        known_on_option,
        *(_OPTIONS[name] for name in reversed(_ORDER) if name in question.takes),
        as_of_option,
    )
    for add in shared:
        function = add(function)
    make = click.command(question.name, help=_help_of(question), short_help=question.asks)
    made: click.Command = make(function)
    return made


def _run(ctx: click.Context, question: Question, options: dict[str, Any]) -> None:
    from fleet.services.audit import ask_records
    from fleet.services.database import open_database
    from fleet.services.trace import trace_frame

    ask = _ask_of(options["as_of"], options.get("since"), options)
    known_on: datetime | None = options["known_on"]
    sessions = open_database(settings_of(ctx))
    answer = ask_records(
        sessions,
        question,
        ask,
        known_on=known_on,
        depot_code=options.get("depot"),
    )
    frame = answer.frame
    if options["brief"]:
        frame = frame[[name for name in _BRIEF if name in frame.columns]]
    output: Path = options["output"]
    put_frame(frame, options["form"], output, title=question.name)
    if options["evidence"] is not None:
        behind = trace_frame(sessions, answer.checks, known_on=known_on)
        put_frame(behind, None, options["evidence"], title=f"{question.name} evidence")
    note(_looked_at(answer.gauges, len(frame), ask, known_on))
    if question.finds and len(frame):
        ctx.exit(FOUND_EXIT)


def _ask_of(as_of: date | None, since: date | None, options: dict[str, Any]) -> Ask:
    day = today_option(as_of)
    if since is not None and since > day:
        raise click.BadParameter(
            f"{since} is after the day asked about, {day}.", param_hint="'--since'"
        )
    phase: str | None = options.get("phase")
    phases = BOTH_PHASES if phase is None else (Phase(phase.replace("-", "_")),)
    return Ask(
        day,
        since,
        phases,
        least=options.get("least"),
        codes=tuple(options.get("codes", ())),
        days=options.get("days"),
        off_by_percent=options.get("off_by"),
    )


def _looked_at(gauges: int, rows: int, ask: Ask, known_on: datetime | None) -> str:
    known = "" if known_on is None else f", as known on {known_on.isoformat()}"
    return (
        f"{rows} row{'' if rows == 1 else 's'}; {gauges} gauge{'' if gauges == 1 else 's'} "
        f"installed as of {ask.as_of}{known}"
    )
