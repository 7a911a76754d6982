"""`busim plan diff`: the changes between two plans, as work on site."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.analysis.diff import Difference
    from busim.onsite.as_built import Differs

NAME = "diff"
HELP = "Say what changed between two plans, or a plan and a capture."
_PLANS = (".yaml", ".yml")  # anything else is no plan


def command(
    before: Annotated[str, typer.Argument(metavar="OLD", help="The plan as it was, a YAML file.")],
    after: Annotated[str, typer.Argument(metavar="NEW", help="The plan as it is to be, or a trace, pcapng or CSV.")],
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="With a capture: the line of the plan, if it has several."),
    ] = None,
    port: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(metavar="PORT", help="With a capture of a network: the port of the converter."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="List every field that differs too.")] = False,
    as_json: options.AllAsJson = False,
) -> None:
    """Compare and show. Exit code 0 for equal plans, 1 for different ones, 2 if one cannot be read."""
    if not after.endswith(_PLANS):
        _as_built(before, after, line, port, as_json)
        return
    from busim.analysis.diff import diff
    from busim.plan import read

    found = diff(read(before), read(after))
    if as_json:
        print(json.dumps(found.as_json(), indent=2, ensure_ascii=False))
    else:
        _print(found, every)
    if not found.equal:
        raise typer.Exit(1)


def _print(found: Difference, every: bool) -> None:
    from busim.analysis.diff import TASKS
    from busim.cli.screen import Screen

    screen = Screen()
    if found.equal:
        screen.say("equal: nothing to do on site (comments and the order of entries make no difference)")
        return
    for task, title in TASKS.items():
        texts = [one.text for one in found.said if one.task == task]
        if texts:
            screen.say(f"{title}:", "bold")
        for text in texts:
            screen.say(text, indent=2, hang=2)
    if found.caution:
        screen.say(found.caution, "yellow")
    if every:
        screen.say("every field, as planned:", "bold")
        for one in found.fields:
            where = f"{one.kind} {one.name!r}" + (f" {one.field}" if one.field else "")
            change = f"{one.before or 'not there'} -> {one.after or 'not there'}"
            screen.say(f"{where}: {change}", indent=2, hang=2)


def _as_built(plan: str, source: str, name: str | None, port: int | None, as_json: bool) -> None:
    """The planned line beside the overheard one."""
    from busim.cli import option_parsing
    from busim.cli.plan_from import overheard
    from busim.foundation.errors import UserError
    from busim.installation import resolve
    from busim.onsite.as_built import beside
    from busim.plan import read

    site = resolve(read(plan))
    names = [line.name for line in site.lines]
    option_parsing.line(names, name)
    if name is None and len(names) != 1:
        raise UserError(
            "which line of the plan?", file=plan, field="--line", expected=" or ".join(map(repr, names))[:300],
            mend="name the line that the capture shows",
        )  # fmt: skip
    line = next(one for one in site.lines if name in (None, one.name))
    survey, seen = overheard(source, line.line.protocol, _line_of(source, line.name), port)
    found = beside(line, survey, seen)
    if as_json:
        print(json.dumps({"schema": 1, "line": line.name, "differs": [one.as_json() for one in found]}, indent=2))
    else:
        _print_built(line.name, found, survey.until)
    if found:
        raise typer.Exit(1)


def _line_of(source: str, name: str) -> str | None:
    """The line of this name in a trace; None where the capture has one line alone, whatever its name."""
    from busim.foundation.errors import UserError
    from busim.recording.trace import open_trace

    try:
        with open_trace(source) as trace:
            lines = [one.name for one in trace.names.values() if one.kind == "line"]
    except UserError:  # another form of capture, or none: reading it says so
        return None
    return name if len(lines) != 1 else None


def _print_built(line: str, found: list[Differs], length: int) -> None:
    from busim.cli.screen import Column, Screen

    screen = Screen()
    if not found:
        screen.say(f"{line}: as planned, as far as {length / 1e9:.1f} s of it show (measured).")
        return
    screen.say(f"{line}: planned, beside {length / 1e9:.1f} s of the line (measured)", "bold")
    columns = [Column(title) for title in ("differs", "where", "planned", "measured")]
    screen.table(columns, [[one.what, one.where, one.planned, one.found] for one in found])
