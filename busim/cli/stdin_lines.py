"""Lines typed on standard input during a session."""

from __future__ import annotations

import asyncio
import os
import stat
import sys
from collections.abc import Callable

_LONGEST = 500  # characters of a line; the rest of it is dropped
_LATER = 0.5  # seconds between checks whether the terminal is ours


def typed_input() -> int | None:
    """The descriptor of standard input, if it is a terminal or a pipe."""
    try:
        descriptor = sys.stdin.fileno()
        mode = os.fstat(descriptor).st_mode
    except (AttributeError, ValueError, OSError):  # closed
        return None
    return descriptor if os.isatty(descriptor) or stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) else None


class Typed:
    """Calls `line(text)` for each line that is not empty."""

    def __init__(self, loop: asyncio.AbstractEventLoop, descriptor: int, line: Callable[[str], None]) -> None:
        self._loop = loop
        self._descriptor = descriptor
        self._line = line
        self._held = b""
        self._later: asyncio.TimerHandle | None = None
        self._watch()

    def close(self) -> None:
        """Stop reading."""
        self._loop.remove_reader(self._descriptor)
        if self._later is not None:
            self._later.cancel()

    def _watch(self) -> None:
        self._loop.add_reader(self._descriptor, self._read)

    def _read(self) -> None:
        if self._background():  # reading now would stop the program until it comes to the foreground
            self._loop.remove_reader(self._descriptor)
            self._later = self._loop.call_later(_LATER, self._watch)
            return
        try:
            data = os.read(self._descriptor, 65536)
        except OSError:
            data = b""
        *lines, self._held = (self._held + data).split(b"\n")
        self._held = self._held[: 4 * _LONGEST]
        if not data:
            self._loop.remove_reader(self._descriptor)
            lines, self._held = [self._held], b""
        for line in lines:
            text = line.decode(errors="replace").strip()[:_LONGEST]
            if text:
                self._line(text)

    def _background(self) -> bool:
        if not os.isatty(self._descriptor):
            return False
        try:
            return os.tcgetpgrp(self._descriptor) != os.getpgrp()
        except OSError:
            return False
