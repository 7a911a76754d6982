"""Tasks and futures that hash by a running number of their loop.

A set iterates in the order of its members' hashes, and asyncio keeps tasks in sets: `asyncio.wait` returns two,
`TaskGroup` cancels from one. The usual hash is a memory address, which differs between processes, and with it the order
in which a program handles finished tasks.

A future that a program makes itself hashes by number too: while a virtual loop runs, `asyncio.Future` is another class.
A name taken before (`from asyncio import Future`) stays asyncio's own class, and its futures keep their address.
"""

from __future__ import annotations

import asyncio
import contextlib
from asyncio import tasks as asyncio_tasks
from collections.abc import Iterator
from typing import Any

_OWN = asyncio.Future  # asyncio's
_standing_in = 0  # how many virtual loops run


class Numbers:
    """The running numbers of one loop."""

    def __init__(self) -> None:
        self._last = 0

    def next(self) -> int:
        self._last += 1
        return self._last


def _number(one: Any) -> int:
    """Assigned at the first request: most futures never lie in a set."""
    try:
        return one._busim_number  # type: ignore[no-any-return]
    except AttributeError:
        numbers = getattr(one.get_loop(), "numbers", None)
        if not isinstance(numbers, Numbers):
            return object.__hash__(one)
        one._busim_number = number = numbers.next()
        return number


class NumberedTask(asyncio.Task[Any]):
    """A task of a loop that has `numbers`."""

    __hash__ = _number


class NumberedFuture(asyncio.Future[Any]):
    """A future of a loop that has `numbers`."""

    __hash__ = _number


class _StandIn(type):
    """To every look it is asyncio's own class, of which each task and future is an instance."""

    def __instancecheck__(cls, one: object) -> bool:
        return isinstance(one, _OWN) if cls is DirectFuture else super().__instancecheck__(one)

    def __subclasscheck__(cls, kind: type) -> bool:
        return issubclass(kind, _OWN) if cls is DirectFuture else super().__subclasscheck__(kind)


class DirectFuture(NumberedFuture, metaclass=_StandIn):
    """What `asyncio.Future` is while a virtual loop runs. On another loop it hashes by its address as ever."""


@contextlib.contextmanager
def direct_futures() -> Iterator[None]:
    """Let futures that a program makes itself hash by number."""
    global _standing_in
    _standing_in += 1
    asyncio.Future = asyncio.futures.Future = DirectFuture  # type: ignore[misc]
    try:
        yield
    finally:
        _standing_in -= 1
        if not _standing_in:
            asyncio.Future = asyncio.futures.Future = _OWN  # type: ignore[misc]


def number_gatherings() -> None:
    """Let the result of `asyncio.gather` hash by number too, if its loop has numbers: asyncio makes it by itself."""
    asyncio_tasks._GatheringFuture.__hash__ = _number  # type: ignore[attr-defined]
