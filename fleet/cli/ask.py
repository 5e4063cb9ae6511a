"""Ask on the terminal without a trace on stdout, which is for data alone.

click's own prompts leave a blank on stdout for each question, also when told to use stderr.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import click


def ask(
    question: str, *, default: str | None = "", check: Callable[[str], str] | None = None
) -> str:
    """Ask until the answer can be taken.

    Parameters
    ----------
    question : str
        Without the colon.
    default : str or None
        Taken for an empty answer, shown when it is not empty; None asks again.
    check : callable, optional
        Gives the answer as it is taken, or raises `click.UsageError` with what is expected.

    Returns
    -------
    str
        Without blanks around it.

    Raises
    ------
    click.Abort
        The input ended.
    """
    shown = f" [{default}]" if default else ""
    while True:
        click.echo(f"{question}{shown}: ", nl=False, err=True)
        line = sys.stdin.readline()
        if not line:
            click.echo(err=True)
            raise click.Abort
        answer = line.strip() or default
        if answer is None:
            click.echo("An answer is needed.", err=True)
            continue
        try:
            return answer if check is None else check(answer)
        except click.UsageError as error:
            click.echo(f"Not taken: {error.message}.", err=True)


def agreed(question: str, *, default: bool | None = None) -> bool:
    """Ask for yes or no; without a default an answer is needed."""
    words = {"y": True, "yes": True, "n": False, "no": False}

    def check(text: str) -> str:
        if text.lower() not in words:
            raise click.UsageError("yes or no is expected")
        return text.lower()

    preset = None if default is None else ("yes" if default else "no")
    return words[ask(f"{question} (yes, no)", default=preset, check=check)]
