"""How a verification looks in a terminal: expected and measured side by side."""

from __future__ import annotations

import sys

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from busim.experiments.verify import DIFFERS, HOLDS, TOO_FEW, Check, Verification
from busim.recording.figures import QUANTITIES

_TITLES = {
    "exchange": "exchange, mean",
    "cycle": "poll cycle, mean",
    "move_mean": "move, mean",
    "shared_rate": "exchanges of this master",
    "shared_exchange": "exchange, mean, with its wait",
    "shared_worst": "exchange, longest, with its wait",
}
_STYLES = {HOLDS: "green", TOO_FEW: "yellow", DIFFERS: "red"}


def print_verification(found: Verification) -> None:
    """All lines, each with its checks."""
    console = Console(width=None if sys.stdout.isatty() else 120)
    if found.length:
        length = f"{found.length / 1e9:.4g} s simulated after settling"
        text = f"{escape(found.plan)}: computed beside {length}, seed {found.seed}"
        console.print(text, highlight=False, soft_wrap=True)
    for line in found.lines:
        console.print()
        console.print(f"[bold]{escape(line.line)}[/bold]: {escape(line.master)}", highlight=False)
        for text in line.declined:
            console.print(f"nothing to compare: {text}.", markup=False, highlight=False, soft_wrap=True)
        if line.checks:
            console.print(_table(line.checks))
    console.print()
    console.print(_sentence(found), markup=False, highlight=False, soft_wrap=True)


def _table(checks: tuple[Check, ...]) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("", no_wrap=True)
    for title in ("expected", "measured", "95 % interval", "count", "off by", "allowed"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("")
    for check in checks:
        title = _TITLES.get(check.name) or QUANTITIES[check.name].title
        name = f"{title}: {check.of}" if check.of else title
        bound = check.tolerance is None
        between = "-"
        if check.low is not None and check.high is not None:
            between = f"{_show(check, check.low).split()[0]}..{_show(check, check.high)}"
        table.add_row(
            escape(name),
            ("at most " if bound else "") + _show(check, check.expected),
            _show(check, check.measured),
            between,
            str(check.count),
            "-" if bound else f"{check.difference:+.2%}",
            "-" if check.tolerance is None else f"{check.tolerance:.0%}",
            f"[{_STYLES[check.verdict]}]{check.verdict}[/]",
        )
    return table


def _show(check: Check, number: float) -> str:
    if check.unit == "s":
        return f"{1e3 * number:.4g} ms"
    return f"{number:.2%}" if check.unit == "1" else f"{number:.4g} {check.unit}"


def _sentence(found: Verification) -> str:
    checks = [check for line in found.lines for check in line.checks]
    if not checks:
        return "Nothing was compared."
    counts = {verdict: sum(check.verdict == verdict for check in checks) for verdict in (HOLDS, TOO_FEW, DIFFERS)}
    text = f"{counts[HOLDS]} of {len(checks)} hold"
    if counts[TOO_FEW]:
        text += f", {counts[TOO_FEW]} stand on too little (simulate for longer, with --for)"
    if counts[DIFFERS]:
        text += f", {counts[DIFFERS]} differ"
    return f"{text}. Mean exchange and cycle also hold within three standard errors."
