"""Tasks and futures that hash by a running number of their loop.

A set iterates in the order of its members' hashes, and asyncio keeps tasks in sets: `asyncio.wait` returns two,
`TaskGroup` cancels from one. The usual hash is a memory address, which differs between processes, and with it the order
in which a program handles finished tasks.

A future that a program makes itself (`asyncio.Future()`) keeps its address: use `loop.create_future()`.
"""

from __future__ import annotations

import asyncio
from asyncio import tasks as asyncio_tasks
from typing import Any


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


def number_gatherings() -> None:
    """Let the result of `asyncio.gather` hash by number too, if its loop has numbers: asyncio makes it by itself."""
    asyncio_tasks._GatheringFuture.__hash__ = _number  # type: ignore[attr-defined]
