"""A tap whose forwarding runs in a process of its own; this one records, decodes and shows."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from busim.foundation import version
from busim.foundation.errors import Defect, UserError
from busim.onsite.tapping.observer import Observer
from busim.onsite.tapping.serial_ends import SerialEnd
from busim.recording.trace.batches import Unpacker, pack

_PIECE = 1 << 16
_START = """
import sys
sys.path.insert(0, sys.argv[1])
from busim.onsite.tapping.child import main
sys.exit(main())
"""


def _said(listen: tuple[str, int] | str) -> str:
    return listen if isinstance(listen, str) else f"{listen[0]}:{listen[1]}"


class TapBeside:
    """An async context manager. `listen`, `target`: as those of `Tap`. `news` gets a few words about connections,
    `caution` warnings. `address` (once entered): where it listens. `now`: ns since the forwarding began.

    Entering raises UserError if nothing can listen there; leaving ends the connections and tells `observer` the rest.
    """

    address: tuple[str, int]

    def __init__(
        self, listen: tuple[str, int] | str, target: tuple[str, int] | SerialEnd, observer: Observer,
        news: Callable[[str], None], caution: Callable[[str], None],
    ) -> None:  # fmt: skip
        self.observer = observer
        self._where = listen, tuple(target)
        self._news = news
        self._caution = caution
        self._unpacker = Unpacker()
        self._process: subprocess.Popen[bytes]
        self._origin = time.monotonic_ns()
        self._failed = ""
        self._ended_at: int | None = None

    @property
    def pid(self) -> int:
        """The number of the process that forwards."""
        return self._process.pid

    @property
    def now(self) -> int:
        """ns since the tap began, as the times of what it tells."""
        return time.monotonic_ns() - self._origin if self._ended_at is None else self._ended_at

    async def __aenter__(self) -> TapBeside:
        loop = asyncio.get_running_loop()
        self.over = loop.create_future()
        self._ready = loop.create_future()
        root = str(Path(version.__file__).resolve().parents[2])
        command = [sys.executable, "-P", "-c", _START, root]  # -P: no module of the present folder gets in
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, process_group=0
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(pack((*self._where, self._origin)))
        self._out = self._process.stdout.fileno()
        loop.add_reader(self._out, self._read)
        try:
            await asyncio.wait([self._ready, self.over], return_when=asyncio.FIRST_COMPLETED)
            if not self._ready.done():
                raise UserError(
                    "nothing can listen at this address", field="LISTEN",
                    found=f"{_said(self._where[0])}: {self._failed or 'the forwarding ended at once'}",
                    mend="choose a free port of an address of this machine, or pty: and a path where nothing is yet",
                )  # fmt: skip
        except BaseException:
            self._close()
            raise
        return self

    async def __aexit__(self, *_: object) -> None:
        """Raises Defect if the forwarding process ended by itself."""
        died = self.over.done() and self._ended_at is None
        assert self._process.stdin is not None
        self._process.stdin.close()
        await asyncio.wait([self.over])
        self._close()
        if died:
            raise Defect(f"the process that forwards ended with {self._process.returncode}")

    def do(self, line: str) -> None:
        """Pass on a line about faults, or `drop`."""
        assert self._process.stdin is not None
        if not self.over.done():
            self._process.stdin.write(pack((line,)))

    def _read(self) -> None:
        data = os.read(self._out, _PIECE)
        if not data:
            asyncio.get_running_loop().remove_reader(self._out)
            if not self.over.done():
                self.over.set_result(None)
            return
        for what, *arguments in self._unpacker.feed(data):
            self._take(what, arguments)

    def _take(self, what: str, arguments: list[Any]) -> None:
        if what == "ready":
            self.address = arguments[0], arguments[1]
            self._ready.set_result(None)
        elif what == "failed":
            self._failed = arguments[0]
        elif what == "news":
            self._news(arguments[0])
        elif what == "lost":
            self._caution(f"caution: {arguments[0]} pieces passed that were neither recorded nor decoded: too many")
        elif what == "ended":
            self._ended_at = arguments[0]
        else:
            getattr(self.observer, what)(*arguments)

    def _close(self) -> None:
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()
        self._process.wait()
