"""The owner of a trace file: one run, from its first record to its end.

A trace is written in place, because its run may last for days and may be killed. So the run first claims the file with
a lock. Otherwise two runs with one file name would each remove the other's records.
"""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from busim.foundation.errors import UserError
from busim.recording.trace.schema import APPLICATION_ID

try:
    import fcntl
except ImportError:  # no such locks on this system
    fcntl = None  # type: ignore[assignment]

_BESIDE = ("-wal", "-shm", "-journal")  # files that SQLite has beside its own
_WAL = (0x377F0682, 0x377F0683)  # first bytes of a write-ahead file (SQLite database file format, 4.1)


def is_trace(path: str) -> bool:
    """Whether the file begins with the mark of a trace. Raises OSError if it cannot be read."""
    with Path(path).open("rb") as file:
        start = file.read(72)
    return start[:16] == b"SQLite format 3\0" and int.from_bytes(start[68:72], "big") == APPLICATION_ID


def claim(path: str, *, overwrite: bool) -> int:
    """Make an empty file at `path` and lock it. Removes a trace there only with `overwrite`, and never one still being
    written. Returns the descriptor with the lock. Raises UserError.
    """
    try:
        if os.path.lexists(path):
            _make_way(path, overwrite)
        else:
            _refuse_orphans(path)
        lock = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666)
        with contextlib.suppress(OSError):
            if fcntl is not None:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return lock
    except FileExistsError as error:
        raise UserError(
            "a file is there already", file=path, mend="choose another name, or allow overwriting it"
        ) from error
    except (OSError, ValueError) as error:
        found = getattr(error, "strerror", None) or str(error)
        raise UserError("the trace cannot be made here", file=path, found=found, mend="choose another place") from error


def give_up(path: str, lock: int) -> None:
    """Remove a trace that could not be begun."""
    for name in (path, *(path + ending for ending in _BESIDE)):
        with contextlib.suppress(OSError):
            os.unlink(name)
    os.close(lock)


def _make_way(path: str, overwrite: bool) -> None:
    """Remove the present trace, with SQLite's files beside it."""
    if os.path.exists(path) and not stat.S_ISREG(os.stat(path).st_mode):
        raise UserError("a trace is written into a file, not a pipe or device", file=path, mend="give a file")
    if not overwrite:
        raise FileExistsError(path)
    if not is_trace(path):
        raise UserError(
            "a file that is no trace is not overwritten", file=path, mend="choose another name, or remove it"
        )
    old = os.open(path, os.O_RDONLY)
    try:
        if fcntl is not None:
            try:
                fcntl.flock(old, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise UserError(
                    "another run is writing this trace", file=path, mend="end that run, or choose another name"
                ) from None
        for name in (path, *(path + ending for ending in _BESIDE)):
            Path(name).unlink(missing_ok=True)
    finally:
        os.close(old)


def _refuse_orphans(path: str) -> None:
    """Remove files in SQLite's places if they belong to a removed trace; otherwise write nothing."""
    for name in (path + ending for ending in _BESIDE):
        if not os.path.lexists(name):
            continue
        with Path(name).open("rb") as file:
            start = int.from_bytes(file.read(4), "big")
        if not (os.path.getsize(name) == 0 or name.endswith("-shm") or start in _WAL):
            raise UserError(
                "a file is there already where the trace has its own", file=name, mend="choose another name"
            )
        os.unlink(name)
