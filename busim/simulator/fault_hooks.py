"""Fault hooks: the places in a running installation that a fault can fill, each with its type.

The line, the cameras and the converters expose hook points; faults (and plain behaviour such as a turnaround) fill
them; the world joins the two. An absent fault costs nothing: no object, no event, no question. Putting a fault in or
taking it out swaps one object in its place.
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
Remove = Callable[[], None]  # removes a cover


def remove_all(*removes: Remove) -> Remove:
    """What takes out several things, the last one first."""

    def remove() -> None:
        for each in reversed(removes):
            each()

    return remove


class LineLevel(Protocol):
    """Disturbs the level of a pair now and then."""

    def start(self, kernel: Kernel, pulse: Pulse) -> None:
        """Begin: call `pulse(length_ns, floating)` at the instants of disturbances, by events of the kernel."""


class CameraReply(Protocol):
    """Sits between a camera's answer and its driver."""

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        """ns from the end of the request (as the camera knows it) until the answer, and the bytes sent.

        `raw`: `reply` as the protocol writes it. No bytes: the camera stays silent.
        """


class CameraRequest(Protocol):
    """Sits between a complete request and its camera."""

    def __call__(self, request: Request, at: int, /) -> None:
        """`request` was complete at `at` ns."""


class Crossing(Protocol):
    """Sits between the two sides of a converter, one way."""

    def delay(self) -> int:
        """ns that this passage takes; never negative."""


class Passage(Protocol):
    """Bytes on their way through a converter: `client` sent them or, towards the network, gets them (None: all do)."""

    def __call__(self, data: bytes, client: int | None, /) -> None: ...


class Admission(Protocol):
    """Decides which client of a converter is admitted."""

    def stay(self, client: int) -> None: ...

    def arrive(self, client: int, now: int) -> Arrival: ...

    def leave(self, client: int, now: int, *, ended: bool) -> int | None: ...


class Cover(Protocol[T]):
    """Fills a hook point and passes on to its former occupant, its `inner`."""

    inner: T


class HookPoint(Generic[T]):
    """A place in a running part that covers can be put over.

    `base`: the occupant without a fault; `swap` puts another in its place.
    """

    def __init__(self, base: T, swap: Callable[[T], None]) -> None:
        self._base = base
        self._swap = swap
        self._covers: list[Any] = []  # the outermost last

    def cover(self, one: Cover[T]) -> Remove:
        """Put `one` over all covers; returns the function that removes it."""
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
    "remove_all",
]
