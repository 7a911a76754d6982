"""`busim plan split`: the cameras of each converter, with the fewest converters and then the fewest metres of cable."""

from __future__ import annotations

import json
import shlex
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.analysis.split import Split, SplitLine, Wishes
    from busim.cli.screen import Screen

NAME = "split"
HELP = "Propose which cameras go on which converter."


def command(
    plan: options.Plan,
    every: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--every", metavar="GROUP=TIME", help="Wanted time between two polls of a group, as fast=250ms."),
    ] = None,
    headroom: Annotated[float, typer.Option(help="Percent of each line's time to keep free.", min=0, max=95)] = 30,
    like: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Allow more converters, like this one of the plan, with its line's settings."),
    ] = None,
    at: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--at", metavar="PLACE", help="Their places. Default: the place of that one."),
    ] = None,
    ports: Annotated[int, typer.Option(help="Ports of each such box.", min=1, max=64)] = 1,
    most: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(help="Number of such boxes. Default: as many as needed.", min=1, max=1000),
    ] = None,
    renumber: Annotated[
        bool, typer.Option("--renumber", help="Give cameras other bus IDs if two of a line share one.")
    ] = False,
    best: Annotated[
        bool, typer.Option("--optimal", help="Fewest converters, proven (needs the extra optimal).")
    ] = False,
    detour: Annotated[float, typer.Option(help="Cable per metre of straight distance.", min=1, max=10)] = 1.3,
    extra: Annotated[float, typer.Option(help="Extra metres per cable.", min=0, max=100)] = 3.0,
    as_json: options.AllAsJson = False,
    write: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Write the new plan to this new file; comments are kept."),
    ] = None,
) -> None:
    """Split and show. Exit code 1 if no split was found, 2 if the plan or a wish is wrong."""
    from busim.analysis.split import More, Wishes, split, written
    from busim.cli.plan_file import read_usable
    from busim.cli.screen import Screen

    more = None if like is None else More(like, tuple(at or ()), ports, most)
    wishes = Wishes(headroom / 100, _targets(every or []), detour, extra, renumber, more)
    _without_like(like, at, ports, most)
    installation = read_usable(plan, mended=("broadcast-id", "id-out-of-range") if renumber else ())
    found = split(installation, wishes, best=best)
    if as_json:
        print(json.dumps(found.as_json(), indent=2, ensure_ascii=False))
    else:
        _print(found, wishes)
    if found.why:
        raise typer.Exit(1)
    if write is not None:
        _write(write, written(installation, found))
        if not as_json:
            screen = Screen()
            screen.say(f"written: {write}. Look at it:")
            screen.command(shlex.join(["busim", "plan", "diff", plan, write]))
            screen.command(shlex.join(["busim", "check", write]))


def _without_like(like: str | None, at: list[str] | None, ports: int, most: int | None) -> None:
    from busim.foundation.errors import UserError

    if like is None and (at or ports != 1 or most is not None):
        raise UserError(
            "the kind of the added converters is missing", found="--at, --ports or --most without --like",
            expected="a converter of the plan to copy", mend="--like 'NAME OF A CONVERTER'",
        )  # fmt: skip


def _targets(texts: list[str]) -> dict[str, int]:
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time

    found = {}
    for text in texts:
        name, equals, time = text.rpartition("=")
        every = parse_time(time) if equals and name else 0
        if not every:
            raise UserError(
                "not a poll group and its time", found=repr(text[:60]), expected="GROUP=TIME, a time above 0",
                mend="--every fast=250ms",
            )  # fmt: skip
        found[name] = every
    return found


def _write(name: str, text: str) -> None:
    """Write the file. Raises UserError if it exists, or cannot be written."""
    from busim.cli.writing import write_whole
    from busim.foundation.errors import UserError

    try:
        write_whole(name, text, "plan", new=True)
    except FileExistsError:
        raise UserError(
            "a file is there already", file=name, mend="choose another name, compare the two, and replace it yourself"
        ) from None


def _print(found: Split, wishes: Wishes) -> None:
    from busim.cli.screen import Screen

    screen = Screen()
    if found.why:
        screen.say(f"No split: {found.why}." + (" Below: the part that was solved." if found.lines else ""), "bold red")
        for one in found.left_over:
            screen.say(f"{one.camera!r} has no place:", indent=2)
            for reason in one.reasons:
                screen.say(reason, indent=4, hang=2)
    else:
        screen.say(_how_good(found), "bold")
    if found.lines:
        _print_lines(screen, found)
        for line in found.lines:
            _print_order(screen, line)
    if found.unused:
        screen.say(f"not needed: {', '.join(map(repr, found.unused))}")
    for name, why in found.alone.items():
        screen.say(f"left as it is: line {name!r}, because {why}")
    for note in found.notes:
        screen.say(f"note: {note}")
    screen.say(f"Wanted: {wishes.headroom:.0%} headroom. Load, volts and sums of metres are computed. It assumes:")
    for text in found.assumptions:
        screen.say(text, indent=2, hang=2)


def _print_lines(screen: Screen, found: Split) -> None:
    """One row per line, without columns that no line needs."""
    from busim.cli.screen import Column

    columns = {
        "line": [one.name for one in found.lines],
        "converter": [one.converter + (" (new)" if one.new else "") for one in found.lines],
        "place": [one.place or "" for one in found.lines],
        "cameras": [str(one.cameras) for one in found.lines],
        "metres": [f"{one.metres:g} of {one.reach:.0f}" for one in found.lines],
        "load": [f"{one.load:.0%}" for one in found.lines],
        "headroom": [f"{one.headroom:.0%}" for one in found.lines],
        "unit\nloads": [f"{one.unit_loads:g}" for one in found.lines],
        "W": [_of(one.watts, "of", one.limit) for one in found.lines],
        "V\nlowest": [_of(one.lowest, "for", one.needed) for one in found.lines],
    }
    shown = {head: cells for head, cells in columns.items() if any(cells)}
    titles = [Column(head, head not in ("line", "converter", "place")) for head in shown]
    screen.table(titles, zip(*shown.values(), strict=True), title=f"{found.plan}, split ({found.way})")


def _of(value: float | None, word: str, bound: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.3g}" + ("" if bound is None else f" {word} {bound:.3g}")


def _print_order(screen: Screen, line: SplitLine) -> None:
    """The stations along the cable; metres that are not planned are marked."""
    parts = []
    for number, stop in enumerate(line.stops):
        after = f"{stop.after:g} m{'' if stop.planned else '*'} to " if number else ""
        own = "" if stop.bus_id is None else f" (ID {stop.bus_id}{'' if stop.was is None else f', was {stop.was}'})"
        parts.append(f"{after}{stop.name}{own}")
    screen.say(f"{line.name}{', as it is' if line.unchanged else ''}: {', '.join(parts)}", hang=2)


def _how_good(found: Split) -> str:
    lines, starred = len(found.lines), any(not stop.planned for line in found.lines for stop in line.stops)
    text = f"{lines} line{'' if lines == 1 else 's'} with {found.metres:g} m of cable"
    text += " (* computed from places, the rest planned)." if starred else " (planned)."
    if found.proven:
        text += " No split has fewer lines (proven)"
        return text + (", nor fewer metres (proven)." if found.shortest else "; fewer metres may be possible.")
    return text + (
        f" At least {found.least} lines are needed; {lines} were found"
        + ("" if found.way == "optimal" else " by the greedy search: --optimal may find fewer")
        + ". Fewer metres may be possible."
    )
