"""Messages for a program that waits in vain: which of its tasks, and where."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from pathlib import Path
from types import CoroutineType
from typing import Any

from busim.foundation.errors import UserError

_SHOWN = 5
_LOOPS = (str(Path(asyncio.__file__).parent), str(Path(__file__).parent))


def deadlock(loop: asyncio.AbstractEventLoop, patience: int | None = None) -> UserError:
    """Nothing can come any more; or, with `patience`, nothing came in so many simulated ns."""
    what = "the controller waits for something that never comes"
    if patience is not None:
        what = f"the controller set no timer, and nothing reached it in {patience // 10**9} simulated seconds"
    return UserError(
        what,
        found=_tasks(loop) or "no task is left, and the loop was not stopped",
        expected="a timer, a reply under way, or something ready",
        mend="give what is awaited a time-out (asyncio.timeout, asyncio.wait_for), or find out why there is no answer",
    )


def too_long(loop: asyncio.AbstractEventLoop, until: int) -> UserError:
    """The run exceeded its limit."""
    return UserError(
        f"the controller had not ended after {until / 1e9:g} simulated seconds",
        found=_tasks(loop) or "no task",
        mend="let its main coroutine return, or raise `until`",
    )


def spinning(seen: Mapping[str, int], turns: int) -> UserError:
    """Time stands still. `seen`: the tasks of the last turns, and how often each ran."""
    most = sorted(seen, key=lambda name: (-seen[name], name))
    more = [f"{len(most) - _SHOWN} more"] if len(most) > _SHOWN else []
    return UserError(
        f"time stands still: the program ran for {turns} turns of its loop without ever waiting",
        found="; ".join(most[:_SHOWN] + more) or "a timer that is always due",
        expected="a pause in every loop that tries again",
        mend="wait between two attempts (await asyncio.sleep with more than 0)",
    )


def runner(handle: asyncio.Handle) -> str:
    """The owner of this turn: a task and its place, or a callback."""
    callback: Any = handle._callback  # type: ignore[attr-defined]
    task = getattr(callback, "__self__", None)
    if isinstance(task, asyncio.Task):
        return f"{task.get_name()} in {_place(task.get_coro())}"
    return f"callback {getattr(callback, '__qualname__', repr(callback))}"


def _tasks(loop: asyncio.AbstractEventLoop) -> str:
    tasks = sorted(asyncio.all_tasks(loop), key=lambda task: task.get_name())
    said = [f"{task.get_name()} in {_place(task.get_coro())}" for task in tasks[:_SHOWN]]
    if len(tasks) > _SHOWN:
        said.append(f"{len(tasks) - _SHOWN} more")
    return "; ".join(said)


def _place(waiter: Any) -> str:
    """The place where a coroutine waits: the innermost frame outside asyncio and the loop, or else the innermost."""
    name = getattr(waiter, "__qualname__", "?")
    while waiter is not None:
        if isinstance(waiter, CoroutineType):
            frame, waiter = waiter.cr_frame, waiter.cr_await
        else:
            frame, waiter = getattr(waiter, "gi_frame", None), getattr(waiter, "gi_yieldfrom", None)
        if frame is not None and not (frame.f_code.co_filename.startswith(_LOOPS) and "(" in name):
            name = f"{frame.f_code.co_name} ({frame.f_code.co_filename}:{frame.f_lineno})"
    return name
