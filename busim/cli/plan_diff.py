"""`busim plan diff`: what changed from one plan to another, by what somebody has to do on site."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from busim.analysis.diff import Difference

NAME = "diff"
HELP = "Say what changed between two plans: what to do on site."


def command(
    before: Annotated[str, typer.Argument(metavar="OLD", help="The plan as it was, a YAML file.")],
    after: Annotated[str, typer.Argument(metavar="NEW", help="The plan as it is to be.")],
    every: Annotated[bool, typer.Option("--all", help="List every field that differs too.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="All of it as JSON on standard output.")] = False,
) -> None:
    """Compare and show. Exit code 0 where nothing differs, 1 where something does, 2 where one cannot be read."""
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

    if found.equal:
        print("equal: nothing to do on site (comments, and the order in which things are listed, are no difference)")
        return
    for task, title in TASKS.items():
        texts = [one.text for one in found.said if one.task == task]
        if texts:
            print(f"{title}:")
            print("\n".join(f"  {text}" for text in texts))
    if every:
        print("every field, as planned:")
        for one in found.fields:
            where = f"{one.kind} {one.name!r}" + (f" {one.field}" if one.field else "")
            print(f"  {where}: {one.before or 'not there'} -> {one.after or 'not there'}")
