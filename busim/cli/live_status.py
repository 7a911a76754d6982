"""News of a live session on standard error: short lines, and few enough to cost no time."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import Callable
from typing import Any

_MOST = 20  # lines per second


class News:
    """Lines on standard error. In a second with more than twenty the rest is counted and not written.

    `now`: the simulated instant, ns, at the start of each line.
    """

    def __init__(self) -> None:
        self.now: Callable[[], int] = lambda: 0
        self._second = 0
        self._said = 0
        self._kept = 0

    def tell(self, text: str) -> None:
        """Print one line of news."""
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
        """Print a warning, however many lines there are."""
        _write(text)

    def trouble(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """An asyncio exception handler: mostly the system has no more sockets."""
        error = context.get("exception")
        self.tell(f"caution: {context.get('message')}{f' ({error})' if error else ''}")


def _write(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # the reader has closed it
        print(text, file=sys.stderr, flush=True)
