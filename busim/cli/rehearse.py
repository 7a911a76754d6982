"""`busim rehearse`: the commissioning of a plan, on the emulated installation; with --port on the real line."""

from __future__ import annotations

import json
from itertools import islice
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options, real_line

if TYPE_CHECKING:
    from busim.commissioning.rehearse import Rehearsal, WhatIf
    from busim.plan import Plan

NAME = "rehearse"
HELP = "Rehearse the commissioning step by step, or what can go wrong."

_ALL = "all"


class CannotHappen(Exception):
    """A what-if that cannot happen on `line`, for the reason `why`."""

    def __init__(self, line: str, why: str) -> None:
        super().__init__(line, why)
        self.line, self.why = line, why


def _cannot(reason: CannotHappen, name: str, *, named: bool, as_json: bool) -> None:
    """Say that a what-if cannot happen on this line."""
    from busim.commissioning.rehearse import SCHEMA, find_what_if

    if as_json:
        told = {**find_what_if(name).as_json(), "line": reason.line, "cannot_happen_because": reason.why}
        print(json.dumps({"schema": SCHEMA, **told}, indent=2))
    else:
        from busim.cli.screen import Screen

        other = "Name another line with --line." if named else "Nor on another line of this plan."
        Screen().say(f"{name} cannot happen on line {reason.line!r}: {reason.why}. {other}")


def command(
    plan: Annotated[Optional[str], typer.Argument(metavar="PLAN", help="The plan, a YAML file.")] = None,  # noqa: UP045
    what_if: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--what-if", metavar="NAME", help="Rehearse a mishap of --what-ifs, or `all` of them."),
    ] = None,
    what_ifs: Annotated[bool, typer.Option("--what-ifs", help="List what can go wrong instead.")] = False,
    detail: Annotated[bool, typer.Option("--detail", help="Show every step.")] = False,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Show every step of this line; with --what-if: try it on this line."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Every step as JSON on standard output.")] = False,
    seed: options.RunSeed = 1,
    trace: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Record the rehearsal into this file."),
    ] = None,
    overwrite: options.Overwrite = False,
    port: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="TARGET", help="Do the steps on a real line: socket://..., rfc2217://... or a port."),
    ] = None,
    record: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="With --port: keep the record of who did what in this file."),
    ] = None,
    who: Annotated[str, typer.Option(metavar="NAME", help="With --port: who does it and signs.")] = "",
    resume: Annotated[bool, typer.Option("--resume", help="With --port: go on with a record.")] = False,
    direction: real_line.Direction = "hardware",
    yes: real_line.Yes = False,
) -> None:
    """Rehearse and show. Exit code 1 if a step failed, or a what-if did not show as described."""
    from busim.cli import option_parsing
    from busim.cli import rehearse_tables as tables
    from busim.cli.plan_file import read_usable
    from busim.foundation.errors import UserError

    if what_ifs:
        tables.print_what_ifs()
        return
    if plan is None:
        raise UserError(
            "no plan was named", expected="a plan file", mend="busim rehearse PLAN, or busim rehearse --what-ifs"
        )
    planned = read_usable(plan)
    if port is not None:
        from busim.cli import rehearse_real

        if what_if is not None or trace is not None or as_json:
            raise UserError(
                "a real line has neither mishaps to order nor simulated time", found="--what-if, --trace or --json",
                expected="--port alone, with --record", mend="leave them out",
            )  # fmt: skip
        raise typer.Exit(
            rehearse_real.run(
                planned, port, record, who=who, line=line, direction=direction, resume=resume, yes=yes
            )
        )  # fmt: skip
    if record is not None or resume:
        raise UserError(
            "an emulated line has no record to sign", found="--record or --resume", expected="--port TARGET too",
            mend="leave them out, or name the real line with --port",
        )  # fmt: skip
    if what_if is None:
        option_parsing.line([one.name for one in planned.lines], line)
    if what_if == _ALL:
        if trace is not None:
            raise UserError(
                "one trace cannot hold several rehearsals", field="--trace", found=f"--what-if {_ALL}",
                expected="one what-if, or none", mend="name the one to record",
            )  # fmt: skip
        raise typer.Exit(_all(planned, line, seed, as_json=as_json, detail=detail))
    try:
        rehearsal, tried = _one(planned, what_if, line, seed, trace, overwrite=overwrite, quiet=as_json)
    except CannotHappen as reason:  # that is an answer, and no mistake of whoever asked
        _cannot(reason, what_if or "", named=line is not None, as_json=as_json)
        return
    if as_json:
        told = None if tried is None else {**tried.as_json(), "as_told": tried.as_told(rehearsal)}
        print(json.dumps({**rehearsal.as_json(), "told": told}, indent=2))
    else:
        tables.print_rehearsal(rehearsal, tried, trace)
        if detail or (line is not None and tried is None):
            tables.print_detail(rehearsal, line if tried is None else None)
    if not (rehearsal.ok if tried is None else tried.as_told(rehearsal)):
        raise typer.Exit(1)


def _one(
    plan: Plan,
    name: str | None,
    line: str | None,
    seed: int,
    trace: str | None,
    *,
    overwrite: bool,
    quiet: bool,
    anywhere: bool = True,
) -> tuple[Rehearsal, WhatIf | None]:
    """One rehearsal, in a world of its own; `anywhere`: without `line` a what-if may take any line.

    Raises UserError, and CannotHappen where the what-if cannot show there.
    """
    from busim.cli.show import progress
    from busim.commissioning.rehearse import find_what_if, line_for, planned, rehearse, settings_for, steps_of
    from busim.runtime.session import Run

    tried = None if name is None else find_what_if(name)
    run = Run(plan, seed, trace=trace, overwrite=overwrite, played=(), watched=True)
    try:
        cameras = planned(plan, run.world)
        steps, assumed = steps_of(plan, cameras)
        if tried is not None:
            settings = settings_for(plan, run.world.protocols, cameras, assumed, line)
            setting, steps, why_not = line_for(tried, settings if anywhere else islice(settings, 1))
            if why_not:
                raise CannotHappen(setting.line, why_not)
        with progress(hidden=quiet) as advanced:
            rehearsal = rehearse(
                plan, run.world, cameras, steps, assumed, seed=seed, what_if=name or "", advanced=advanced
            )
        run.finish()
    except BaseException:
        run.abandon()
        raise
    return rehearsal, tried


def _all(plan: Plan, line: str | None, seed: int, *, as_json: bool, detail: bool) -> int:
    """Every what-if, each in a world of its own. Returns the exit code."""
    from busim.cli import rehearse_tables as tables
    from busim.commissioning.rehearse import SCHEMA, what_ifs

    tried: list[tuple[WhatIf, Rehearsal | None, str]] = []
    for one in what_ifs().values():
        try:
            rehearsal, _ = _one(plan, one.name, line, seed, None, overwrite=False, quiet=as_json, anywhere=False)
        except CannotHappen as reason:
            tried.append((one, None, reason.why))
        else:
            tried.append((one, rehearsal, ""))
    if as_json:
        entries = [
            {
                **one.as_json(),
                "cannot_happen_because": why_not or None,
                "as_told": None if rehearsal is None else one.as_told(rehearsal),
                "rehearsal": None if rehearsal is None else rehearsal.as_json(),
            }
            for one, rehearsal, why_not in tried
        ]
        print(json.dumps({"schema": SCHEMA, "plan": plan.name, "seed": seed, "what_ifs": entries}, indent=2))
    else:
        tables.print_all(plan.name, tried, detail=detail)
    return 0 if all(rehearsal is None or one.as_told(rehearsal) for one, rehearsal, _ in tried) else 1
