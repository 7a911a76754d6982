"""What a pure master believes, told as a controller with a hook would tell it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from busim.protocols import READ
from busim.protocols.hook import Belief
from busim.simulator.kernel import Kernel
from busim.simulator.masters import OK, Attempt, Master, Target
from busim.simulator.world import Hook, World
from busim.testing.judging import Ground

_new: Final = tuple.__new__  # a named tuple's own constructor without one call
MakeMaster = Callable[..., Master]


class Believer:
    """Tells what a pure master believes, from what it says of its attempts."""

    def __init__(self) -> None:
        self._hook: Hook | None = None
        self._kernel: Kernel | None = None
        self._told: dict[str, dict[int, int]] = {}  # camera -> key -> value
        self._online: dict[str, bool] = {}
        self._names: dict[str, dict[int, str]] = {}

    def making(self, make: MakeMaster, silent: bool) -> MakeMaster:
        """`make`, with what it tells of its attempts told here too."""

        def made(finder: Any, polls: Any, done: Callable[[Attempt], None], **more: Any) -> Master:
            def told(attempt: Attempt) -> None:
                done(attempt)
                self._attempt(attempt)

            return make(finder, polls, done if silent else told, **more)

        return made

    def watch(self, world: World, ground: Ground) -> None:
        """Tell the hook of `world`, whose cameras have the names in `ground`."""
        self._hook, self._kernel = world.hook, world.kernel
        for line in ground.lines.values():
            for camera in line.cameras.values():
                self._names[camera.name] = camera.names

    def _attempt(self, attempt: Attempt) -> None:
        task, _, _, _, _, _, outcome, values = attempt
        target = task.target
        hook, kernel = self._hook, self._kernel
        assert hook is not None
        assert kernel is not None
        _, verb, first, _, _, _ = task.request
        if outcome == OK and verb == READ:
            told = self._told.get(target.name)
            if told is None:
                told = self._told[target.name] = {}
            for key, value in enumerate(values, first):
                if told.get(key) != value:
                    told[key] = value
                    hook.believe(_new(Belief, ("value", target.name, self._names[target.name][key], value, "")))
        if outcome != OK or not self._online.get(target.name, False):
            kernel.at(kernel.now, self._look, target)  # it makes up its mind after it has told

    def _look(self, target: Target) -> None:
        if self._online.get(target.name) is not target.online:
            hook = self._hook
            assert hook is not None
            self._online[target.name] = target.online
            hook.believe(Belief("online" if target.online else "offline", target.name))
