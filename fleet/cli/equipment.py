"""Ask about test equipment and spares; one command a question."""

from __future__ import annotations

import click

from fleet.cli.question import InOrder, make_command
from fleet.services.equipment_question import EQUIPMENT_QUESTIONS


@click.group(cls=InOrder)
def command() -> None:
    """Look after test equipment and spare instruments.

    Both dates mean what they mean in audit. Commands leave with 3 when they found something that
    is due, with 0 when not; spares and pool always with 0.

    \b
    Example:
      fleet equipment due --ahead 90
      fleet equipment tainted K1-800 --since 2026-03-01
    """


for _question in EQUIPMENT_QUESTIONS:
    command.add_command(make_command(_question))
