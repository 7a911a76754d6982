"""The commands in the order in which `busim --help` lists them: those about a plan, those about a run, the helpers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from busim.cli.loading import CommandGroup, module


class Commands(CommandGroup):
    """The commands of `busim`, with their modules."""

    modules: ClassVar[Mapping[str, str]] = {
        "run": "run",
        "check": "check",
        "scan": "scan",
        "rehearse": "rehearse",
        "budget": "budget",
        "sweep": "sweep",
        "sheet": "sheet",
        "serve": "serve",
        "with": "with_command",
        "fuzz": "fuzz",
        "replay": "replay",
        "compare": "compare",
        "view": "view",
        "report": "report",
        "export": "export",
        "tap": "tap",
        "listen": "listen",
        "conform": "conform",
        "measure": "measure",
        "line-test": "line_test",
        "new": "new",
        "prove": "prove",
        "explain": "explain",
        "plan": "plan",
    }


class PlanCommands(CommandGroup):
    """The commands of `busim plan`, with their modules."""

    modules: ClassVar[Mapping[str, str]] = {
        "show": "plan_show",
        "set": "plan_set",
        "split": "plan_split",
        "diff": "plan_diff",
        "from": "plan_from",
        "import": "plan_import",
        "export": "plan_export",
        "schema": "plan_schema",
    }


def named() -> Iterator[tuple[str, str]]:
    """Name and summary of every command, those of `busim plan` too."""
    for name, of in Commands.modules.items():
        yield name, module(of).HELP
    for name, of in PlanCommands.modules.items():
        yield f"plan {name}", module(of).HELP
