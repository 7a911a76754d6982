"""Tasks and futures that hash by a running number of their loop.

A set iterates in the order of its members' hashes, and asyncio keeps tasks in sets: `asyncio.wait` returns two,
`TaskGroup` cancels out of one. The usual hash is a memory address, which differs from process to process, and so would
the order in which a program serves what is done.

A future that a program makes itself (`asyncio.Future()`) keeps its address: take `loop.create_future()`.
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
    """Given when it is first asked for: most futures never lie in a set."""
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
    """Let what `asyncio.gather` returns hash by number too where its loop has numbers: asyncio makes it by itself."""
    asyncio_tasks._GatheringFuture.__hash__ = _number  # type: ignore[attr-defined]
