"""The record as a file: each entry is on the disk before the next step begins, and one program at a time writes it."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from busim.commissioning.site_record import Begun, Note, Signed, SiteRecord, StepEntry, as_line, read_record, seal
from busim.foundation.errors import UserError

try:
    import fcntl
except ImportError:  # no locks on this system
    fcntl = None  # type: ignore[assignment]

_MOST = 64 << 20  # bytes of a record that is read


class RecordFile:
    """An open record at `path`. `before`: what it had when it was opened. A context manager: leaving closes it.

    With `begun` it is new, else an old one is gone on with. Raises UserError if it cannot be written or read, if a
    new one is there already, and if another program writes it.
    """

    def __init__(self, path: str, begun: Begun | None = None) -> None:
        self._path = path
        flags = os.O_RDWR | (os.O_CREAT | os.O_EXCL if begun is not None else 0)
        try:
            self._file = open(os.open(path, flags, 0o644), "r+b")  # noqa: SIM115  # closed by `close`
        except FileExistsError:
            raise UserError(
                "a file is there already", file=path, mend="name a new record, or go on with this one: --resume"
            ) from None
        except (OSError, ValueError) as error:
            raise self._failed(error) from None
        try:
            self._lock()
            if begun is not None:
                self.write(begun)
            self.before = self._read()
        except BaseException:
            self.close()
            raise

    def write(self, entry: Begun | StepEntry | Note | Signed) -> None:
        """Add an entry; it is on the disk when this returns. Raises UserError."""
        try:
            self._file.seek(0, os.SEEK_END)
            self._file.write(as_line(entry).encode())
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise self._failed(error) from None

    def seal(self) -> str:
        """What a signature says of everything so far."""
        self._file.seek(0)
        return seal(self._file.read().decode())

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()

    def __enter__(self) -> RecordFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _lock(self) -> None:
        if fcntl is None:
            return
        try:
            fcntl.flock(self._file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise UserError(
                "another program writes this record", file=self._path, mend="end it, or name another record"
            ) from None
        except OSError:  # a file system without locks
            pass

    def _read(self) -> SiteRecord:
        """What is there; what a power cut left of a last line is cut off."""
        try:
            self._file.seek(0)
            record = _read(self._file, self._path)
            self._file.truncate(record.whole)
        except OSError as error:
            raise self._failed(error) from None
        return record

    def _failed(self, error: Exception) -> UserError:
        missing = isinstance(error, FileNotFoundError) and Path(self._path).parent.is_dir()
        return _unusable(
            self._path, error, "leave --resume out for a new one" if missing else "choose another place, or make room"
        )


def load_record(path: str) -> SiteRecord:
    """The record in a file, to look at. Raises UserError."""
    try:
        if not Path(path).is_file():
            raise UserError(
                "no record is there", file=path,
                mend="name one that busim rehearse --port wrote; without --resume it begins a new one",
            )  # fmt: skip
        with open(path, "rb") as file:
            return _read(file, path)
    except (OSError, ValueError) as error:
        raise _unusable(path, error, "name a file that you may read") from None


def _read(file: BinaryIO, path: str) -> SiteRecord:
    text = file.read(_MOST + 1)
    if len(text) > _MOST:
        raise UserError("no record is this large", file=path, expected=f"at most {_MOST >> 20} MB", mend="name another")
    try:
        return read_record(text.decode(), path)
    except UnicodeDecodeError as error:
        raise UserError(
            "the record is no text", file=path, found=str(error)[:80], mend="take a copy from before"
        ) from None


def _unusable(path: str, error: Exception, mend: str) -> UserError:
    said = getattr(error, "strerror", None) or str(error)
    return UserError("the record cannot be used", file=path, found=said, mend=mend)
