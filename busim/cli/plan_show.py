"""`busim plan show`: the plan with every default, as a plan file again."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.plan import Plan

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
    print("# `NAME says`: from the camera model of this name, assumed as well.")
    print(replace(whole, assumed={**whole.assumed, **_of_models(installation, whole.assumed)}).yaml(), end="")


def _of_models(plan: Plan, assumed: dict[str, str]) -> dict[str, str]:
    """What the model of each camera decided, by field, for the fields that the plan leaves to it."""
    from busim.foundation.units import show_time
    from busim.installation import outline

    found: dict[str, str] = {}
    for one in outline(plan).cameras.values():
        model = one.known
        if model is None:
            continue
        bus, supply, delay = model.bus, model.supply, model.timing.turnaround
        values = {
            "turnaround": f"{show_time(delay.low)} to {show_time(delay.high)}",
            "factory_id": str(bus.factory_id),
            "factory_baud": f"{float(bus.factory_baud):.10g} Bd",
            "factory_format": str(bus.factory_format),
            "firmware": model.firmware,
            "unpowered": bus.unpowered,
            "unit_load": f"{bus.unit_load:g}",
            "power": f"{supply.idle:g} W at idle, {supply.peak:g} W at peak, {supply.start_up:g} W at start-up, "
            f"{supply.voltage.low:g} to {supply.voltage.high:g} V",
        }
        fields = ((f"{one.field}.{key}", value) for key, value in values.items())
        found |= {field: f"{model.name} says {value}" for field, value in fields if field in assumed}
    return found


def _as_written(value: Any) -> Any:
    """Numbers that JSON would change, as texts: the format `8E1` is not 80.0."""
    from busim.foundation.yaml_source import Real

    if isinstance(value, dict):
        return {key: _as_written(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_as_written(entry) for entry in value]
    return value.text if isinstance(value, Real) and value.text != repr(float(value)) else value
