"""`busim budget`: what the lines of a plan can do, by arithmetic, before anything is built or simulated."""

from __future__ import annotations

import json
from typing import Annotated, Optional

import typer

NAME = "budget"
HELP = "Compute from a plan how often cameras are polled, how soon moves arrive, what limits it and what would help."


def command(
    plan: Annotated[str, typer.Argument(help="The plan, a YAML file.")],
    as_json: Annotated[bool, typer.Option("--json", help="The budget as JSON on standard output.")] = False,
    need: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="The poll rate that is needed, as 10Hz: says what still reaches it."),
    ] = None,
) -> None:
    """Compute and show."""
    from busim.budget import budget
    from busim.errors import UserError
    from busim.plan import read
    from busim.units import parse_rate

    rate = None if need is None else parse_rate(need)
    if rate == 0:
        raise UserError(
            "a need of 0 is met by doing nothing", found=repr(need), expected="more than 0", mend="say 10Hz"
        )
    found = budget(read(plan), need=rate)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
        return
    from busim.cli.budget_tables import print_budget

    print_budget(found)
