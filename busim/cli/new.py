"""`busim new`: a first file, full of comments, and valid as it is."""

from __future__ import annotations

import shlex
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

NAME = "new"
HELP = "Write a commented starter file: a plan, protocol or camera."


class Kind(StrEnum):
    """A kind of starter."""

    plan = "plan"
    protocol = "protocol"
    camera = "camera"


_TRIED = {Kind.plan: "busim check", Kind.protocol: "busim prove", Kind.camera: "busim prove"}


def command(
    kind: Annotated[Kind, typer.Argument(help="What to begin.")],
    name: Annotated[str, typer.Argument(help="Its name; the file is NAME.yaml in this folder.")],
) -> None:
    """Write the file, unless there is one."""
    from busim import plan, protocols
    from busim.cli.screen import Screen
    from busim.cli.writing import write_whole
    from busim.foundation.errors import UserError
    from busim.plan import models

    starters = {Kind.plan: plan.starter, Kind.protocol: protocols.starter, Kind.camera: models.starter}
    text = starters[kind](name)
    path = Path(f"{name}.yaml")
    try:
        write_whole(str(path), text, kind.value, new=True)
    except FileExistsError:
        raise UserError("there is a file of this name already", file=str(path), mend="choose another name") from None
    screen = Screen()
    screen.say(f"{path} is written. Edit it to describe your {kind.value}, and try it:")
    screen.command(f"{_TRIED[kind]} {shlex.quote(str(path))}")
