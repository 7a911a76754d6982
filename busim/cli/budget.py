"""`busim budget`: what the lines of a plan can do, by arithmetic, before anything is built or simulated.

With `--verify` the same plan is simulated as well, and both stand side by side.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.plan import Plan

NAME = "budget"
HELP = "Compute poll rates, delays and headroom, and what would help."


def command(
    plan: options.Plan,
    detail: Annotated[bool, typer.Option("--detail", help="Show every line in full, with the assumptions.")] = False,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Show this line in full, with the assumptions."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The budget as JSON on standard output.")] = False,
    need: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="RATE", help="The poll rate each camera needs, of its values polled most, as 10Hz."),
    ] = None,
    explained: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--explain", metavar="LINE.QUANTITY", help="Show how one number of a line is computed."),
    ] = None,
    verify: Annotated[bool, typer.Option("--verify", help="Simulate the plan too, and compare.")] = False,
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", metavar="TIME", help="With --verify: simulated time, as 60s. Default: enough to tell."),
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", help="With --verify: seed of everything random.")] = 1,
) -> None:
    """Compute and show."""
    if verify:
        _verify(plan, length, seed, need, as_json=as_json, detail=detail)
        return
    from busim.analysis.budget import budget
    from busim.cli import option_parsing
    from busim.cli.plan_file import read_usable

    planned = read_usable(plan)
    option_parsing.line([one.name for one in planned.lines], line)
    if explained is not None:
        _explain(planned, explained)
        return
    full = as_json or detail or line is not None  # the table of all lines shows no streams
    found = budget(planned, need=None if need is None else option_parsing.rate(need), streams=full)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
        return
    from busim.cli.budget_tables import print_budget, print_detail

    if line is not None:
        found = replace(found, lines=tuple(one for one in found.lines if one.line == line))
    print_budget(found)
    if full:
        print_detail(found)


def _explain(planned: Plan, asked: str) -> None:
    """Print the steps to one quantity of a line, of each of its masters."""
    from busim.analysis.budget import EXPLAINED, cases, explain
    from busim.cli import option_parsing
    from busim.cli.explain_steps import print_steps
    from busim.foundation.errors import UserError

    name, dot, quantity = asked.rpartition(".")
    if not dot:
        raise UserError(
            "this names no quantity of a line", field="--explain", found=repr(asked[:60]),
            expected=f"a line, a dot, and one of {', '.join(EXPLAINED)}",
            mend=f"write for example --explain '{planned.lines[0].name}.cycle'",
        )  # fmt: skip
    option_parsing.line([one.name for one in planned.lines], name, "--explain")
    masters = [case for case in cases(planned) if case.line == name]
    if not masters:
        raise UserError(f"line {name!r} has no {quantity}", found="no master that asks on it")
    for case in masters:
        print_steps(case.line, case.master, explain(case, quantity))


def _verify(plan: str, length: str | None, seed: int, need: str | None, *, as_json: bool, detail: bool) -> None:
    """Compare; exit code 1 where something differs."""
    from busim.cli.plan_file import read_usable
    from busim.cli.show import progress
    from busim.cli.verify_table import print_verification
    from busim.experiments.verify import DIFFERS, verify
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time

    if need is not None:
        raise UserError("a need is not simulated", found="--need with --verify", mend="ask for one of them")
    until = None if length is None else parse_time(length)
    if until == 0:
        raise UserError(
            "nothing happens in no time", found=repr(length), expected="more than 0", mend="say for example --for 60s"
        )
    with progress(hidden=as_json) as advanced:
        found = verify(read_usable(plan), until, seed, advanced)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
    else:
        print_verification(found, detail=detail)
    if found.verdict == DIFFERS:
        raise typer.Exit(1)
