"""`busim budget`: what the lines of a plan can do, by arithmetic, before anything is built or simulated.

With `--verify` the same plan is simulated as well, and both stand side by side.
"""

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
    verify: Annotated[bool, typer.Option("--verify", help="Simulate the plan too, and compare.")] = False,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="With --verify: simulated time, as 60s or 2h. Left out: long enough to tell."),
    ] = None,
    seed: Annotated[int, typer.Option(help="With --verify: seed of everything random.")] = 1,
) -> None:
    """Compute and show."""
    if verify:
        _verify(plan, length, seed, need, as_json)
        return
    from busim.analysis.budget import budget
    from busim.cli.option_parsing import rate
    from busim.plan import read

    found = budget(read(plan), need=None if need is None else rate(need))
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
        return
    from busim.cli.budget_tables import print_budget

    print_budget(found)


def _verify(plan: str, length: str | None, seed: int, need: str | None, as_json: bool) -> None:
    """Compare; exit code 1 where something differs."""
    from busim.cli.show import progress
    from busim.cli.verify_table import print_verification
    from busim.experiments.verify import DIFFERS, verify
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time
    from busim.plan import read

    if need is not None:
        raise UserError("a need is not simulated", found="--need with --verify", mend="ask for one of them")
    until = None if length is None else parse_time(length)
    if until == 0:
        raise UserError(
            "nothing happens in no time", found=repr(length), expected="more than 0", mend="say for example --for 60s"
        )
    with progress(hidden=as_json) as advanced:
        found = verify(read(plan), until, seed, advanced)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
    else:
        print_verification(found)
    if found.verdict == DIFFERS:
        raise typer.Exit(1)
