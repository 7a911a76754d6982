"""What tests at "real" lines share: a plan in virtual time behind a serial port, and pseudo-terminals."""

from __future__ import annotations

import contextlib
import os
import pty
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from typing import Any

import serial

from busim.foundation.units import CharFormat
from busim.onsite.targets import Link, RealTool
from busim.onsite.targets.link import TICK
from busim.plan import Plan
from busim.protocols import find
from busim.runtime.session import SerialWorld, serial_world
from busim.simulator.bus import setting

BAUD, FORMAT = Fraction(38400), CharFormat.parse("8E1")


class Standing:
    """A port in virtual time at which nobody's look lets time pass, as at a real one."""

    def __init__(self, port: Any) -> None:
        object.__setattr__(self, "_port", port)

    @property
    def in_waiting(self) -> int:
        return len(self._port._ready().heard(self._port._number))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._port, name, value)


@contextmanager
def world_links(plan: Plan, *converters: str, play: tuple[str, ...] = ()) -> Iterator[tuple[SerialWorld, list[Link]]]:
    """The plan in virtual time, with a link to each of these converters: simulated time passes while they listen."""
    with serial_world(plan, play=play) as world:
        ports: list[Any] = [Standing(serial.serial_for_url(world.url(name), timeout=TICK)) for name in converters]
        try:
            yield (
                world,
                [Link(port, name, clock=lambda: world.now) for port, name in zip(ports, converters, strict=True)],
            )
        finally:
            for port in ports:
                port.close()


def tool_on(link: Link, plan: Plan, *, time_out: int = 100_000_000) -> RealTool:
    """A tool set as the first line of the plan."""
    line = plan.lines[0]
    return RealTool(link, find(line.protocol), setting(line.baud, line.format), time_out=time_out)


@contextmanager
def terminal() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: our end, and the path of the other."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    path = os.ttyname(theirs)
    os.close(theirs)
    try:
        yield ours, path
    finally:
        with contextlib.suppress(OSError):  # the test may have unplugged it
            os.close(ours)
