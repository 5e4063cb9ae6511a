"""A bar on the terminal while something long goes on; nothing where nobody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """Give a function to be told how much is done, of how much; it draws on stderr.

    Drawn only on a terminal and not in quiet mode; a new whole starts a new bar.
    """
    context = click.get_current_context(silent=True)
    quiet = context is not None and context.meta.get("fleet.quiet")
    if quiet or not _watched():
        yield lambda done, of: None
        return
    from rich import progress as rich
    from rich.console import Console

    columns = (
        rich.TextColumn("{task.description}"),
        rich.BarColumn(),
        rich.MofNCompleteColumn(),
        rich.TimeRemainingColumn(),
    )
    with rich.Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task(label, total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


def _watched() -> bool:
    return sys.stderr.isatty()
