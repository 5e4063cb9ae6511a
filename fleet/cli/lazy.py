"""Groups whose commands are imported only when they are called, so that help stays light."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

import click


class LazyGroup(click.Group):
    """A group that knows where its subgroups are and one line about each.

    Parameters
    ----------
    places : mapping
        Command name to (module, one-line help); the module holds a click command ``command``.
    """

    def __init__(
        self, *args: object, places: Mapping[str, tuple[str, str]] | None = None, **kwargs: object
    ) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self._places = dict(places or {})

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name every command in the order in which the job uses them."""
        return [*self._places, *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command's module and give the command."""
        if cmd_name not in self._places:
            return super().get_command(ctx, cmd_name)
        command: click.Command = import_module(self._places[cmd_name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the one-line helps without importing the commands."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self._places.items()])
