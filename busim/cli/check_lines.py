"""How findings look in a terminal: errors first, each at its place, a rule's reason once."""

from __future__ import annotations

import sys
from collections import Counter

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from busim.analysis.check import AREAS, Checked, all_rules
from busim.foundation.diagnostics import Finding

_STYLES = {"error": "bold red", "warning": "yellow", "note": "cyan"}
_MOST = 200  # findings printed; a plan with more has one mistake many times


def print_checked(checked: Checked) -> None:
    """All findings, what is silenced, and what was checked."""
    console = Console(width=None if sys.stdout.isatty() else 120)
    said: set[str] = set()
    for finding in checked.findings[:_MOST]:
        _print(console, finding, first=finding.code not in said)
        said.add(finding.code)
    if len(checked.findings) > _MOST:
        left = Counter(finding.code for finding in checked.findings[_MOST:])
        rest = ", ".join(f"{count} of {code}" for code, count in left.items())
        _say(console, f"and {left.total()} more, which --json shows: {rest}")
    if checked.silenced:
        _say(console, "Silenced in the plan:", "bold")
    for one in checked.silenced:
        _say(console, f"  {_head(one.finding)}: {one.finding.what}; because {one.reason}", "dim")
    if checked.findings or checked.silenced:
        console.print()
    _say(console, _sentence(checked), "bold")
    assumed = f" Assumed: {'; '.join(checked.assumed)}." if checked.assumed else ""
    _say(console, f"Found in what is planned; nothing was measured.{assumed}", "dim")
    if said:
        _say(console, f"More about a rule: busim explain {checked.findings[0].code}", "dim")


def _print(console: Console, finding: Finding, first: bool) -> None:
    place, severity, code, what = (escape(text) for text in (*_head(finding).rsplit(" ", 2), finding.what))
    style = _STYLES[finding.severity]
    console.print(f"{place} [{style}]{severity}[/] [bold]{code}[/]: {what}", highlight=False, soft_wrap=True)
    words = [("found", finding.found), ("expected", finding.expected), ("to mend", finding.mend)]
    for name, text in [*words, ("why", finding.why if first else None)]:
        if text:
            _say(console, f"    {name + ':':<10}{text}", "dim" if name == "why" else None)


def _head(finding: Finding) -> str:
    place = ":".join(str(part) for part in (finding.file, finding.line, finding.column) if part is not None)
    return f"{place} {finding.severity} {finding.code}"


def _say(console: Console, text: str, style: str | None = None) -> None:
    console.print(text, markup=False, highlight=False, soft_wrap=True, style=style)


def _sentence(checked: Checked) -> str:
    counts = ", ".join(
        _counted(number, word)
        for number, word in (
            *((checked.count(severity), severity) for severity in ("error", "warning", "note")),
            (len(checked.silenced), "silenced finding"),
        )
    )
    covered = ", ".join(
        _counted(number, kind.removesuffix("s")) for kind, number in (checked.covered or {}).items() if number
    )
    return f"{checked.plan}: {counts}. {checked.rules} rules over {covered}."


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def print_rules() -> None:
    """The rules, area by area."""
    console = Console(width=None if sys.stdout.isatty() else 120)
    rules = all_rules().values()
    for area, about in AREAS.items():
        held = [rule for rule in rules if rule.area == area]
        if not held:
            continue
        _say(console, f"{area}: {about}", "bold")
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
        for rule in held:
            table.add_row(f"  [{_STYLES[rule.severity]}]{rule.severity}[/]", rule.id, escape(rule.title))
        console.print(table)
    _say(console, f"{len(rules)} rules. busim explain RULE tells all about one.", "dim")
