"""`busim plan show`: the plan with every default, as a plan file again."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from busim.cli import options

NAME = "show"
HELP = "Print a plan with every default, as a plan file again."
SCHEMA = 1


def command(
    plan: options.Plan,
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
            "values": _as_written(whole.values),
            "assumed": sorted(whole.assumed),
            "base_units": defaults(installation),
        }
        print(json.dumps(report, indent=2, ensure_ascii=False, default=str))
        return
    print("# Every value of the plan. Unmarked: planned, as written. `default`: not in the plan, so it is assumed.")
    print(whole.yaml(), end="")


def _as_written(value: Any) -> Any:
    """Numbers that JSON would change, as texts: the format `8E1` is not 80.0."""
    from busim.foundation.yaml_source import Real

    if isinstance(value, dict):
        return {key: _as_written(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_as_written(entry) for entry in value]
    return value.text if isinstance(value, Real) and value.text != repr(float(value)) else value
