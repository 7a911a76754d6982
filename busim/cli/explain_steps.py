"""The steps to one number of the budget on a screen: name, value, equation, source."""

from __future__ import annotations

from collections.abc import Sequence

from busim.analysis.budget import Step
from busim.cli.screen import Column, Screen


def print_steps(line: str, master: str, steps: Sequence[Step]) -> None:
    """The result, then its steps, one a row; the last row is the result again."""
    screen = Screen()
    result = steps[-1]
    rows = [
        (
            step.name,
            f"{step.value:.7g} {step.unit}".rstrip(),
            f"{step.kind}: {step.equation}" + (f" [{step.source}]" if step.source else ""),
        )
        for step in steps
    ]
    columns = [Column("step"), Column("value", right=True), Column("how it follows")]
    screen.table(
        columns,
        rows,
        title=f"{line}: {result.name} {result.value:.3g} {result.unit}".rstrip() + f" (computed), asked by {master!r}",
        last="bold",
    )
