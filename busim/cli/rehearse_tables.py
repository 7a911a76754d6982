"""How a rehearsal looks in a terminal: the steps line by line, what failed and why, and how long it all takes."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from busim.commissioning.rehearse import FAILED, OK, Done, Rehearsal, WhatIf, what_ifs
from busim.foundation.units import show_time

_STYLES = {OK: "green", FAILED: "bold red"}
_CAUTION = (
    "Caution: nothing moves here; on site heads and lenses do, and cameras hang over people. Nobody has hands near a "
    "head while IDs are set, nobody stands under a ladder, and supplies are off while plugs are changed: "
    "busim explain cautions"
)
_KNOWN = (
    "`heard` is what a laptop hears on site too. Why a step failed is what the emulator knows; on site it has to be "
    "found."
)
_MINUTE = 60_000_000_000


def print_rehearsal(rehearsal: Rehearsal, tried: WhatIf | None, trace: str | None) -> None:
    """The whole of it; `tried`: the what-if that it was."""
    console = Console(width=None if sys.stdout.isatty() else 150)
    head = f"{rehearsal.plan}: commissioning rehearsed, seed {rehearsal.seed}"
    _say(console, head if tried is None else f"{head}; what if {tried.title}?", "bold")
    _say(console, _CAUTION, "yellow")
    if rehearsal.proposed:
        ids = ", ".join(f"{name} {rehearsal.ids[name]}" for name in rehearsal.proposed)
        _say(console, f"The plan has one bus ID several times on a line, so these are proposed: {ids}.", "yellow")
    for line in dict.fromkeys(one.step.line for one in rehearsal.done):
        console.print()
        console.print(_table(line, [one for one in rehearsal.done if one.step.line == line]))
    console.print()
    for one in rehearsal.failed:
        _print_failure(console, one)
    if rehearsal.failed:
        _say(console, _KNOWN, "dim")
    if tried is not None:
        _print_what_if(console, tried, tried.as_told(rehearsal))
    _say(console, _sentence(rehearsal), "bold")
    _say(console, "These stand on assumptions: " + "; ".join(rehearsal.assumed.sentences) + ".", "dim")
    if trace:
        _say(console, f"Trace: {trace}")


def _table(line: str, done: Sequence[Done]) -> Table:
    title = f"line: {escape(line)}" if line else "everywhere"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("", justify="right")
    for name in ("step", "camera"):
        table.add_column(name, no_wrap=True)
    table.add_column("ID", justify="right", no_wrap=True)
    table.add_column("outcome", no_wrap=True)
    for name in ("simulated", "assumed"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("heard, and to be looked at")
    for one in done:
        style = _STYLES.get(one.outcome, "dim")
        text = escape(one.seen) + (f"\n[cyan]look: {escape(one.look)}[/]" if one.look else "")
        table.add_row(
            str(one.number), one.step.do, escape(one.step.camera), "" if one.step.id is None else str(one.step.id),
            f"[{style}]{one.outcome}[/]", span(one.simulated), span(one.step.handling), text.lstrip("\n"),
        )  # fmt: skip
    return table


def _print_failure(console: Console, one: Done) -> None:
    assert one.reason is not None
    place = f" (line {one.step.place[0]}, column {one.step.place[1]} of the plan)" if one.step.place else ""
    _say(console, f"Step {one.number}, {one.step.do} {one.step.about}{place}: {one.reason.why}", "red")
    _say(console, f"    heard:    {one.seen}")
    _say(console, f"    to mend:  {one.reason.mend}")


def _print_what_if(console: Console, tried: WhatIf, as_told: bool) -> None:
    console.print()
    _say(console, f"What if {tried.title}?", "bold")
    for name, text in (
        ("goes wrong", tried.wrong), ("looks like", tried.looks), ("find it", tried.find), ("mend it", tried.mend),
    ):  # fmt: skip
        _say(console, f"    {name + ':':<12}{text}")
    if not as_told:
        _say(console, "Here it went otherwise than this tells: look at the first step that failed.", "yellow")
    console.print()


def _sentence(rehearsal: Rehearsal) -> str:
    total = (
        f"{span(rehearsal.simulated + rehearsal.handling)}: {span(rehearsal.simulated)} on the wires and in the "
        f"cameras (simulated), and {span(rehearsal.handling)} of hands (assumed)"
    )
    if rehearsal.ok:
        return f"All steps are done; the commissioning takes {total}."
    skipped = sum(one.outcome not in (OK, FAILED) for one in rehearsal.done)
    count = len(rehearsal.failed)
    return f"{count} of {len(rehearsal.done)} steps failed and {skipped} were skipped; what was done takes {total}."


def print_what_ifs() -> None:
    """All of them, each with what it is."""
    console = Console(width=None if sys.stdout.isatty() else 150)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("what-if", "what if ...", "what goes wrong"):
        table.add_column(name)
    for one in what_ifs().values():
        table.add_row(one.name, f"{one.title}?", one.wrong)
    console.print(table)


def print_all(plan: str, tried: Sequence[tuple[WhatIf, Rehearsal | None, str]]) -> None:
    """One row for each: where it shows, what is heard there, and why."""
    console = Console(width=None if sys.stdout.isatty() else 150)
    _say(console, f"{plan}: what can go wrong, each rehearsed on its own", "bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 1, 0))
    for name in ("what-if", "shows at step", "heard there", "because", "as told"):
        table.add_column(name)
    for one, rehearsal, why_not in tried:
        if rehearsal is None:
            table.add_row(one.name, "-", f"cannot happen here: {escape(why_not)}", "", "-")
            continue
        first = next(iter(rehearsal.failed), None)
        if first is None or first.reason is None:
            table.add_row(one.name, "-", "nothing went wrong", "", "[red]no[/]")
            continue
        told = "yes" if one.as_told(rehearsal) else "[red]no[/]"
        where = f"{first.number} {first.step.do} {escape(first.step.about)}"
        table.add_row(one.name, where, escape(first.seen), escape(first.reason.why), told)
    console.print(table)
    _say(console, "More on one of them: busim rehearse PLAN --what-if NAME. " + _KNOWN, "dim")


def span(ns: int) -> str:
    """A length of time, as one says it on site."""
    if ns < _MINUTE:
        return show_time(ns) if ns else "-"
    minutes, seconds = divmod(round(ns / 1e9), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min {seconds:02} s"


def _say(console: Console, text: str, style: str | None = None) -> None:
    console.print(text, markup=False, highlight=False, soft_wrap=True, style=style)
