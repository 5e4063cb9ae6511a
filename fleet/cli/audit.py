"""Ask what is, or on any day was, overdue or out of tolerance; one command a question."""

from __future__ import annotations

import click

from fleet.cli import pack
from fleet.cli.question import InOrder, make_command
from fleet.services.audit_question import QUESTIONS


@click.group(cls=InOrder)
def command() -> None:
    """Ask what is, or on any day was, overdue or out of tolerance.

    Every question takes two dates. --as-of is the day at whose end the question stands: visits
    after it are not seen, and gauges, certificates and skills are those of their days. --known-on
    reads the records as they were known then, before later amendments.

    Each command leaves with 3 when it found something and with 0 when not; the summary always
    with 0. The note on stderr says how many gauges were looked at.

    \b
    Example:
      fleet audit overdue --as-of 2026-06-30
    """


for _question in QUESTIONS:
    command.add_command(make_command(_question))
command.add_command(pack.command, name="pack")
