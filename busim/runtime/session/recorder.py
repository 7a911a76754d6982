"""The recorder: hands the records of a run to the trace writer's process.

The run pays for appending to a list and, once per batch, for turning the batch into bytes. The bytes go down a pipe of
the largest size the system allows. In fast time a full pipe makes the run wait for the writer. On the wall clock
(`live`) the rest waits here instead, so no reply is late because of the disk. The writer has its own process group and
ignores the signals that end a run: only the run's end ends it.

A writer that dies (a full disk, a killed process) is noticed at the next flush and raised as an error.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from types import FrameType, TracebackType
from typing import Any, NoReturn

from busim.foundation import version
from busim.foundation.errors import BusimError, Defect, UserError
from busim.foundation.units import CharFormat
from busim.recording.trace import HeadValue, Record
from busim.recording.trace.batches import Batch, pack, unpack
from busim.recording.trace.records import Emit
from busim.runtime.session.pipes import pipe_of, unread

_BATCH = 4000  # records handed over at once in fast time
_BACKLOG = 64 << 20  # bytes kept here at most in live runs; beyond that they wait like the others
_PATIENCE = 60.0  # seconds without any progress after which the writer counts as stuck
_LIVE_PATIENCE = 20.0  # the same while clients are served
_READY = 30.0  # seconds in which a writer must have made its file
_SAID = 5.0  # seconds without progress after which it is reported
_LOOK = 0.2  # seconds between two checks during a wait
_CTRL_C = 1.0  # seconds for which Ctrl-C waits for a hand-over
_START = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.SIG_IGN)
signal.signal(signal.SIGTERM, signal.SIG_IGN)
sys.path.insert(0, sys.argv[1])
if sys.argv[4] == "1":
    # On a busy machine it must not take the processor from the run, or from a controller on the same machine: who has
    # the policy for idle times makes way at once, and counts as nobody where the system looks for a free processor.
    if hasattr(os, "SCHED_IDLE"):
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))
    else:
        os.nice(10)
from busim.recording.trace.child import main
sys.exit(main(sys.argv[2:]))
"""


class Recorder:
    """Records a run into the trace file `path`; a context manager.

    `head` holds the keys of the trace's head that the run knows. With `live` a flush never waits for the disk; the
    owner then calls `flush` about every 100 ms. Without `close(ended_at)` the trace stays marked incomplete.

    `append(record)` takes a plain tuple whose first element is its kind. All methods raise UserError if the file cannot
    be made or written (an existing file is refused unless `overwrite`, and then only a trace is overwritten), Defect if
    a record does not fit its table.
    """

    append: Emit
    stuck: Callable[[float], None]  # called once if a writer has taken nothing for this many seconds
    gathered: Callable[[], None]  # called before rows are handed over: brings records that wait elsewhere

    def __init__(
        self, path: str | Path, head: dict[str, HeadValue], *, overwrite: bool = False, live: bool = False
    ) -> None:
        self._path = str(path)
        self._live = live
        self._names: list[tuple[int, str, str, int]] = []
        self._settings: list[tuple[int, str, str, float, int, int, int]] = []
        self._records: list[Record] = []
        self._lateness: list[tuple[int, int]] = []
        self._head: list[tuple[str, HeadValue]] = []
        self._queue: deque[memoryview] = deque()
        self._queued = 0
        self._closed = False
        self._error: BusimError | None = None
        self._foreign = signal.getsignal(signal.SIGINT) is None
        self._interrupted: float | None = None  # instant of a Ctrl-C that waits for a hand-over
        self._moved = time.monotonic()  # when the writer last took bytes
        self._written = self._taken = 0  # bytes into the pipe, and out of it
        self._told = False
        self.stuck = lambda _: None
        self.gathered = lambda: None
        self._last_words: tuple[Any, ...] | None = None
        self.append = self._appender()
        self._process = _start(self._path, overwrite, live)
        self._pipe = pipe_of(self._process)
        try:
            with self._undisturbed():
                self._enqueue(pack((dict(head),)))
                self._send(wait=True)
                self._await_ready()
        except BaseException:
            self._drop()
            raise

    def name(self, number: int, kind: str, name: str, parent: int = 0) -> None:
        """Give the meaning of a number in records; `parent` is the number of its owner."""
        self._names.append((number, kind, name, parent))

    def setting(
        self,
        number: int,
        baud: Fraction,
        format: CharFormat,
        ppm: float = 0.0,
        inverted: bool = False,
        lead: int = 0,
        hold: int = 0,
    ) -> None:
        """Give the setting of drivers with this setting number; `lead` and `hold` as in the plan."""
        self._settings.append((number, str(Fraction(baud)), str(format), float(ppm), int(inverted), lead, hold))

    def head(self, key: str, value: HeadValue) -> None:
        """Give a key of the head another value: a real line shows only while it runs who is on it."""
        self._head.append((key, value))

    def lateness(self, at: int, ns: int) -> None:
        """The wall clock served the instant `at` this many ns late."""
        self._lateness.append((at, ns))

    def waiting(self) -> int:
        """Rows that the next flush hands over."""
        return len(self._records) + len(self._lateness)

    def flush(self) -> None:
        """Hand over all rows. Waits for the writer, unless `live`."""
        if self._closed:
            raise self._error or Defect("records after the end of the trace")
        self.gathered()
        with self._undisturbed():
            self._collect(None)
            self._send(wait=not self._live or self._queued > 4 * _BACKLOG)
            if self._process.poll() is not None:
                self._fail()
            if self._live:
                patience = _SAID if self._queued > _BACKLOG else _LIVE_PATIENCE
                self._look_whether_stuck(patience if self._queue else None)

    def close(self, ended_at: int) -> None:
        """Hand over the rest, mark the trace complete and wait until it is on disk. A second call does nothing."""
        if not self._closed:
            self.gathered()
            with self._undisturbed():
                self._collect(ended_at)
                self._end()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the trace readable but marked incomplete, unless it was closed."""
        if self._closed:
            return
        # The first error matters more than the state of the trace.
        with contextlib.suppress(BusimError) if kind else contextlib.nullcontext():
            self.gathered()
            with self._undisturbed():
                self._collect(None)
                self._end()

    def extend(self, records: list[Record]) -> None:
        """Take many records, as `append` takes one."""
        self._records += records
        if len(self._records) >= _BATCH:
            self.flush()

    def _appender(self) -> Emit:
        records, add, flush = self._records, self._records.append, self.flush

        def append(record: Record) -> None:
            add(record)
            if len(records) >= _BATCH:
                flush()

        return append

    def _collect(self, ended_at: int | None) -> None:
        """Turn the lists into one batch in the queue."""
        rows = (self._names, self._settings, self._records, self._lateness, self._head)
        if any(rows) or ended_at is not None:
            batch = Batch(self._names, self._settings, self._records, self._lateness, ended_at, self._head)
            try:
                self._enqueue(pack(batch))
            except Defect as error:  # everything before this batch is saved
                self._error = error
                self._send(wait=True)
                self._finish()
                raise
            finally:
                for each in rows:
                    each.clear()

    def _enqueue(self, data: bytes) -> None:
        self._queue.append(memoryview(data))
        self._queued += len(data)

    def _send(self, *, wait: bool) -> None:
        """Write the queue into the pipe, as far as it goes or (`wait`) all of it."""
        while self._queue:
            try:
                count = os.write(self._pipe, self._queue[0])
            except BlockingIOError:
                if not wait:
                    return
                self._await_room()
                continue
            except BrokenPipeError:
                self._fail()
            self._written += count
            self._queued -= count
            rest = self._queue[0][count:]
            if rest:
                self._queue[0] = rest
            else:
                self._queue.popleft()

    def _await_room(self) -> None:
        poll = select.poll()
        poll.register(self._pipe, select.POLLOUT)
        self._moved = time.monotonic()  # start of the wait
        while not poll.poll(_LOOK * 1000):
            self._look_whether_stuck(_PATIENCE)
            self._look_at_ctrl_c()

    def _look_whether_stuck(self, patience: float | None) -> None:
        """Report a writer that takes nothing, and give up after this many seconds (None: never)."""
        now, waiting = time.monotonic(), unread(self._pipe)
        if waiting == 0 or (waiting is not None and self._written - waiting > self._taken):
            self._moved, self._told, self._taken = now, False, self._written - waiting
        idle = now - self._moved
        if idle > _SAID and not self._told:
            self._told = True
            self.stuck(idle)
        if patience is not None and idle > patience:
            self._drop()
            self._error = UserError(
                "the process that writes the trace takes nothing any more", file=self._path,
                found=f"no progress for {idle:.0f} s",
                mend="the trace is whole up to its last batch; check whether the disk hangs or it was stopped",
            )  # fmt: skip
            raise self._error

    def _look_at_ctrl_c(self) -> None:
        """Ctrl-C waits for a hand-over, but not for one that does not end."""
        if self._interrupted is not None and time.monotonic() - self._interrupted > _CTRL_C:
            self._drop()
            raise KeyboardInterrupt

    def _drop(self) -> None:
        """End the writer at once; the trace is complete up to its last batch and marked incomplete."""
        if not self._closed:
            self._closed = True
            self._queue.clear()
            self._process.kill()
            self._process.wait()
            for stream in (self._process.stdin, self._process.stdout):
                if stream is not None:
                    with contextlib.suppress(OSError):
                        stream.close()

    def _await_ready(self) -> None:
        assert self._process.stdout is not None
        poll = select.poll()
        poll.register(self._process.stdout, select.POLLIN)
        end = time.monotonic() + _READY
        while not poll.poll(_LOOK * 1000):
            self._look_at_ctrl_c()
            if time.monotonic() > end:
                raise UserError(
                    "the process that writes the trace does not begin", file=self._path,
                    found=f"nothing from it within {_READY:g} s", expected="a trace that is begun",
                    mend="see whether the disk hangs, or record to another one",
                )  # fmt: skip
        answer = next(unpack(self._process.stdout), None)
        if answer != ("ready",):
            self._finish()
            raise _error(answer, self._path, self._process.returncode)

    def _end(self) -> None:
        """Send the queue and wait for the writer to finish the file."""
        self._send(wait=True)
        self._finish()
        if self._process.returncode != 0:
            self._fail()

    def _finish(self) -> None:
        """Close the pipe, which ends the writer, and wait for that. It takes no more rows."""
        if self._closed:
            return
        self._closed = True
        self._queue.clear()
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._await_end()
        with self._process.stdout as answers:
            self._last_words = next(unpack(answers), None)

    def _await_end(self) -> None:
        """Wait until the writer has ended; kill one that does not."""
        begun = time.monotonic()
        while True:
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(_LOOK)
                return
            idle = time.monotonic() - begun
            if idle > _SAID and not self._told:
                self._told = True
                self.stuck(idle)
            hurried = self._interrupted is not None and time.monotonic() - self._interrupted > _CTRL_C
            if hurried or idle > _PATIENCE:
                self._process.kill()
                self._process.wait()
                return

    @contextlib.contextmanager
    def _undisturbed(self) -> Iterator[None]:
        """Ctrl-C waits: between a write to the pipe and the note of its length it would leave half a batch.

        It waits a second, and a second Ctrl-C does not: then the writer is ended and the trace stays incomplete.
        Blocking the signal does not help: a library's thread would take it, and Python raises in the main thread all
        the same.
        """
        if self._foreign or threading.current_thread() is not threading.main_thread():
            yield  # nothing is raised here
            return
        came: list[tuple[int, FrameType | None]] = []

        def note(*what: Any) -> None:
            came.append(what)
            if len(came) > 1:
                self._drop()
                raise KeyboardInterrupt
            self._interrupted = time.monotonic()

        # Not asked for earlier: Python formats every handler it does not know, which takes longer than a batch.
        before = signal.signal(signal.SIGINT, note)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)
            self._interrupted = None
        if came and callable(before):
            before(*came[0])
        elif came:
            signal.raise_signal(signal.SIGINT)

    def _fail(self) -> NoReturn:
        """The writer is gone, or stuck: raise the reason."""
        self._finish()
        self._error = _error(self._last_words, self._path, self._process.returncode)
        raise self._error


def _start(path: str, overwrite: bool, live: bool) -> subprocess.Popen[bytes]:
    """A fresh interpreter without site packages: it starts quickly, and needs only SQLite and busim.recording.trace."""
    root = str(Path(version.__file__).resolve().parents[2])
    command = [sys.executable, "-I", "-S", "-c", _START, root, path, str(int(overwrite)), str(int(live))]
    try:
        return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, process_group=0)
    except OSError as error:
        raise UserError(
            "the trace writer cannot be started", file=path, found=error.strerror or str(error), mend="see the reason"
        ) from error


def _error(answer: tuple[Any, ...] | None, path: str, code: int) -> BusimError:
    """The error behind a writer's last message; None without one."""
    if answer is not None and answer[0] == "user":
        _, what, file, found, mend = answer
        return UserError(what, file=file, found=found or None, mend=mend or None)
    if answer is not None:
        return Defect(str(answer[1]))
    return UserError(
        "the process that writes the trace was stopped",
        file=path,
        found=f"signal {-code}" if code < 0 else f"exit code {code}",
        mend="the trace is whole up to its last batch; check whether memory ran out or that process was stopped",
    )
