"""uvicorn without its signal handlers: a signal belongs to the command, and the server ends when told to."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import uvicorn


class QuietServer(uvicorn.Server):
    """uvicorn takes SIGINT over, even inside a task; this one ignores signals."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield
