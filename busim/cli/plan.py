"""`busim plan`: the commands about a plan as a file. Each is a module of its own."""

from __future__ import annotations

import typer

from busim.cli import plan_diff, plan_export, plan_from, plan_import, plan_schema, plan_set, plan_show, plan_split

NAME = "plan"
HELP = "Show, change, split, compare, import and export plans."
PARTS = (plan_show, plan_set, plan_split, plan_diff, plan_from, plan_import, plan_export, plan_schema)

commands = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
for module in PARTS:
    commands.command(module.NAME, help=module.HELP)(module.command)
