"""`busim scan`: which cameras are on an emulated line, found as one would on site: listening first."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from busim.commissioning.bus_scan import BusScan

NAME = "scan"
HELP = "Find the cameras of an emulated line as on site: listen, refuse where somebody polls, find, flag duplicates."
_CAUTION = (
    "Emulated: this command touches no real line. On a real one ask first: connecting to a converter may evict the "
    "show's controller."
)
_SHOWN = 24  # bytes of what was heard


class WayName(StrEnum):
    """How cameras are found."""

    scan = "scan"
    slots = "slots"
    serials = "serials"


def command(
    plan: Annotated[str, typer.Argument(help="The plan, a YAML file.")],
    line: Annotated[Optional[str], typer.Option(help="The line. Left out: the first one.")] = None,  # noqa: UP045
    way: Annotated[
        Optional[WayName],  # noqa: UP045
        typer.Option(help="scan: ID after ID; slots: slotted broadcasts; serials: by halves. Left out: the best here."),
    ] = None,
    stop: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(help="A master of the plan that is stopped beforehand; several times for several, or `all`."),
    ] = None,
    at: Annotated[str, typer.Option(help="When listening begins, as 10s.")] = "0s",
    listen: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Listen for so long, as 20s. Left out: as long as the slowest poll expected."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="What was found as JSON on standard output.")] = False,
    seed: Annotated[int, typer.Option(help="Seed of everything random.")] = 1,
) -> None:
    """Listen, find and show. Exit code 1 where somebody polls, or two cameras share an ID."""
    from busim.commissioning.bus_scan import Ground, scan_bus
    from busim.foundation.units import parse_time, show_time
    from busim.plan import read

    installation = read(plan)
    stopped = [master.name for master in installation.masters] if stop and "all" in stop else stop or []
    if not as_json:
        print(_CAUTION)
        ground = Ground(installation, line)
        length, why = (ground.listening, ground.why) if listen is None else (parse_time(listen), "as asked")
        print(f"\n{ground.line.name}: listening for {show_time(length)} (simulated) before anything is sent: {why}.")
    call = scan_bus(
        installation, line, way=way, seed=seed, stopped=stopped, at=parse_time(at),
        listening=None if listen is None else parse_time(listen),
    )  # fmt: skip
    if as_json:
        print(json.dumps(call.as_json(), indent=2))
    else:
        _print(call)
    if not call.ok:
        raise typer.Exit(1)


def _print(call: BusScan) -> None:
    from rich.console import Console

    console = Console(width=None if sys.stdout.isatty() else 120)
    if not call.quiet.safe:
        _refused(call)
        return
    print("Nothing was heard. A master that rests for longer than that is not excluded.")
    if call.others is not None:
        asked = ", ".join(str(id) for id in sorted({request.id for request in call.others.requests}))
        print(
            f"\nStopped at {call.others.at / 1e9:.3f} s: somebody else began to ask (bus IDs {asked}).\n"
            + _what_to_do(call)
        )
        return
    _print_found(console, call)
    _print_ways(console, call)
    print(f"\nBest here: {call.advice}.")


def _refused(call: BusScan) -> None:
    """Somebody polls: who, and what to do."""
    quiet = call.quiet
    shown = quiet.heard[:_SHOWN].hex(" ").upper() + (" ..." if len(quiet.heard) > _SHOWN else "")
    at = (call.quiet_at + (quiet.at or 0)) / 1e9
    print(f"Somebody polls here: {len(quiet.heard)} bytes heard, the first at {at:.3f} s:\n  {shown}")
    if call.polled:
        print(f"  bus IDs in them: {', '.join(map(str, call.polled))}; requests of others among them: "
              f"{len(quiet.requests)} (those sent through this converter bring only their replies)")  # fmt: skip
    print("Nothing was sent.\n" + _what_to_do(call))


def _what_to_do(call: BusScan) -> str:
    stops = " ".join(f"--stop '{name}'" for name in call.masters)
    here = f" In this emulation: {stops}." if stops else ""
    return f"To mend: stop the controller, and whatever else polls this line, then begin anew.{here}"


def _print_found(console: Console, call: BusScan) -> None:
    from rich.markup import escape
    from rich.table import Table

    print(f"\nFound by {call.way} (heard; the model is planned, by serial number):")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("ID", "serial", "model", "alone at its ID?"):
        table.add_column(title, justify="right" if title in ("ID", "serial") else "left")
    for row in call.rows:
        alone = "NO: " + row.doubt if row.sure else f"not known: {row.doubt}" if row.doubt else "yes"
        serial = "-" if row.serial is None else str(row.serial)
        table.add_row(str(row.id), serial, escape(row.model or "not in the plan"), escape(alone))
    console.print(table, highlight=False)
    if not call.rows:
        print("nobody")
    if call.looks:
        print(f"A closer look at {len(call.looks)} IDs took {call.checked / 1e9:.2f} s more (simulated).")
    known = [f"  ID {row.id}, serial {row.serial}: {row.where}" for row in call.rows if row.where]
    if known:
        print("Known to the emulator only, not to a laptop on site:\n" + "\n".join(known))


def _print_ways(console: Console, call: BusScan) -> None:
    from rich.table import Table

    print("\nHow long each way takes, in s; computed for the cameras of the plan, simulated on this line:")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("way", "computed\nbest", "\nmean", "never\nmore than", "simulated", "questions", "found", "missed*"):
        table.add_column(title, justify="left" if title == "way" else "right")
    for one in call.ways:
        if one.missing:
            table.add_row(one.name, *["-"] * 7)
            continue
        times = [f"{ns / 1e9:.2f}" for ns in (one.best, one.mean, one.most)]
        took = "stopped" if one.took is None else f"{one.took / 1e9:.2f}"
        table.add_row(one.name, *times, took, str(one.questions), str(one.found), str(len(one.hidden)))
    console.print(table, highlight=False)
    print("* cameras that are on and were not told apart from others: known to the emulator only.")
    for one in call.ways:
        if one.missing:
            print(f"no {one.name}: {one.missing}.")
