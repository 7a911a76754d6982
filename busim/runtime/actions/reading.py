"""A typed line: an action, a question, or a mark."""

from __future__ import annotations

import shlex
from collections.abc import Callable

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import nearest
from busim.runtime.actions.action import Prepared
from busim.runtime.actions.listed import ACTIONS, help_text, prepare
from busim.simulator.world import Switched, World


def read_line(world: World, line: str) -> Prepared:
    """The call behind a line. A line that begins with no action's name is a mark. Raises UserError; nothing is done
    yet.

    `help` and `faults` do nothing; their answer is in `said`.
    """
    first = line.split(maxsplit=1)[0] if line.strip() else ""
    if line.strip() == "help":
        return Prepared(_nothing, help_text())
    if line.strip() == "faults":
        return Prepared(_nothing, faults_text(world.faults.switched))
    action = ACTIONS.get(first)
    if action is None:
        meant = nearest(first, ACTIONS)
        prepared = prepare(world, "mark", {"text": line})
        hint = f" (`{first[:20]}` is no action; did you mean `{meant}`?)" if meant else ""
        return prepared._replace(said=prepared.said + hint)
    words = line.split()[1:] if first == "mark" else _words(line)[1:]
    given = action.split(words)
    if not given:
        raise action.wrong()
    return prepare(world, first, given)


def _words(line: str) -> list[str]:
    try:
        return shlex.split(line)
    except ValueError:
        raise UserError("a quote that is not closed", found=repr(line[:60]), mend='write "rope left"') from None


def faults_text(switched: tuple[Switched, ...]) -> str:
    """The faults that have been on, and their effects."""
    rows = [
        f"{one.fault.name} at {one.at}: {'on' if one.on else 'off'}, took effect {one.count} "
        f"{'time' if one.count == 1 else 'times'}"
        for one in switched
    ]
    return "\n".join(rows) or "no fault has been on"


_nothing: Callable[[], None] = lambda: None  # noqa: E731
