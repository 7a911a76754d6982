"""`busim measure`: the true timing of one real camera, from reads; and the plan with what was measured."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from busim.cli import real_line

if TYPE_CHECKING:
    from busim.onsite.measure import Measurement, Part

NAME = "measure"
HELP = "Measure the timing of one real camera, by reads alone."

_READS = "It sends reads alone, after listening, and nothing at all if somebody else is heard: no controller may poll."
_UNITS = {"packing length": "bytes"}


def command(
    target: real_line.Target,
    plan: Annotated[str, typer.Option("--plan", metavar="PLAN", help="The plan that has the camera.")],
    camera: Annotated[str, typer.Option(metavar="ID", help="The camera: its bus ID, or its name.")],
    reads: Annotated[int, typer.Option(min=6, max=100_000, metavar="N", help="Number of reads.")] = 100,
    direction: real_line.Direction = "hardware",
    listen: Annotated[
        str, typer.Option(metavar="TIME", help="How long to listen first. Default: until the slowest poll is due.")
    ] = "",
    time_out: Annotated[str, typer.Option("--time-out", metavar="TIME", help="Time-out of a reply.")] = "1s",
    write: Annotated[bool, typer.Option("--write", help="Write what was measured into the plan.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="The parts as JSON on standard output.")] = False,
    yes: real_line.Yes = False,
) -> None:
    """Ask, listen, measure, show; change the plan only with --write."""
    from busim.cli.plan_file import read_usable
    from busim.commissioning.bus_scan import listening
    from busim.foundation.units import parse_time
    from busim.installation import resolve
    from busim.onsite.measure import measure, planned, with_measured
    from busim.onsite.targets import RealTool, dangers, open_target, parse_target
    from busim.simulator.bus import setting

    at, site = parse_target(target), resolve(read_usable(plan))
    known = planned(site, camera)
    length = parse_time(listen) if listen else listening(site.plan)[0]
    patience = parse_time(time_out)
    real_line.agree([*dangers(at, direction), _READS], yes=yes)
    with open_target(at, known.baud, known.format, direction=direction) as link:
        tool = RealTool(link, known.protocol, setting(known.baud, known.format), time_out=patience)
        real_line.listening(length)
        found = measure(tool, known, length, reads)
    fields = with_measured(known, found.parts, real_line.today())
    changed = _changed(plan, fields) if fields else ""
    if as_json:
        print(json.dumps({**found.as_json(), "plan_fields": dict(fields)}, indent=2))
    else:
        _show(found, fields, written=write)
    if write and changed:
        from busim.cli.writing import write_whole

        write_whole(plan, changed, "plan")


def _changed(plan: str, fields: Mapping[str, str]) -> str:
    """The text of the plan with these fields, read again before anything is written."""
    from busim.foundation.yaml_source import load
    from busim.plan import read_text, rewrite

    changed, _ = rewrite(load(plan), fields)
    read_text(changed, plan)
    return changed


def _show(found: Measurement, fields: Mapping[str, str], *, written: bool) -> None:
    from busim.cli.screen import Column, Screen, counted
    from busim.foundation.units import show_time

    screen = Screen()
    lost = f", {found.lost} without a reply" if found.lost else ""
    screen.say(f"{found.camera}, bus ID {found.bus_id}: {counted(found.reads, 'read')}{lost}", "bold")
    rows = [(one.name, one.how, *_figures(one)) for one in found.parts]
    columns = [
        Column("part"),
        Column("how"),
        *(Column(name, right=True) for name in ("least", "median", "most", "95 %")),
    ]
    screen.table(columns, rows)
    for one in found.parts:
        screen.say(f"{one.name}: {one.why}.", indent=2, hang=2)
    if found.network is not None:
        screen.say(f"Network: round trip of the connection {show_time(found.network)} (measured by the system).")
    for note in found.notes:
        screen.say(f"Note: {note}.", hang=2)
    if not fields:
        screen.say("Nothing for the plan: no part could be told from the others.")
        return
    screen.say("Written into the plan:" if written else "For the plan (--write):")
    for field, text in fields.items():
        screen.say(f"{field}: {text}", indent=2, hang=2)


def _figures(part: Part) -> tuple[str, str, str, str]:
    from busim.foundation.units import show_time

    value = part.value
    if part.name in _UNITS:
        return f"{value.least:g}", f"{value.middle:g} {_UNITS[part.name]}", f"{value.most:g}", ""
    if part.how == "bound":
        return show_time(value.least), "?", show_time(value.most), ""
    between = f"{show_time(value.low)} to {show_time(value.high)}"
    return show_time(value.least), show_time(value.middle), show_time(value.most), between
