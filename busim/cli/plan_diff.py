"""`busim plan diff`: the changes between two plans, as work on site."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.analysis.diff import Difference

NAME = "diff"
HELP = "Say what changed between two plans: what to do on site."


def command(
    before: Annotated[str, typer.Argument(metavar="OLD", help="The plan as it was, a YAML file.")],
    after: Annotated[str, typer.Argument(metavar="NEW", help="The plan as it is to be.")],
    every: Annotated[bool, typer.Option("--all", help="List every field that differs too.")] = False,
    as_json: options.AllAsJson = False,
) -> None:
    """Compare and show. Exit code 0 for equal plans, 1 for different ones, 2 if one cannot be read."""
    from busim.analysis.diff import diff
    from busim.plan import read

    found = diff(read(before), read(after))
    if as_json:
        print(json.dumps(found.as_json(), indent=2, ensure_ascii=False))
    else:
        _print(found, every)
    if not found.equal:
        raise typer.Exit(1)


def _print(found: Difference, every: bool) -> None:
    from busim.analysis.diff import TASKS
    from busim.cli.screen import Screen

    screen = Screen()
    if found.equal:
        screen.say("equal: nothing to do on site (comments and the order of entries make no difference)")
        return
    for task, title in TASKS.items():
        texts = [one.text for one in found.said if one.task == task]
        if texts:
            screen.say(f"{title}:", "bold")
        for text in texts:
            screen.say(text, indent=2, hang=2)
    if found.caution:
        screen.say(found.caution, "yellow")
    if every:
        screen.say("every field, as planned:", "bold")
        for one in found.fields:
            where = f"{one.kind} {one.name!r}" + (f" {one.field}" if one.field else "")
            change = f"{one.before or 'not there'} -> {one.after or 'not there'}"
            screen.say(f"{where}: {change}", indent=2, hang=2)
