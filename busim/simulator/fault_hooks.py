"""Fault hooks: where something can be put into a running installation, each with its type.

The line, the cameras and the converters expose hook points; faults (and plain behaviour such as a turnaround) fill
them; the world joins the two. What is absent is absent by construction: there is no object, no event and no question
asked. Putting a fault in or taking it out swaps one object in its place.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, Protocol, TypeVar

from busim.foundation.errors import Defect
from busim.protocols import Reply, Request
from busim.simulator.converters import Arrival
from busim.simulator.kernel import Kernel

T = TypeVar("T")

Pulse = Callable[[int, bool], None]
Remove = Callable[[], None]  # takes out again what was put in


class LineLevel(Protocol):
    """Something that disturbs the level of a pair, now and then."""

    def start(self, kernel: Kernel, pulse: Pulse) -> None:
        """Begin: call `pulse(length_ns, floating)` at the instants of disturbances, by events of the kernel."""


class CameraReply(Protocol):
    """What lies between a camera's answer and its driver."""

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        """ns from the end of the request (as the camera knows it) until it answers, and the bytes that it sends.

        `raw`: `reply` as the protocol writes it. No bytes: the camera stays silent.
        """


class CameraRequest(Protocol):
    """What lies between a request that was heard whole and the camera that it is for."""

    def __call__(self, request: Request, at: int, /) -> None:
        """`request` was whole at `at` ns."""


class Crossing(Protocol):
    """What lies between the two sides of a converter, one way."""

    def delay(self) -> int:
        """ns that this passage takes; never negative."""


class Passage(Protocol):
    """Bytes on their way through a converter: `client` sent them, or, towards the network, gets them (None: all)."""

    def __call__(self, data: bytes, client: int | None, /) -> None: ...


class Admission(Protocol):
    """Who decides which client of a converter is let in."""

    def stay(self, client: int) -> None: ...

    def arrive(self, client: int, now: int) -> Arrival: ...

    def leave(self, client: int, now: int, *, ended: bool) -> int | None: ...


class Cover(Protocol[T]):
    """Something that fills a hook point and hands on to what was there before, its `inner`."""

    inner: T


class HookPoint(Generic[T]):
    """A place in a running part that something can be put over.

    `base`: what is there without a fault; `swap` puts something else in its place.
    """

    def __init__(self, base: T, swap: Callable[[T], None]) -> None:
        self._base = base
        self._swap = swap
        self._covers: list[Any] = []  # the outermost last

    def cover(self, one: Cover[T]) -> Remove:
        """Put `one` over all that is there; gives what takes it out again."""
        self._covers.append(one)
        self._join()
        return lambda: self._uncover(one)

    def _uncover(self, one: Cover[T]) -> None:
        if not any(each is one for each in self._covers):
            raise Defect("a fault is taken out of a hook point in which it is not")
        self._covers = [each for each in self._covers if each is not one]
        self._join()

    def _join(self) -> None:
        top = self._base
        for each in self._covers:
            each.inner = top
            top = each
        self._swap(top)


__all__ = [
    "Admission",
    "CameraReply",
    "CameraRequest",
    "Cover",
    "Crossing",
    "HookPoint",
    "LineLevel",
    "Passage",
    "Pulse",
    "Remove",
]
