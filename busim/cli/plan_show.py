"""`busim plan show`: the plan with every default, as a plan file again."""

from __future__ import annotations

import json
from typing import Annotated

import typer

NAME = "show"
HELP = "Print the plan with every default filled in and marked, as a plan file again."
SCHEMA = 1


def command(
    plan: Annotated[str, typer.Argument(help="The plan, a YAML file.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of YAML.")] = False,
) -> None:
    """Read, spell out, print."""
    from busim.plan import defaults, read, spelled

    installation = read(plan)
    whole = spelled(installation)
    if as_json:
        report = {
            "schema": SCHEMA,
            "plan": installation.name,
            "values": whole.values,
            "assumed": sorted(whole.assumed),
            "base_units": defaults(installation),
        }
        print(json.dumps(report, indent=2, ensure_ascii=False, default=str))
        return
    print("# Every value of the plan. Unmarked: planned, as written. `default`: nobody wrote it, so it is assumed.")
    print(whole.yaml(), end="")
