"""A command beside a live session, with the addresses of the converters, and with a hook of operators' moves."""

from __future__ import annotations

import asyncio
import os
import signal
from collections.abc import Callable, Mapping, Sequence

from busim.protocols.hook import VERSION, Intent, Lines, intent_line
from busim.runtime.bridge import Child, fill, variables
from busim.runtime.session.live import Live

_GRACE = 10.0  # seconds for a command to finish after the first signal


class ChildProcess:
    """Runs `command` beside `live`, which has begun. `hook`: its standard input and output are lines of the hook.

    `told`: further environment variables. `errors` takes its standard error; `grace`: seconds for it to finish after
    the first signal. `news` gets lines that are no beliefs and moves that the command does not read. Raises UserError
    if the command names an unknown converter or cannot be run.
    """

    def __init__(
        self, live: Live, command: Sequence[str], *, hook: bool, news: Callable[[str], None],
        told: Mapping[str, str] | None = None, errors: Callable[[bytes], None] | None = None, grace: float = _GRACE,
    ) -> None:  # fmt: skip
        self._live = live
        self._news = news
        self._hook = hook
        endpoints = live.endpoints()
        named, self.unnamed = variables(endpoints)
        environment = {**os.environ, **named, **(told or {}), **({"BUSIM_HOOK": str(VERSION)} if hook else {})}
        self._lines = Lines()
        self._child = Child(fill(command, endpoints), environment, self._heard if hook else None, errors)
        self._grace = grace
        self.killed = False
        self.ended = False  # by the end of the session, and by nothing else
        self._signals = 0
        self._deaf = False
        self._ahead: list[bytes] = []  # moves made while it starts
        self.lost = 0

    async def run(self) -> int:
        """Run to its end, or to the session's. Returns its exit code. None of its processes is left afterwards.

        A command ended only by the end of the session has the exit code 0.
        """
        if self._hook:
            self._live.on_intent(self._tell)
        await self._child.start()
        self._write(b"".join(self._ahead))
        over = asyncio.ensure_future(self._live.ended())
        try:
            await asyncio.wait((self._child.exited, over), return_when=asyncio.FIRST_COMPLETED)
            ended = not self._child.exited.done()
            if ended:
                self.signal(signal.SIGTERM)
            code = await self._child.exited
            if ended and self._signals == 1 and code == 128 + signal.SIGTERM:
                code, self.ended = 0, True
        finally:
            over.cancel()
            self._deaf = True
            left = await self._child.clear()
        for line in self._lines.close():
            self._hear(line)
        if left:
            self._news("the command left processes behind; they were ended")
        if self.lost:
            self._news(f"{self.lost} moves did not reach the command: it does not read its standard input")
        return code

    def signal(self, number: int) -> None:
        """Pass a signal on. A command that does not end within ten seconds of the first one, or at a second one, is
        killed.
        """
        self._signals += 1
        if self._signals > 1:
            self._child.signal(signal.SIGKILL)
            return
        self._child.signal(number)
        asyncio.get_running_loop().call_later(self._grace, self._kill)

    def kill(self) -> None:
        """End it at once, with all its processes."""
        self._signals += 1
        self._child.signal(signal.SIGKILL)

    def _kill(self) -> None:
        if not self._child.exited.done():
            self._news(f"the command did not end within {self._grace:g} s; it was killed")
            self.killed = True
            self._child.signal(signal.SIGKILL)

    @property
    def group(self) -> int:
        """Its process group, 0 before it runs."""
        return self._child.group

    def _tell(self, intent: Intent) -> None:
        if not self._child.group:
            self._ahead.append(intent_line(intent))
        elif not self._deaf:
            self._write(intent_line(intent))

    def _write(self, lines: bytes) -> None:
        if lines and not self._child.write(lines):
            self.lost += lines.count(b"\n")

    def _heard(self, data: bytes) -> None:
        for line in self._lines.feed(data):
            self._hear(line)

    def _hear(self, line: bytes | None) -> None:
        wrong = self._live.hear(line)
        if wrong:
            self._news(f"no belief: {wrong}")
