"""The limit of each line and its best change, as short as a screen needs them. Both are computed."""

from __future__ import annotations

from busim.analysis.budget import Budget, Change, LineBudget
from busim.cli.screen import Screen, fewest


def limits(screen: Screen, budget: Budget, reserved: int) -> None:
    """Per line its limit and its best change, as far as the first screen has room.

    `reserved`: lines needed below. Lines with the same text share it.
    """
    alike: dict[str, list[str]] = {}
    for line in budget.lines:
        if text := _said(line):
            names = alike.setdefault(text, [])
            if line.line not in names:
                names.append(line.line)
    if not alike:
        return
    screen.blank()
    screen.facts([(fewest(names, 3), text) for text, names in alike.items()], reserved=reserved)


def _said(line: LineBudget) -> str:
    if line.obstacles:
        return f"not computed: {line.obstacles[0]}."
    said = [f"limit: {_short(line.limit)}"] if line.limit else []
    if line.changes:
        said.append(f"best change: {best_change(line.changes[0])}")
    return "; ".join(said) + "." if said else ""


def _short(limit: str) -> str:
    """`the wire, 26% of the master's busy time` from the sentence of the budget."""
    cause, says, share = limit.partition(" limits this line: ")
    return f"{cause}, {share.partition(', ')[0]}" if says else limit


def best_change(change: Change) -> str:
    """The change, the quantity before and after, and the gain."""
    if change.what == "load":
        load = f"load {change.before:.0%} -> {change.after:.0%}"
        return f"{change.text}: {load}, or {change.gain:.0%} more polls at the same load"
    return f"{change.text}: {change.before:.3g} -> {change.after:.3g} polls/s ({change.gain:+.0%})"
