"""`busim plan schema`: the form of a plan file, and of the files that it may name, for editors."""

from __future__ import annotations

import json
from enum import StrEnum
from typing import Annotated

import typer

NAME = "schema"
HELP = "Print the form of a plan as JSON Schema, for editors."


class Form(StrEnum):
    """What has a form: a plan, and what it may name."""

    plan = "plan"
    protocol = "protocol"
    camera = "camera"


def command(of: Annotated[Form, typer.Option(help="The form of which file.")] = Form.plan) -> None:
    """Print it."""
    from busim import plan, protocols
    from busim.plan import models

    form = {Form.plan: plan.json_schema, Form.protocol: protocols.json_schema, Form.camera: models.json_schema}[of]
    print(json.dumps(form(), indent=2, ensure_ascii=False))
