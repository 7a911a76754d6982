"""`busim plan`: the commands about a plan as a file. Each is a module of its own."""

from __future__ import annotations

import typer

from busim.cli.commands import PlanCommands

NAME = "plan"
HELP = "Show, change, split, compare, import and export plans."

command = typer.Typer(
    name=NAME, help=HELP, cls=PlanCommands, no_args_is_help=True, add_completion=False, rich_markup_mode=None
)


@command.callback()
def options() -> None:
    """`busim plan` alone has no options."""
