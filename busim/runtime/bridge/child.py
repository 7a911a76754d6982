"""A command as a child process, with all processes it starts: they get its signals, and none survives it.

It gets its own process group. So a signal reaches its children too, and the rest of the group can be ended after the
command; only a process that leaves the group on purpose (a daemon) escapes. It shares our standard input unless that is
a terminal: in the background its first read would stop it.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from busim.foundation.errors import UserError

_UNREAD = 1 << 20  # bytes that may wait for a command that does not read its standard input
_REST = 2.0  # seconds for processes that a command left behind
_LOOK = 0.05  # seconds between two checks whether they are gone
_STDERR = 2  # its descriptor
_DRAIN = 1.0  # seconds for output still on its way after the end


# It reads the group, then a word that all is well. If its input ends without that word, this process was killed.
_WATCHER = 'read -r group; read -r done || { [ -n "$group" ] && kill -9 -"$group"; }'


def _state(process: str) -> tuple[str, int]:
    """State and group of a process, proc(5): after the name, which is in brackets and may hold any text."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text(errors="replace").rpartition(")")[2].split()
    except OSError:  # gone by now
        return "X", 0
    return fields[0], int(fields[2])


class Child(asyncio.SubprocessProtocol):
    """Runs `command` with `environment`. `heard`: takes its standard output; with None it has ours.

    With `heard` its standard input is a pipe too, for `write`. `errors`: takes its standard error; it then shares
    neither our input nor our output, unless `heard`. `exited` is done with its exit code: 128 + n if signal n ended it,
    as in a shell.
    """

    exited: asyncio.Future[int]

    def __init__(
        self,
        command: Sequence[str],
        environment: Mapping[str, str],
        heard: Callable[[bytes], None] | None = None,
        errors: Callable[[bytes], None] | None = None,
    ) -> None:
        self._command = command
        self._environment = environment
        self._heard = heard
        self._errors = errors
        self._transport: asyncio.SubprocessTransport
        self._input: asyncio.WriteTransport | None = None
        self._closed: asyncio.Future[None]
        self._group = 0
        self._watcher: subprocess.Popen[bytes] | None = None

    async def start(self) -> None:
        """Raises UserError for a command that does not exist or cannot be run."""
        loop = asyncio.get_running_loop()
        self.exited, self._closed = loop.create_future(), loop.create_future()
        piped = self._heard is not None
        self._watch()
        alone = self._errors is not None
        own = subprocess.DEVNULL if alone or sys.stdin is None or sys.stdin.closed or os.isatty(0) else None
        try:
            self._transport, _ = await loop.subprocess_exec(
                lambda: self, *self._command, env=dict(self._environment), process_group=0, preexec_fn=self._named,
                stdin=subprocess.PIPE if piped else own,
                stdout=subprocess.PIPE if piped else subprocess.DEVNULL if alone else None,
                stderr=subprocess.PIPE if alone else None,
            )  # fmt: skip
        except (OSError, ValueError) as error:
            self._dismiss_watcher()
            raise UserError(
                "the command cannot be run",
                found=f"{self._command[0][:200]!r} ({getattr(error, 'strerror', None) or error})",
                expected="a program, by its path or in PATH",
                mend="check its path; words in quotes are one word, and shell syntax needs sh -c '...'",
            ) from None
        self._group = self._transport.get_pid()
        if piped:
            pipe = self._transport.get_pipe_transport(0)
            assert isinstance(pipe, asyncio.WriteTransport)
            self._input = pipe

    @property
    def group(self) -> int:
        """Its process group, 0 before it was started."""
        return self._group

    def write(self, data: bytes) -> bool:
        """Write all of it to its standard input, or nothing: False if that is closed or nobody reads."""
        pipe = self._input
        if pipe is None or pipe.is_closing() or pipe.get_write_buffer_size() > _UNREAD:
            return False
        pipe.write(data)
        return True

    def signal(self, number: int) -> bool:
        """Signal the whole group; False if nobody is left in it."""
        try:
            os.killpg(self._group, number)
        except (ProcessLookupError, PermissionError):
            return False
        return True

    async def clear(self) -> bool:
        """After `exited`: end the processes that the command left behind, politely first. Returns whether there were
        any.
        """
        left = self._lives()
        for number in (signal.SIGTERM, signal.SIGKILL):
            if self._lives():
                self.signal(number)
            for _ in range(round(_REST / _LOOK)):
                if not self._lives():
                    break
                await asyncio.sleep(_LOOK)
        with contextlib.suppress(TimeoutError):  # a process out of our reach holds the pipe
            await asyncio.wait_for(asyncio.shield(self._closed), _DRAIN)
        self._transport.close()
        self._dismiss_watcher()
        return left

    # -- what holds when this process is killed ---------------------------------------------------------------

    def _watch(self) -> None:
        """Let a shell wait for the end of this process: after a kill -9 nothing else would end the command."""
        with contextlib.suppress(OSError):  # no shell, no watcher
            self._watcher = subprocess.Popen(
                ["/bin/sh", "-c", _WATCHER], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, start_new_session=True, cwd="/",
            )  # fmt: skip

    def _named(self) -> None:
        """In the child, before it becomes the command: only so does the watcher know of it before it can do anything.

        Only async-signal-safe work belongs here: it runs in a copy of this process that has one thread.
        """
        if self._watcher is not None and self._watcher.stdin is not None:
            os.write(self._watcher.stdin.fileno(), b"%d\n" % os.getpid())

    def _tell_watcher(self, text: str) -> None:
        if self._watcher is not None and self._watcher.stdin is not None:
            with contextlib.suppress(OSError):  # another program ended it
                self._watcher.stdin.write(text.encode())
                self._watcher.stdin.flush()

    def _dismiss_watcher(self) -> None:
        """The command has ended, with all its processes."""
        watcher = self._watcher
        if watcher is not None and watcher.stdin is not None:
            self._tell_watcher("done\n" if self._group else "\ndone\n")  # an empty group where nothing was started
            with contextlib.suppress(OSError):
                watcher.stdin.close()
            watcher.wait()

    def _lives(self) -> bool:
        """Whether a process of the group still runs; one that ended and was not fetched by its
        parent does not count.
        """
        if not self.signal(0):
            return False
        try:
            states = [_state(entry) for entry in os.listdir("/proc") if entry.isdigit()]
        except OSError:  # not Linux: trust the signal
            return True
        return any(group == self._group and state not in "ZX" for state, group in states)

    # -- what asyncio tells ----------------------------------------------------------------------------------

    def pipe_data_received(self, fd: int, data: bytes | str) -> None:
        told = self._errors if fd == _STDERR else self._heard
        if told is not None and isinstance(data, bytes):
            told(data)

    def process_exited(self) -> None:
        code = self._transport.get_returncode()
        assert code is not None
        if not self.exited.done():
            self.exited.set_result(code if code >= 0 else 128 - code)

    def connection_lost(self, exc: Exception | None) -> None:
        if not self._closed.done():
            self._closed.set_result(None)
