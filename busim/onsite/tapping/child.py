"""The process that forwards: nothing else runs in it, so neither decoding nor the screen nor the disk delays a byte.

Its standard input brings (listen, target, origin), then lines of the user: a fault, `drop`. Its end ends the process.
Its standard output tells what passes: (method of the ear, arguments), and ("ready", address), ("failed", reason),
("news", text), ("lost", pieces) where the other process fell too far behind, ("ended", ns).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections import deque
from typing import Any

from busim.foundation.errors import UserError
from busim.onsite.tapping.serial_ends import SerialEnd
from busim.onsite.tapping.tap import Tap
from busim.recording.trace.batches import Unpacker, pack
from busim.runtime.clocks import wall_loop

_MOST = 64 << 20  # bytes that wait for the other process; more are counted and not told


class _Teller:
    """An ear that passes everything on, and never waits."""

    def __init__(self) -> None:
        self._queue: deque[memoryview] = deque()
        self._queued = 0
        self._lost = 0
        self._due = False
        os.set_blocking(1, False)

    def client(self, at: int, number: int, what: str) -> None:
        self.tell("client", at, number, what)

    def sent(self, data: bytes, at: int) -> None:
        self.tell("sent", data, at)

    def heard(self, data: bytes, at: int) -> None:
        self.tell("heard", data, at)

    def effect(self, at: int, fault: str) -> None:
        self.tell("effect", at, fault)

    def tell(self, *message: Any) -> None:
        if self._queued > _MOST:
            self._lost += 1
            return
        if self._lost:
            lost, self._lost = self._lost, 0
            self.tell("lost", lost)
        data = pack(message)
        self._queue.append(memoryview(data))
        self._queued += len(data)
        if not self._due:  # after the bytes of this turn have been forwarded
            self._due = True
            asyncio.get_running_loop().call_soon(self._write)

    def _write(self) -> None:
        loop = asyncio.get_running_loop()
        try:
            self._flush()
        except BlockingIOError:
            loop.add_writer(1, self._write)
            return
        except OSError:  # the other process is gone; standard input ends too
            self._queue.clear()
        loop.remove_writer(1)
        self._due = False

    def _flush(self) -> None:
        while self._queue:
            rest = self._queue[0][os.write(1, self._queue[0]) :]
            self._queued -= len(self._queue[0]) - len(rest)
            if rest:
                self._queue[0] = rest
            else:
                self._queue.popleft()

    def close(self) -> None:
        """Pass on what is left, waiting for it."""
        os.set_blocking(1, True)
        with contextlib.suppress(OSError):
            self._flush()


def main() -> int:
    """Forward until the input ends. Returns the exit code."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with asyncio.Runner(loop_factory=wall_loop) as runner:
        return runner.run(_forward())


async def _forward() -> int:
    loop = asyncio.get_running_loop()
    teller, unpacker, messages = _Teller(), Unpacker(), asyncio.Queue[tuple[Any, ...] | None]()

    def read() -> None:
        data = os.read(0, 65536)
        for message in unpacker.feed(data):
            messages.put_nowait(message)
        if not data:
            loop.remove_reader(0)
            messages.put_nowait(None)

    loop.add_reader(0, read)
    loop.add_signal_handler(signal.SIGTERM, messages.put_nowait, None)
    first = await messages.get()
    if first is None:
        return 0
    target = first[1] if len(first[1]) == 2 else SerialEnd(*first[1])
    tap = Tap(first[0], target, teller, lambda text: teller.tell("news", text), origin=first[2])
    try:
        async with tap:
            teller.tell("ready", *tap.address)
            while (message := await messages.get()) is not None:
                _act(tap, teller, message[0])
    except OSError as error:
        teller.tell("failed", error.strerror or str(error))
        teller.close()
        return 1
    teller.tell("ended", tap.now)
    teller.close()
    return 0


def _act(tap: Tap, teller: _Teller, line: str) -> None:
    if line == "drop":
        tap.drop()
        teller.tell("news", "all connections were dropped")
        return
    try:
        teller.tell("news", tap.faults.set(line))
    except UserError as error:
        teller.tell("news", f"not done: {error}")
