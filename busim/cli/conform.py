"""`busim conform`: tests one real device as its master, and says what it does otherwise than protocol and model say."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from busim.cli import real_line

if TYPE_CHECKING:
    from busim.onsite.conform import Conformance, Verdict

NAME = "conform"
HELP = "Test one real device: reads, damaged frames, time-outs."

_ALONE = (
    "Only this one device may be on the line: no controller, no other camera. The test sends reads, and damaged reads "
    "that no cut can turn into a write."
)
_CHANGES = (
    "--allow-changes: it also sends rubbish, two reads at once, a broadcast and writes of one value that moves "
    "nothing, by the model given. A device of another model may do anything with them, so keep clear of its head."
)


def command(
    target: real_line.Target,
    model: Annotated[str, typer.Option(metavar="MODEL", help="The camera model: a name or a file.")],
    id: Annotated[int, typer.Option("--id", metavar="N", help="Its bus ID.")] = 1,
    protocol: Annotated[str, typer.Option(metavar="NAME", help="The protocol: a name or a file.")] = "modbus-rtu",
    baud: real_line.Baud = "38400",
    format: real_line.Format = "8E1",
    direction: real_line.Direction = "hardware",
    listen: real_line.Listen = "7s",
    time_out: Annotated[str, typer.Option("--time-out", metavar="TIME", help="Time-out of a reply.")] = "1s",
    allow_changes: Annotated[
        bool, typer.Option("--allow-changes", help="Send rubbish, broadcasts and writes too.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="The verdicts as JSON on standard output.")] = False,
    yes: real_line.Yes = False,
) -> None:
    """Ask, listen, test and show. Exit code 1 if a check fails."""
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time
    from busim.onsite.conform import Device, conform
    from busim.onsite.targets import RealTool, dangers, open_target, parse_target
    from busim.plan.models import find as find_model
    from busim.protocols import find, has_id
    from busim.simulator.bus import setting

    at, spoken, known = parse_target(target), find(protocol), find_model(model)
    has_id(spoken, "the device", id)
    rate, form = real_line.rate(baud), real_line.form(format)
    if parse_time(time_out) <= 0:
        raise UserError("a time-out of nothing", found=time_out, expected="more than 0", mend="leave --time-out out")
    said = [*dangers(at, direction), _ALONE] + ([_CHANGES] if allow_changes else [])
    real_line.agree(said, yes=yes)
    with open_target(at, rate, form, direction=direction) as link:
        tool = RealTool(link, spoken, setting(rate, form), time_out=parse_time(time_out))
        person = _asked if sys.stdin.isatty() and not as_json else None
        device = Device(tool, known, id, changes=allow_changes, person=person)
        real_line.listening(parse_time(listen))
        try:
            found = conform(device, parse_time(listen), _told)
        finally:
            if device.left:
                print(f"CAUTION: {device.left}: set it back before the device is used.", file=sys.stderr)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
    else:
        _show(found)
    if not found.holds:
        raise typer.Exit(1)


def _told(verdict: Verdict) -> None:
    """While it runs: a test takes minutes, and Ctrl-C leaves what is known."""
    print(f"{verdict.state}: {verdict.what}", file=sys.stderr, flush=True)


def _asked(question: str) -> bool:
    return typer.confirm(question, default=False, err=True)


def _show(found: Conformance) -> None:
    from busim.cli.screen import Screen, counted

    screen = Screen()
    failed = sum(1 for one in found.verdicts if one.state == "fails")
    title = f"bus ID {found.bus_id}, {found.model}, {found.protocol}"
    ending = f"{counted(failed, 'check')} failed" if failed else "nothing failed"
    screen.say(f"{title}: {ending}; {counted(found.messages, 'message')} sent", "bold red" if failed else "bold")
    for one in found.verdicts:
        state = one.state.upper() if one.state == "fails" else one.state
        source = f" [{one.source}]" if one.source else ""
        tried = f" ({one.tried} tried)" if one.tried else ""
        screen.say(f"{state:9} {one.what}{tried}{source}", hang=10)
        for line in one.said:
            screen.say(line, indent=12, hang=2)
    if found.echo:
        screen.say("The adapter hears its own bytes; they were taken off.")
    for note in found.notes:
        screen.say(f"Note: {note}.", hang=2)
    screen.say("Times are measured here, with adapter and network in them.", "dim")
