"""`busim scan`: the cameras on an emulated line, found as on site: it listens first."""

from __future__ import annotations

import json
from enum import StrEnum
from typing import Annotated, Optional

import typer

from busim.cli import options

NAME = "scan"
HELP = "Find the cameras of an emulated line: listen first, then ask."


class WayName(StrEnum):
    """The ways to find cameras."""

    scan = "scan"
    slots = "slots"
    serials = "serials"


def command(
    plan: options.Plan,
    detail: Annotated[bool, typer.Option("--detail", help="Show also how long each way takes.")] = False,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="The line to scan. Default: the first one."),
    ] = None,
    way: Annotated[
        Optional[WayName],  # noqa: UP045
        typer.Option(
            metavar="WAY", help="scan: each ID; slots: slotted broadcasts; serials: by halves. Default: the best here."
        ),
    ] = None,
    stop: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(metavar="MASTER", help="Stop this master of the plan first, or `all`; repeatable."),
    ] = None,
    at: Annotated[str, typer.Option(metavar="TIME", help="When listening begins, as 10s.")] = "0s",
    listen: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="TIME", help="How long to listen, as 20s. Default: until the slowest poll is due."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="What was found as JSON on standard output.")] = False,
    seed: options.Seed = 1,
) -> None:
    """Listen, find and show. Exit code 1 if somebody polls, or two cameras share an ID."""
    from busim.cli.plan_file import read_usable
    from busim.commissioning.bus_scan import scan_bus
    from busim.foundation.units import parse_time

    installation = read_usable(plan)
    stopped = [master.name for master in installation.masters] if stop and "all" in stop else stop or []
    call = scan_bus(
        installation, line, way=way, seed=seed, stopped=stopped, at=parse_time(at),
        listening=None if listen is None else parse_time(listen),
    )  # fmt: skip
    if as_json:
        print(json.dumps(call.as_json(), indent=2))
    else:
        from busim.cli.scan_screen import print_scan

        others = [one.name for one in installation.lines if one.name != call.line]
        print_scan(call, others, detail=detail)
    if not call.ok:
        raise typer.Exit(1)
