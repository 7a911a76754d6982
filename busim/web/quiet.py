"""uvicorn without its signal handlers: a signal belongs to the command, and the server ends when it is told to."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import uvicorn


class QuietServer(uvicorn.Server):
    """uvicorn takes SIGINT over, even inside a task; this one leaves signals alone."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield
