"""Seams: where something can be put into a running installation, each with its type.

The line, the cameras and the converters take what fits a seam; faults (and plain behaviour such as a turnaround)
implement one; the world joins them. What is absent is absent by construction: there is no object, no event and no
question asked.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from busim.simulator.kernel import Kernel

Pulse = Callable[[int, bool], None]


class LineLevel(Protocol):
    """Something that disturbs the level of a pair, now and then."""

    def start(self, kernel: Kernel, pulse: Pulse) -> None:
        """Begin: call `pulse(length_ns, floating)` at the instants of disturbances, by events of the kernel."""


class CameraReply(Protocol):
    """What lies between a camera's answer and its driver."""

    def answer(self, raw: bytes) -> tuple[int, bytes]:
        """ns from the end of the request (as the camera knows it) until it answers, and the bytes that it sends."""


class Crossing(Protocol):
    """What lies between the two sides of a converter, one way."""

    def delay(self) -> int:
        """ns that this passage takes; never negative."""


__all__ = ["CameraReply", "Crossing", "LineLevel", "Pulse"]
