"""The steps to one number of the budget on a screen: name, value, equation, source."""

from __future__ import annotations

from collections.abc import Sequence

from busim.analysis.budget import Step
from busim.cli.screen import Column, Screen


def print_steps(line: str, master: str, steps: Sequence[Step]) -> None:
    """One step a row; the last one is the result."""
    screen = Screen()
    rows = [
        (
            step.name,
            f"{step.value:.7g} {step.unit}".rstrip(),
            f"{step.kind}: {step.equation}" + (f" [{step.source}]" if step.source else ""),
        )
        for step in steps
    ]
    columns = [Column("step"), Column("value", right=True), Column("how it follows")]
    screen.table(columns, rows, title=f"{steps[-1].name} of {line!r}, asked by {master!r}", last="bold")
