"""`busim compare`: the first difference of two traces, and their figures side by side."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.recording.figures import Value
    from busim.runtime.session import Comparison, Pair

NAME = "compare"
HELP = "Compare two traces: the first difference, and both figures."


def command(
    one: Annotated[str, typer.Argument(metavar="TRACE", help="A trace.")],
    other: Annotated[str, typer.Argument(metavar="TRACE", help="Another one.")],
    as_json: options.AllAsJson = False,
) -> None:
    """Compare and show; exit code 1 if they differ, 2 if one cannot be read."""
    from busim.runtime.session import compare

    found = compare(one, other)
    if as_json:
        print(json.dumps(found.as_json(), indent=2))
    else:
        _print(found)
    if not found.equal:
        raise typer.Exit(1)


def _print(found: Comparison) -> None:
    from busim.cli.screen import Screen

    screen, parting = Screen(), found.parting
    if found.equal:
        screen.say("equal: the same records in the same order")
    elif parting is None:
        screen.say("different, but not in their records:")
    else:
        where = f" on {parting.line}" if parting.line else ""
        screen.say(f"different, first at {parting.at / 1e9:.9f} s{where}, in a record of kind {parting.kind}:", hang=2)
        if parting.only_in:
            screen.say(f"only the {('first', 'second')[parting.only_in - 1]} trace has it", indent=2, hang=2)
        for name, one, other in parting.columns:
            screen.say(f"{name}: {one} in the first, {other} in the second", indent=2, hang=2)
        for title, records in (("before, in both", parting.before), ("first", parting.one), ("second", parting.other)):
            screen.say(f"{title}:" + ("" if records else " it ends here"), indent=2)
            for record in records:
                screen.say(str(record), indent=4, hang=2)
    for note in found.notes:
        screen.say(f"note: {note}", hang=2)
    screen.blank()
    _print_figures([pair for pair in found.figures if pair.kind == "line" or not pair.same])


def _print_figures(pairs: list[Pair]) -> None:
    """The figures of all lines, and of cameras with differences; without figures that neither has."""
    from busim.cli.screen import Column, Screen

    rows = [
        ["" if pair.same else "≠", pair.of, pair.figure, _shown(pair.one), _shown(pair.other)]
        for pair in pairs
        if any(value is not None and value.value is not None for value in (pair.one, pair.other))
    ]
    columns = [Column(""), Column("of"), Column("figure"), Column("first", right=True), Column("second", right=True)]
    Screen().table(columns, rows, title="figures, measured in the simulation")


def _shown(value: Value | None) -> str:
    if value is None or value.value is None:
        return "-"
    unit = {"": "", "1": ""}.get(value.quantity.unit, f" {value.quantity.unit}")
    return f"{value.value:.6g}{unit}"
