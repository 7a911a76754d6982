"""What a live session says on standard error while it runs: short lines, and never so many that it costs time."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import Callable
from typing import Any

_MOST = 20  # lines a second


class News:
    """Lines on standard error. In a second with more than twenty the rest is counted and not written.

    `now`: the simulated instant, ns, which each line of news begins with.
    """

    def __init__(self) -> None:
        self.now: Callable[[], int] = lambda: 0
        self._second = 0
        self._said = 0
        self._kept = 0

    def tell(self, text: str) -> None:
        """Something happened."""
        second = int(time.monotonic())
        if second != self._second:
            kept, self._second, self._said, self._kept = self._kept, second, 0, 0
            if kept:
                _write(f"... and {kept} lines more like these")
        self._said += 1
        if self._said <= _MOST:
            _write(f"{self.now() / 1e9:.3f} s: {text}")
        else:
            self._kept += 1

    def caution(self, text: str) -> None:
        """Something the user should know, however much is going on."""
        _write(text)

    def trouble(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """An asyncio exception handler: the system had no more sockets, mostly."""
        error = context.get("exception")
        self.tell(f"caution: {context.get('message')}{f' ({error})' if error else ''}")


def _write(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # nobody reads it any more
        print(text, file=sys.stderr, flush=True)
