"""Commands that are loaded when they are asked for, so that no command waits for the options of the others.

A command is a module of `busim.cli` with `NAME`, `HELP` and `command`: a function, or a `Typer` with commands of its
own. Making the options of all commands takes longer than many a command does.
"""

from __future__ import annotations

from collections import UserDict
from collections.abc import Mapping
from importlib import import_module
from types import ModuleType
from typing import Any, ClassVar

import typer
from typer.core import TyperGroup
from typer.main import get_command


def module(name: str) -> ModuleType:
    """The module of `busim.cli` that has this name, loaded."""
    return import_module(f"busim.cli.{name}")


class CommandGroup(TyperGroup):
    """A group of commands. `modules`: name of each command -> its module, in the order of the help."""

    modules: ClassVar[Mapping[str, str]]

    def __init__(self, **settings: Any) -> None:  # whatever typer gives to its own groups
        super().__init__(**settings)
        self.commands = _Loaded(self.modules)

    def list_commands(self, _ctx: Any) -> list[str]:  # that of typer loads them all
        """The names, in the order of the help."""
        return list(self.modules)


class _Loaded(UserDict[str, Any]):
    """Names of commands -> typer's objects for them. The first look at one loads it."""

    def __init__(self, modules: Mapping[str, str]) -> None:
        super().__init__(modules)
        self.made: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self.made:
            self.made[name] = _made(module(self.data[name]))
        return self.made[name]


def _made(of: ModuleType) -> Any:
    if isinstance(of.command, typer.Typer):
        return get_command(of.command)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None)
    alone.command(of.NAME, help=of.HELP)(of.command)
    return get_command(alone)
