"""A session that can be acted on: every action of `busim.runtime.actions`, as a line or as a call.

An action is checked when it is called, and raises UserError then, with nothing done; it is done at the present instant
and recorded as an input.

    >>> import busim
    >>> plan = busim.read_plan("scenarios/climbing-hall/plan.yaml")
    >>> with busim.serial_world(plan, seed=1) as hall:
    ...     hall.fault("late-reply", "rope left", by="300 ms", share=0.5)
    ...     print(hall.do("power off boulder-left"))
    ...     print(hall.do("fault late-reply off"))
    power off: boulder left
    late-reply is off
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from busim.runtime.actions import prepare, read_line
from busim.simulator.world import Switched, World


class Directed:
    """A session supplies its world, and the way for actions to enter it."""

    def _world(self) -> World:
        """The world, which has begun. Raises UserError if it has not."""
        raise NotImplementedError

    def _enter(self, what: Callable[..., Any], *arguments: Any) -> None:
        """Apply something to the world, at the present instant."""
        raise NotImplementedError

    def do(self, line: str) -> str:
        """Do the action of a line as typed into `busim serve`; returns it in words. Raises UserError."""
        prepared = read_line(self._world(), line)
        self._enter(prepared.do)
        return prepared.said

    def act(self, action: str, /, **arguments: Any) -> str:
        """Do an action by its name, with its arguments. Raises UserError."""
        prepared = prepare(self._world(), action, arguments)
        self._enter(prepared.do)
        return prepared.said

    def fault(self, name: str, at: str, **values: Any) -> None:
        """Switch a fault or a preset on, at a camera, a converter or a line; `values`: its parameters as written.
        `values` may have `for`, the length (as `**{"for": "2 s"}`). Raises UserError.
        """
        self.act("fault", fault=name, switch="on", at=at, **({"values": values} if values else {}))

    def no_fault(self, name: str, at: str | None = None) -> None:
        """Switch it off, there or everywhere. Raises UserError if it is not on."""
        self.act("fault", fault=name, switch="off", **({} if at is None else {"at": at}))

    @property
    def faults(self) -> tuple[Switched, ...]:
        """Every fault that has been on, and its effects."""
        return tuple(one for one in self._world().faults.switched if one.values is not None)

    def power(self, camera: str, on: bool) -> None:
        """Switch the power of a camera on or off. Raises UserError."""
        self.act("power", camera=camera, switch="on" if on else "off")

    def reboot(self, name: str) -> None:
        """Restart a camera or a converter. Raises UserError."""
        self.act("reboot", name=name)

    def unplug(self, camera: str, *, cuts: bool = False) -> None:
        """Unplug a camera; `cuts`: the pair ends there. Raises UserError."""
        self.act("unplug", camera=camera, pair="cuts" if cuts else "passes")

    def plug(self, camera: str) -> None:
        """Plug it in again. Raises UserError."""
        self.act("plug", camera=camera)
