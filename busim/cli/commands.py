"""The commands in the order in which `busim --help` lists them: those about a plan, those about a run, the helpers."""

from __future__ import annotations

from collections.abc import Iterator

from busim.cli import (
    budget,
    check,
    compare,
    conform,
    export,
    fuzz,
    line_test,
    listen,
    measure,
    new,
    plan,
    prove,
    rehearse,
    replay,
    report,
    run,
    scan,
    serve,
    sheet,
    sweep,
    tap,
    view,
    with_command,
)

COMMANDS = (
    run, check, scan, rehearse, budget, sweep, sheet, serve, with_command, fuzz, replay, compare, view, report, export,
    tap, listen, conform, measure, line_test, new, prove,
)  # fmt: skip


def named() -> Iterator[tuple[str, str]]:
    """Name and summary of every command, those of `busim plan` too."""
    for module in COMMANDS:
        yield module.NAME, module.HELP
    yield plan.NAME, plan.HELP
    for part in plan.PARTS:
        yield f"{plan.NAME} {part.NAME}", part.HELP
