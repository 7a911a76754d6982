"""Whose a trace's file is: one run's, from its first record to its end.

A trace is written where it stands, because its run may last for days and may be killed. So its file is claimed before
anything is written, and the claim is a lock on it: two runs that were given one name would otherwise each remove what
the other writes.
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
_WAL = (0x377F0682, 0x377F0683)  # what a write-ahead file begins with (SQLite database file format, 4.1)


def is_trace(path: str) -> bool:
    """Whether the file has the mark of a trace in its first bytes. Raises OSError when it cannot be read."""
    with Path(path).open("rb") as file:
        start = file.read(72)
    return start[:16] == b"SQLite format 3\0" and int.from_bytes(start[68:72], "big") == APPLICATION_ID


def claim(path: str, *, overwrite: bool) -> int:
    """Make an empty file at `path` and lock it; a trace already there is removed only when told to, and never one that
    is still written. The descriptor that holds the lock. Raises UserError."""
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
    """Remove the trace that is there, with what SQLite keeps beside it."""
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
    """What lies where SQLite will have its files is removed if a removed trace left it; if not, nothing is written."""
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
