"""`busim plan schema`: the form of a plan file, for editors."""

from __future__ import annotations

import json

NAME = "schema"
HELP = "Print the form of a plan file as JSON Schema, with which an editor completes and checks while one types."


def command() -> None:
    """Print it."""
    from busim.plan import json_schema

    print(json.dumps(json_schema(), indent=2, ensure_ascii=False))
