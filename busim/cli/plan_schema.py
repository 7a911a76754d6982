"""`busim plan schema`: the schema of a plan file, and of the files beside it, for editors."""

from __future__ import annotations

import json
from enum import StrEnum
from typing import Annotated, Any

import typer

NAME = "schema"
HELP = "Print the form of a plan as JSON Schema, for editors."


class Form(StrEnum):
    """The kinds of files with a schema."""

    plan = "plan"
    protocol = "protocol"
    camera = "camera"


def command(of: Annotated[Form, typer.Option(help="The form of which file.")] = Form.plan) -> None:
    """Print it."""
    from busim import protocols
    from busim.plan import models

    form = {Form.plan: _plan, Form.protocol: protocols.json_schema, Form.camera: models.json_schema}[of]
    print(json.dumps(form(), indent=2, ensure_ascii=False))


def _plan() -> dict[str, Any]:
    """The schema of a plan, with the parameters of each fault, which a plan does not know."""
    from busim import plan
    from busim.simulator.faults import all_faults, all_presets

    form = plan.json_schema()
    shape = form["$defs"]["FaultShape"]
    shape["properties"]["fault"]["enum"] = [*all_faults(), *all_presets()]
    del shape["additionalProperties"]
    shape["unevaluatedProperties"] = False
    shape["allOf"] = [
        {"if": {"properties": {"fault": {"const": name}}}, "then": {"properties": fault.schema()}}
        for name, fault in all_faults().items()
    ]
    return form
